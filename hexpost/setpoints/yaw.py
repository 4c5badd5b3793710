"""The free yaw: the platform turned about its tool, by the yaw of each frame and by a profile in time."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.turning import about_tool
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Poses


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YawProfile:
    """Yaw over the ticks of a job, added to that of the frames: a uniform cubic B-spline, twice differentiable.

    ``control`` (m,) in rad, one every ``step`` ticks, held before the first and after the last. The curve stays among
    its control points; its derivatives stay among their differences over the step.
    """

    step: int
    control: Array
    period: float

    def at(self, tick: Ints) -> tuple[Array, Array, Array]:
        """Return yaw and its two time derivatives (n,) at ticks (n,): rad, rad/s, rad/s2."""
        knot = tick // self.step
        f = (tick - knot * self.step) / self.step
        c = [self.control[np.clip(knot + k, 0, len(self.control) - 1)] for k in (-1, 0, 1, 2)]
        g, h = 1.0 - f, 1.0 / (self.step * self.period)
        yaw = (g**3 * c[0] + (3 * f**3 - 6 * f**2 + 4) * c[1] + (3 * g**3 - 6 * g**2 + 4) * c[2] + f**3 * c[3]) / 6.0
        speed = (g**2 * (c[1] - c[0]) + (1.0 + 2.0 * f * g) * (c[2] - c[1]) + f**2 * (c[3] - c[2])) / 2.0 * h
        growth = (g * (c[2] - 2.0 * c[1] + c[0]) + f * (c[3] - 2.0 * c[2] + c[1])) * h**2
        return yaw, speed, growth


def turned(poses: Poses, frames: Sequence[Frame], profile: YawProfile | None, order: str) -> Poses:
    """Return the poses of the platform itself: those of the tool turned about it by the yaw."""
    constant = frames[poses.frame].yaw
    if profile is None and constant == 0.0:
        return poses
    n = len(poses.tick)
    yaw, speed, growth = (np.zeros(n), np.zeros(n), np.zeros(n)) if profile is None else profile.at(poses.tick)
    motion = (poses.pose, poses.rate, poses.acceleration)
    pose, rate, acceleration = about_tool(motion, (yaw + constant, speed, growth), order)
    return replace(poses, pose=pose, rate=rate, acceleration=acceleration)
