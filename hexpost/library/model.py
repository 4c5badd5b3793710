"""What the gate hands on: what each program does, how the policy judges it, and the result for the library."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from hexpost.audit.model import PROGRAM_RULES

CYCLE_TIME = "cycle-time"
"""Name of the policy's own limit: the longest time a program may take."""

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
class Task:
    """One program to check, with all that its record depends on; small, so that it can travel.

    ``margins``: share of a limit beyond which use is a finding (1 where a limit is not named). ``period`` in s.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One limit that one strut (0: the whole tool) breaks in one line.

    ``use`` is peak over the machine's own limit, ``allowed`` the bound that was checked (a margin of it). ``blocks``
    is more than 1 where too many lines are alike and only the worst of them is named. ``fingerprint`` stays the
    same when lines are inserted above or blocks renumbered.
    """

    limit: str
    strut: int
    line: int
    text: str
    time_s: float
    until_s: float
    peak: float
    allowed: float
    unit: str
    use: float
    advice: str
    advice_feed_mm_min: float | None
    blocks: int
    fingerprint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
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
    found: tuple[Found, ...] = ()
    found_total: int = 0
    warnings: tuple[str, ...] = ()
    mistakes: tuple[Mistake, ...] = ()
    mistakes_total: int = 0
    lasting: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A finding with what the policy and the baseline say of it."""

    found: Found
    state: State
    reason: str = ""

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
        """Return the largest use of any limit and its name; a broken rule counts as all of it."""
        uses = [(u.use, limit) for limit, u in self.record.worst.items()]
        uses += [(1.0 if j.found.limit in PROGRAM_RULES else j.found.use, j.found.limit) for j in self.findings]
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
    """The library judged: cases in order of path; baseline entries that are mended; programs that policy skips."""

    cases: tuple[Case, ...]
    mended: tuple[Entry, ...] = ()
    skipped: tuple[str, ...] = ()
    with_baseline: bool = False

    def count(self, verdict: Verdict) -> int:
        """Return how many programs have this verdict."""
        return sum(case.verdict == verdict for case in self.cases)

    @property
    def exit_code(self) -> int:
        """Return 2 if a program was not understood, else 1 if one fails, else 0."""
        verdicts = {case.verdict for case in self.cases}
        return 2 if "error" in verdicts else int("fail" in verdicts)
