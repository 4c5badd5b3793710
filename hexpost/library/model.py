"""What the gate hands on: what each program does, how the policy judges it, and the result for the library."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from hexpost.audit.model import LIMITS, Advice, Finding, Limit, Limits, Of, Sense, Unseen

CYCLE_TIME = Limit(
    name="cycle-time", unit="s", of=Of.PROGRAM, sense=Sense.MOST,
    meaning="The program takes longer than the policy allows.",
    advice=Advice("Raise feeds where the limits leave room, or allow more time in the policy (longest_cycle_s)."),
)  # fmt: skip
"""The policy's own limit: the longest time a program may take."""

NOT_CHECKED = Limit(
    name="not-checked", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
    meaning="A limit that the policy asks for was not looked at.", share=False,
    fault="a limit of must_check is not looked at",
    advice=Advice("Give what is missing, or take the limit out of must_check."),
)  # fmt: skip
"""The policy's own limit: what must be looked at; a finding names limit and key."""

POLICY_LIMITS = (CYCLE_TIME, NOT_CHECKED)

JUDGED = LIMITS.and_more(*POLICY_LIMITS)
"""What programs are judged by."""

LOST = "worker-died"
"""Code of the mistake of a program whose worker died."""

State = Literal["new", "worse", "expired", "accepted", "warning"]
Verdict = Literal["pass", "fail", "error"]

FAILING: frozenset[State] = frozenset({"new", "worse", "expired"})


@dataclass(frozen=True, slots=True, kw_only=True)
class InputFile:
    """A machine, tools or setup file: where it is, and the SHA-256 of what the gate read there."""

    path: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckTask:
    """One program to check, with all that its record depends on; small, so that it can travel.

    ``margins``: share of a limit beyond which use is a finding (1 where a limit is not named). ``period`` in s.
    ``units`` are those of a program that states none.
    """

    name: str
    path: str
    machine: InputFile | None
    tools: InputFile | None
    setup: InputFile | None
    feed: str
    period: float | None
    margins: tuple[tuple[str, float], ...]
    time_limit_s: float
    units: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramFault:
    """Why a program was not understood; ``file`` is the name of another file that is at fault."""

    code: str
    what: str
    line: int | None = None
    column: int | None = None
    text: str = ""
    hint: str = ""
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """The worst use of one limit over a program (1: all of it), by which strut (0: the whole tool), in which line."""

    use: float
    strut: int
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What one program does on one machine; knows nothing of the policy but the margins. Can be kept and reused.

    ``lasting`` is false where the next run may end differently (time, memory, a worker that died).
    """

    duration_s: float = 0.0
    worst: Mapping[str, Use] = field(default_factory=dict)
    found: tuple[Finding, ...] = ()
    found_total: int = 0
    warnings: tuple[str, ...] = ()
    unseen: tuple[Unseen, ...] = ()
    mistakes: tuple[ProgramFault, ...] = ()
    mistakes_total: int = 0
    lasting: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A finding with what the policy and the baseline say of it; ``lowest`` has the feed that clears its line."""

    found: Finding
    state: State
    reason: str = ""
    lowest: Finding | None = None

    @property
    def fails(self) -> bool:
        """Return whether the finding fails its program."""
        return self.state in FAILING


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One program of the library, judged; findings are worst first."""

    name: str
    machine: str
    record: Record
    findings: tuple[Judged, ...]

    @property
    def verdict(self) -> Verdict:
        """Return ``error`` (not understood), ``fail`` (a finding fails it) or ``pass``."""
        if self.record.mistakes:
            return "error"
        return "fail" if any(f.fails for f in self.findings) else "pass"

    @property
    def worst(self) -> tuple[float, str]:
        """Return the largest use of any limit and its name; where no share can be told, a finding counts as all."""
        uses = [(u.use, limit) for limit, u in self.record.worst.items()]
        found = [j.found for j in self.findings]
        uses += [(f.ratio if f.limit.share else 1.0, f.limit.name) for f in found]
        return max(uses, default=(0.0, ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An accepted finding of the baseline; ``expires`` (YYYY-MM-DD) is the last day on which it counts."""

    program: str
    limit: str
    strut: int
    text: str
    fingerprint: str
    use: float
    blocks: int = 1
    reason: str = ""
    accepted_by: str = ""
    expires: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateResult:
    """The library judged: cases in order of path; baseline entries whose finding is gone; programs that policy skips.

    ``limits``: what the programs were judged by.
    """

    cases: tuple[Case, ...]
    mended: tuple[Entry, ...] = ()
    skipped: tuple[str, ...] = ()
    with_baseline: bool = False
    limits: Limits = JUDGED

    def count(self, verdict: Verdict) -> int:
        """Return how many programs have this verdict."""
        return sum(case.verdict == verdict for case in self.cases)

    @property
    def exit_code(self) -> int:
        """Return 2 if a program was not understood, else 1 if one fails, else 0."""
        verdicts = {case.verdict for case in self.cases}
        return 2 if "error" in verdicts else int("fail" in verdicts)
