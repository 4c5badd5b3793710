"""Machine, tools and setup as frozen data, inside units (mm, s, rad)."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from hexpost.arrays import Array
from hexpost.machine.wording import DialectWord, ReferenceReturn, Words


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strut:
    """One telescoping strut: joints (3,) in the base and in the platform frame, and its limits."""

    base_joint: Array
    platform_joint: Array
    stroke: tuple[float, float]
    speed: float
    acceleration: float
    jerk: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolTip:
    """What an ordinary controller would plan with: vector norms of the tip's motion and of the tilt's."""

    speed: float
    acceleration: float
    jerk: float
    tilt_speed: float
    tilt_acceleration: float
    tilt_jerk: float
    corner_tolerance: float
    corner_tolerance_tilt: float
    deviation: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Platform:
    """The moving platform: spindle gauge point (3,) in the platform frame; mass data are kept for forces."""

    gauge_point: Array
    mass_kg: float | None
    centre_of_mass: Array | None
    inertia_kg_m2: Array | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pallet:
    """The pallet frame in the base frame as a pose (6,) x y z a b c; size in x and y, centred on the frame."""

    pose: Array
    size: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Machine:
    """A six-strut machine; poses are (6,): x y z in mm, a b c in rad, composed in ``tilt_order``."""

    name: str
    revision: str
    file: str
    demonstration: bool
    tilt_order: str
    period: float
    reference: Array
    pallet: Pallet
    machine_zero: Array
    platform: Platform
    tool_tip: ToolTip
    struts: tuple[Strut, Strut, Strut, Strut, Strut, Strut]
    words: Words = field(default_factory=Words)
    dialect: tuple[DialectWord, ...] = ()
    reference_return: ReferenceReturn | None = None
    """``None``: reference returns lead to machine zero."""
    source: bytes = b""
    """The machine file itself, byte for byte, for the job folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One row of the tools file: its number serves T, H and D."""

    number: int
    length: float
    diameter: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tools:
    """The tools file; ``given`` is false when there is none, and then every tool has length 0."""

    tools: Mapping[int, Tool]
    given: bool
    file: str = ""
    source: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setup:
    """The setup file: work offsets by name (``"G54"``) as poses (6,) in the pallet frame; where the job starts.

    ``given`` is false when there is no setup file, and then every work offset is the pallet frame.
    ``start`` is the pose (6,) of the gauge point in the base frame, or ``None``: machine zero.
    """

    offsets: Mapping[str, Array]
    start: Array | None
    given: bool
    file: str = ""
    source: bytes = b""
