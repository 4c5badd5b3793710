"""What the gate hands on: what each program does, how the policy judges it, and the result for the library."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from hexpost.audit.model import FEED_CAP, LIMITS, Advice, Dropped, Finding, Limit, Limits, Of, Sense, Unseen
from hexpost.machine.feed_caps import FeedCap

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

POLICY_LIMITS = (CYCLE_TIME, NOT_CHECKED, FEED_CAP)

NO_MACHINE = Limit(
    name="no-machine", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
    meaning="The policy requires a machine file, and the program has none.", share=False,
    fault="judged on the invented demonstration machine, and machine_required of the policy forbids that",
    advice=Advice("Name the machine in the policy, or give --machine FILE."),
)  # fmt: skip
"""Nothing is known of the machine on which the program would run."""

NOT_JUDGED = Limit(
    name="not-judged", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
    meaning="More findings than there is room for: those that are left over cannot be judged.", share=False,
    fault="has more findings than there is room for",
    advice=Advice("Let the policy ignore this limit or only warn of it, or change the program."),
)  # fmt: skip
"""A program whose findings cannot all be judged never passes."""

UNACCEPTABLE = (NO_MACHINE, NOT_JUDGED)
"""Neither a policy nor a baseline can accept these."""

GATE_LIMITS = (*POLICY_LIMITS, *UNACCEPTABLE)
JUDGED = LIMITS.and_more(*GATE_LIMITS)
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
    ``units`` are those of a program that states none. ``at_most``: feeds that are not to be passed in some lines.
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
    at_most: tuple[FeedCap, ...] = ()


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

    ``sha256`` is that of the program; ``alike``: for the fingerprint of a finding of many blocks, the short fingerprint
    of each with its ratio; ``dropped``: findings that found no room, so that nobody can judge them.
    ``lasting`` is false where the next run may end differently (time, memory, a worker that died).
    """

    sha256: str = ""
    duration_s: float = 0.0
    worst: Mapping[str, Use] = field(default_factory=dict)
    found: tuple[Finding, ...] = ()
    alike: Mapping[str, tuple[tuple[str, float], ...]] = field(default_factory=dict)
    dropped: tuple[Dropped, ...] = ()
    warnings: tuple[str, ...] = ()
    unseen: tuple[Unseen, ...] = ()
    mistakes: tuple[ProgramFault, ...] = ()
    mistakes_total: int = 0
    lasting: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A finding with what the policy and the baseline say of it."""

    found: Finding
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
    def total(self) -> int:
        """Return how many findings and faults the program has."""
        return len(self.findings) + self.record.mistakes_total

    @property
    def worst(self) -> tuple[float, str]:
        """Return the largest use of any limit and its name; where no share can be told, a finding counts as all."""
        uses = [(u.use, limit) for limit, u in self.record.worst.items()]
        found = [j.found for j in self.findings]
        uses += [(f.ratio if f.limit.share else 1.0, f.limit.name) for f in found]
        return max(uses, default=(0.0, ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An accepted finding of the baseline; ``expires`` (YYYY-MM-DD) is the last day on which it counts.

    ``alike``: of a finding of many blocks, what ``Record.alike`` holds of each; ``sha256`` of the program.
    """

    program: str
    limit: str
    strut: int
    text: str
    fingerprint: str
    use: float
    blocks: int = 1
    alike: tuple[tuple[str, float], ...] = ()
    sha256: str = ""
    reason: str = ""
    accepted_by: str = ""
    expires: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A program in a folder of the library that does not belong to it, or a folder of such programs, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What of the library is meant: all its ``programs``, or those of a list of changed files or of a shard.

    ``left``: programs that do not belong to it; ``entries`` of a list, how many of them lie ``elsewhere`` or are no
    programs, and which are ``missing``; ``warnings`` about the policy; ``others``: how many files of the folders were
    passed over, by ending.
    """

    programs: int
    left: tuple[Left, ...] = ()
    entries: int | None = None
    elsewhere: int = 0
    missing: tuple[str, ...] = ()
    shard: str = ""
    warnings: tuple[str, ...] = ()
    others: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class GateResult:
    """The library judged: cases in order of path; baseline entries whose finding is gone; programs that policy skips.

    ``limits``: what the programs were judged by; ``expiring``: accepted findings whose entry expires soon, with the
    days that are left; ``renamed``: programs by the name that their entries have.
    """

    cases: tuple[Case, ...]
    mended: tuple[Entry, ...] = ()
    skipped: tuple[str, ...] = ()
    with_baseline: bool = False
    limits: Limits = JUDGED
    scope: Scope | None = None
    expiring: tuple[tuple[Entry, int], ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()
    policy: str = ""
    """The policy file, if there is one."""
    day: str = ""
    """The day (YYYY-MM-DD) that decides which accepted findings count; without a baseline none does."""

    @property
    def meant(self) -> Scope:
        """Return what of the library is meant; without more said, all that was handed in."""
        return self.scope or Scope(programs=len(self.cases) + len(self.skipped))

    def count(self, verdict: Verdict) -> int:
        """Return how many programs have this verdict."""
        return sum(case.verdict == verdict for case in self.cases)

    @property
    def exit_code(self) -> int:
        """Return 2 if a program was not understood, else 1 if one fails, else 0."""
        verdicts = {case.verdict for case in self.cases}
        return 2 if "error" in verdicts else int("fail" in verdicts)
