"""What a report says, gathered once: every form of it (text, JSON, terminal) is made of this."""

from dataclasses import dataclass

from hexpost.audit.model import NOT_DESCRIBED, Behaviour, Finding, Nearest, Unseen, Worst
from hexpost.feed.model import Reasons
from hexpost.report.against import HereAndThere
from hexpost.report.beside import TimeBeside
from hexpost.report.sheet import SetupSheet

MOST_FINDINGS = 10_000
"""So many findings are listed, worst first; the rest are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IgnoredWord:
    """Something that was ignored: its first line, what, how often."""

    line: int
    text: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineName:
    """The machine that the job was made for."""

    name: str
    revision: str
    file: str
    demonstration: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StrutUse:
    """How far a strut went [mm], and the worst use of each of its limits."""

    strut: int
    shortest: float
    longest: float
    worst: tuple[Worst, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleTimes:
    """Seconds a job takes: as programmed, strut-limited, and at the programmed feeds without any limit.

    ``safe_share``: the largest share of all feeds, one for the whole program, at which no strut limit breaks, and
    ``safe`` the seconds it then takes; ``None`` where no share is safe.
    """

    as_programmed: float
    strut_limited: float
    unlimited: float
    safe_share: float | None
    safe: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """Dense chains that are run as smooth curves: so many moves in so many curves, and how far off the program.

    ``tip`` [mm] and ``tilt`` [rad] bound the distance of each from the other, the programmed polyline and the curve.
    """

    moves: int
    curves: int
    tip: float
    tilt: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What was proven of the samples by other equations than those that made them, and what was not.

    ``why``: the reason where nothing can be proven.
    """

    proven: tuple[str, ...]
    left: tuple[str, ...]
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A job as people and machines read it; times in s. ``findings_total`` counts those not listed, too."""

    program: str
    machine: MachineName
    tools_file: str | None
    setup_file: str | None
    feed: str
    period: float
    duration: float
    rows: int
    struts: tuple[StrutUse, ...]
    whole: tuple[Worst, ...]
    """Worst use of the limits that are no strut's."""
    findings: tuple[Finding, ...]
    findings_total: int
    blocks_total: int
    """Distinct program lines among the findings that the audit kept."""
    readings: tuple[str, ...]
    ignored: tuple[IgnoredWord, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    reasons: Reasons | None = None
    """Why the job is not faster, block by block."""
    cycle_times: CycleTimes | None = None
    sheet: SetupSheet | None = None
    """What must be in the spindle and on the table."""
    unseen: tuple[Unseen, ...] = ()
    """Limits that were not looked at."""
    nearest: tuple[Nearest, ...] = ()
    """The two bodies that come nearest to each other, and all that come near."""
    beside: TimeBeside | None = None
    """What takes time beside the motion, and is not in the table."""
    compared: HereAndThere | None = None
    """The same program on an ordinary machine."""
    smoothed: Smoothed | None = None
    """What dense chains became; ``None`` where none was smoothed."""
    behaviour: Behaviour = NOT_DESCRIBED
    """What the machine does beside its limits."""
    restart: dict[str, object] | None = None
    """Where the job begins again and what it leaves out, with units in the keys."""
    proven: bool = True
    """False where a table is written that nobody proved to be what the program asks for."""
    ambiguous: bool = False
    """Whether lengths of the table mean more than one pose, so that nobody can prove it."""

    shown: Shown | None = None
    """What was proven of the samples of a job of which no table was written."""

    @property
    def clean(self) -> bool:
        """Return whether no limit is broken."""
        return self.findings_total == 0

    @property
    def runnable(self) -> bool:
        """Return whether the job may be run on the machine that it is made for."""
        return self.clean and self.proven
