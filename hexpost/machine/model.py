"""Machine, tools and setup as frozen data, inside units (mm, s, rad)."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from hexpost.arrays import Array
from hexpost.machine.parts import Body, Range, Screw, Servo, Thermal, Universal
from hexpost.machine.wording import AskedUnits, DialectWord, ProgrammedAxes, ReferenceReturn, Wording

__all__ = [
    "Body", "Box", "Compensation", "Forces", "Health", "Machine", "Pallet", "Platform", "Range", "Screw", "Servo",
    "Setup", "ShopTimes", "Spindle", "Strut", "Thermal", "Tool", "ToolTip", "Tools", "Universal",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strut:
    """One telescoping strut: joints (3,) in the base and in the platform frame, its limits, and what is known of it.

    A loaded machine has both universal joints of each strut, with the default axes where the file names none.
    """

    base_joint: Array
    platform_joint: Array
    stroke: Range
    speed: float
    acceleration: float
    jerk: float
    base_universal: Universal | None = None
    platform_universal: Universal | None = None
    screw: Screw | None = None
    thermal: Thermal | None = None
    body: Body = field(default_factory=Body)
    servo: Servo | None = None
    deceleration: float | None = None
    """Limit of the acceleration of a strut that slows down, mm/s2; ``None``: that of ``acceleration``."""

    @property
    def slowing(self) -> float:
        """Return the limit of the acceleration of a strut that slows down, mm/s2."""
        return self.acceleration if self.deceleration is None else self.deceleration


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forces:
    """What acts on the platform: gravity (3,) in the base frame [mm/s2]; at the tip force (3,) [N], moment (3,) [N mm].

    Force and moment are those on the tool, in the axes of the platform; they act in feed moves only. ``window`` [s] is
    the time over which continuous loads are averaged.
    """

    gravity: Array
    force: Array
    moment: Array
    window: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spindle:
    """A capsule about the spindle: from the gauge point to ``top`` (3,) of the platform frame, with ``radius``."""

    top: Array
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Box:
    """A box that struts and spindle must keep out of: corners ``low`` and ``high`` (3,) in the base frame."""

    name: str
    low: Array
    high: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """What a pose must keep: conditioning with turns taken times ``length``; clearance in mm. ``None``: no limit."""

    length: float | None = None
    conditioning: float | None = None
    clearance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compensation:
    """What commands make up for; ``screws`` give way, too; ``zero_at`` names the pose where commands are lengths."""

    sag: bool
    inertia: bool
    cutting: bool
    screws: bool
    zero_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopTimes:
    """Seconds that things beside the motion take; ``None``: not known.

    A change of the tool, to pick up speed from rest, to turn the other way, a stop at which somebody acts.
    """

    tool_change: float | None = None
    spindle_start: float | None = None
    spindle_reverse: float | None = None
    attended_stop: float | None = None


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
    contour: float | None = None
    """Allowed error across the path that the lags of the struts make in feed moves, mm; ``None``: no limit."""
    vibration: float | None = None
    """Allowed swing of the tip once it rests, mm; ``None``: no limit."""
    deceleration: float | None = None
    tilt_deceleration: float | None = None
    """Limits of what slows tip and tilt down, mm/s2 and rad/s2; ``None``: those of the accelerations.

    Of an acceleration, the part along the motion that slows it down counts as a share of this limit, what speeds it up
    and what bends it as shares of the other; the root of the sum of their squares is at most 1.
    """

    @property
    def slowing(self) -> tuple[float, float]:
        """Return the limits of what slows tip and tilt down, mm/s2 and rad/s2."""
        tip, tilt = self.deceleration, self.tilt_deceleration
        return (self.acceleration if tip is None else tip, self.tilt_acceleration if tilt is None else tilt)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Platform:
    """The moving platform: spindle gauge point (3,) in the platform frame; mass data are kept for forces.

    ``damping``: the ratio with which it swings on its struts.
    """

    gauge_point: Array
    mass_kg: float | None
    centre_of_mass: Array | None
    inertia_kg_m2: Array | None
    damping: float = 0.02


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
    words: Wording = field(default_factory=Wording)
    dialect: tuple[DialectWord, ...] = ()
    reference_return: ReferenceReturn | None = None
    """``None``: reference returns lead to machine zero."""
    tool_change: Array | None = None
    """Pose (6,) of the gauge point in the base frame in which a tool change leaves it; ``None``: where it was."""
    programmed_axes: ProgrammedAxes | None = None
    """``None``: programs say A B C about the tip."""
    forces: Forces | None = None
    spindle: Spindle | None = None
    keep_out: tuple[Box, ...] = ()
    health: Health = field(default_factory=Health)
    times: ShopTimes = field(default_factory=ShopTimes)
    compensation: Compensation | None = None
    by_axes: bool = False
    """Whether the six struts stand for the axes X Y Z A B C of an ordinary machine, which are the coordinates."""
    calibration: Array | None = None
    """Covariance (42, 42) of the geometry, mm2, as ``kinematics.uncertainty`` numbers it; ``None``: not known."""
    source: bytes = b""
    """The machine file itself, byte for byte, for the job folder."""
    asked_units: AskedUnits | None = None
    """Units that were asked for beside the machine file, and then are those of ``words``."""
    calm: bool = False
    """Whether averages are rounded up to whole periods of the lowest mode: asked for beside the machine file."""
    effort: bool = False
    """Whether planning may take what it takes: asked for beside the machine file."""

    @property
    def struts_slow_otherwise(self) -> bool:
        """Return whether a strut has a limit of its own for slowing down."""
        return any(s.deceleration is not None for s in self.struts)

    def with_units(self, units: str | None) -> "Machine":
        """Return the machine that reads programs without units in ``units``; ``None``: as its file says."""
        if units is None:
            return self
        asked = AskedUnits(units=units, file=self.words.units)
        return replace(self, words=replace(self.words, units=units), asked_units=asked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One row of the tools file: its number serves T, H and D."""

    number: int
    length: float
    diameter: float
    round: bool = True
    """Whether it cuts alike however it is turned about its axis."""
    teeth: int = 1
    force: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """On the tool: against the feed [N] and for a mm of feed per tooth [N/mm], along the spindle likewise."""


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
    ``start`` is the pose (6,) of the gauge point in the base frame, or ``None``: machine zero. ``yaw`` [rad]: the
    platform is turned by it about the axis of the tool while work offsets are in force.
    """

    offsets: Mapping[str, Array]
    start: Array | None
    given: bool
    yaw: float = 0.0
    lift: float = 0.0
    """Work frames are moved up by this along the pallet's z, mm: a dry run above the work."""
    file: str = ""
    source: bytes = b""
