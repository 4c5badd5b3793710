"""What the solver hands on: a batch of consecutive samples at the control period."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Columns, Flags, Ints, Lines
from hexpost.kinematics.links import Links


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Poses(Columns):
    """Consecutive samples on the path, shape (n,) or (6, n); all in one frame.

    ``tick``: sample number from 0, time = tick * period. ``move``: the move the tool is on (-1 before the first).
    ``span``: the stop-to-stop span. ``frame`` indexes the frames of the moves. ``pose`` x y z a b c in the work
    frame; ``rate`` and ``acceleration`` its time derivatives. ``corner``: true on a corner piece.
    """

    tick: Ints
    move: Ints
    line: Lines
    span: Ints
    frame: int
    pose: Array
    rate: Array
    acceleration: Array
    corner: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gearing:
    """Motor turns and encoder counts (6,) for a mm of command; ``None`` where screws, encoders are not described."""

    turns: Array | None
    counts: Array | None
    compensated: bool = False
    """Whether commands make up for what struts give way."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Load(Columns):
    """At each sample, per strut (6, n): thrust [N], positive where it pushes; torque of the motor [N m]."""

    thrust: Array
    torque: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setpoints(Columns):
    """The same samples solved into struts, shape (6, n), strut 1 first.

    ``jerk``: change of acceleration since the sample before, over the period (the mean jerk of that tick).
    ``command``: what the drives follow, where the machine file describes its screws, with ``gearing``.
    ``twist``: of the ends of each strut against each other at the first and the last sample, (6, 1), unwrapped, rad.
    ``compensation``: what struts that give way ask for on top of their lengths, [mm], and ``creep`` [mm/s], how fast it
    grew in the tick before; both only where the machine file says so.
    ``links``: the struts in space, where they were needed on the way; ``turned`` (11, n): what came up of the poses
    on the way, see ``Struts.derivatives_and_turned``.
    """

    poses: Poses
    period: float
    length: Array
    speed: Array
    acceleration: Array
    jerk: Array
    command: Array | None = None
    gearing: Gearing | None = None
    twist: tuple[Array, Array] | None = None
    links: Links | None = None
    turned: Array | None = None
    compensation: Array | None = None
    creep: Array | None = None
    load: Load | None = None
    """What struts and motors bear, where a table tells it."""

    @property
    def driven_length(self) -> Array:
        """Return the lengths (6, n) that the drives go to: those of struts without load."""
        return self.length if self.compensation is None else self.length + self.compensation

    @property
    def driven_speed(self) -> Array:
        """Return how fast (6, n) the drives go there: of what is added to the lengths, the mean of the tick before."""
        return self.speed if self.creep is None else self.speed + self.creep


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YawProfile:
    """Yaw over the ticks of a job, added to that of the frames: a uniform cubic B-spline, twice differentiable.

    ``control`` (m,) in rad, one every ``step`` ticks, held before the first and after the last. The curve stays among
    its control points; its derivatives stay among their differences over the step.
    """

    step: int
    control: Array
    period: float

    def at(self, tick: Ints | Array) -> tuple[Array, Array, Array]:
        """Return yaw and its two time derivatives (n,) at ticks (n,): rad, rad/s, rad/s2."""
        knot = np.asarray(tick // self.step, dtype=np.int64)
        f = (tick - knot * self.step) / self.step
        c = [self.control[np.clip(knot + k, 0, len(self.control) - 1)] for k in (-1, 0, 1, 2)]
        g, h = 1.0 - f, 1.0 / (self.step * self.period)
        yaw = (g**3 * c[0] + (3 * f**3 - 6 * f**2 + 4) * c[1] + (3 * g**3 - 6 * g**2 + 4) * c[2] + f**3 * c[3]) / 6.0
        speed = (g**2 * (c[1] - c[0]) + (1.0 + 2.0 * f * g) * (c[2] - c[1]) + f**2 * (c[3] - c[2])) / 2.0 * h
        growth = (g * (c[2] - 2.0 * c[1] + c[0]) + f * (c[3] - 2.0 * c[2] + c[1])) * h**2
        return yaw, speed, growth

    def largest(self) -> Array:
        """Return bounds (3,) of the first three time derivatives: differences of the control points over the step."""
        h = self.step * self.period
        return np.array([np.abs(np.diff(self.control, k)).max(initial=0.0) / h**k for k in (1, 2, 3)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TickBounds:
    """Of the ticks that end at n samples: largest first to third time derivatives (3, n) of the tip and the angles.

    ``even`` (n,): one straight piece or one arc is passed, at constant jerk along it: derivatives hardly vary.
    """

    tip: Array
    tilt: Array
    even: Flags
