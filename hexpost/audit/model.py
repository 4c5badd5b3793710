"""What the audit hands on: findings as columns, and the worst use of each limit."""

from dataclasses import dataclass

from hexpost.arrays import Array, Codes, Lines

LIMITS = (
    "stroke", "speed", "acceleration", "jerk", "joint-angle", "thrust", "torque", "critical-speed",
    "buckling", "conditioning", "clearance", "deviation", "tool-length", "tool-number", "pallet", "retract",
    "thrust-continuous", "torque-continuous", "power",
)  # fmt: skip
"""Names of limits; from tool-length to retract they are rules about the program rather than numbers of the machine."""

PROGRAM_RULES = frozenset({"tool-length", "tool-number", "pallet", "retract"})
"""Those of them that are rules about the program: kept or not, without a share."""

UNITS = {
    "stroke": "mm", "speed": "mm/s", "acceleration": "mm/s2", "jerk": "mm/s3", "joint-angle": "deg", "thrust": "N",
    "torque": "N m", "critical-speed": "1/min", "buckling": "N", "conditioning": "1", "clearance": "mm",
    "deviation": "mm", "tool-length": "mm", "tool-number": "1", "pallet": "mm", "retract": "mm",
    "thrust-continuous": "N", "torque-continuous": "N m", "power": "W",
}  # fmt: skip
"""Units in which peaks and allowed values are held and shown."""

JOINTS = ("", "base", "platform")
"""Names of the ends of a strut, by the number that a finding holds; 0 where no joint is meant."""

BODIES = 128
"""Struts are bodies 0 to 5, the spindle 6, keep-out boxes 7 and on; bodies i and j are told as 1 + i ``BODIES`` + j."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Findings:
    """Broken limits, shape (f,), worst ratio first: one per block, limit and strut for consecutive samples.

    ``limit`` indexes ``LIMITS``; ``strut`` 1-6, 0 where no strut is meant; ``line`` from 1; ``time`` and ``until``
    in s; ``peak`` and ``allowed`` in ``UNITS``; ``ratio`` peak over allowed in the sense of the limit (more than
    1); ``feed``: advised feed in mm/min (nan where lowering the feed does not help); ``advice`` indexes
    ``advices``, the distinct advice texts; ``joint`` indexes ``JOINTS`` (``None``: no joint is meant anywhere);
    ``bodies``: the two that meet, see ``BODIES``, 0 where none are meant (``None``: nowhere).
    """

    limit: Codes
    strut: Codes
    line: Lines
    time: Array
    until: Array
    peak: Array
    allowed: Array
    ratio: Array
    feed: Array
    advice: Lines
    advices: tuple[str, ...]
    joint: Codes | None = None
    bodies: Lines | None = None

    @property
    def count(self) -> int:
        """Return the number of findings."""
        return len(self.limit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """The worst value of one limit on one strut (0: the whole tool) over a job: its use of the limit, where, when."""

    limit: str
    strut: int
    value: float
    allowed: float
    ratio: float
    line: int
    time: float
    joint: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AuditResult:
    """Findings, the worst of everything, extent of the job, and remarks that are not findings."""

    findings: Findings
    worst: tuple[Worst, ...]
    samples: int
    duration: float
    shortest: Array
    longest: Array
    warnings: tuple[str, ...]
    dropped: int
    """Findings beyond the most that are kept (the mildest are dropped)."""
