"""The parts of a strut as frozen data: joints, screw, warmth, position loop, body; in mm, s, rad."""

from dataclasses import dataclass

from hexpost.arrays import Array
from hexpost.kinematics.servo import Loop

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Universal:
    """A universal joint at one end of a strut, in the frame it is mounted in; angles in rad.

    ``outer`` (3,) is the axis that stands still in that frame, ``inner`` (3,) the other one where both angles are 0;
    both are unit vectors, perpendicular to each other, and the strut then lies along the normal of both.
    ``cone``: largest angle from there. ``outer_range``, ``inner_range``: angles about the two axes. ``None``: no limit.
    ``stiffness`` [N/mm] along the strut.
    """

    outer: Array
    inner: Array
    cone: float | None = None
    outer_range: Range | None = None
    inner_range: Range | None = None
    stiffness: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """The screw of a strut and what turns it; lengths in mm, forces in N, torques in N m.

    ``hand`` is 1 for a right-hand thread, -1 for a left-hand one. ``zero``: the length at which the command is 0.
    ``gear``: turns of the motor for one of the screw; ``inertia`` [kg m2] is that of all that turns, at the motor.
    The unsupported length of the screw is the length of the strut less ``supported``; ``ends`` says how it is held.
    ``None`` stands for what is not known: what depends on it is not computed.
    """

    lead: float
    hand: int
    zero: float
    gear: float
    counts: float | None
    efficiency: float
    back_efficiency: float
    inertia: float
    root: float | None
    bore: float
    supported: float
    ends: str
    elasticity: float
    """Young's modulus, N/mm2."""
    density: float
    """kg/m3."""
    critical_speed_share: float
    buckling_share: float
    thrust: float | None
    thrust_continuous: float | None
    torque: float | None
    torque_continuous: float | None
    power: float | None
    """W, of the motor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thermal:
    """How warm a strut is: ``heated`` is the length that grows, mm at ``reference``; ``None``: the whole strut.

    ``spread``: standard uncertainty of the temperature, K; ``None``: not known.
    """

    expansion: float
    """1/K."""
    temperature: float
    reference: float
    heated: float | None
    spread: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Servo:
    """What moves a strut: its position loop, and ``backlash``, the motion lost where it turns back, mm."""

    loop: Loop
    backlash: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The body of a strut: ``radius`` of a capsule about it, mm; what the platform end carries, kg; N/mm along it."""

    radius: float | None = None
    platform_end_kg: float = 0.0
    stiffness: float | None = None
