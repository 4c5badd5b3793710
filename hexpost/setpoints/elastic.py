"""How much longer a command must be so that a strut that gives way under its thrust is as long as it should be.

With the compliance c of a strut, its thrust f, and c0 f0 in the pose in which commands are lengths, c f - c0 f0 is
added to the command: the tip error of a strut that is c f shorter is J^-1 (-c f), with f = J^-T w (Merlet, Parallel
Robots, 2nd ed. 2006, chapter on statics; from memory).
"""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.struts import Struts
from hexpost.kinematics.thrusts import Cut, LoadedMotion, Thrusts
from hexpost.last_answer import LastAnswer
from hexpost.machine.elastic import springs, unbent
from hexpost.machine.model import Machine
from hexpost.machine.platform import thrusts_of
from hexpost.moves.model import Frame
from hexpost.setpoints.cutting import Cutting
from hexpost.setpoints.model import Setpoints


class Elastic:
    """What struts as springs ask for, batch by batch, in any order."""

    def __init__(self, machine: Machine, frames: Sequence[Frame], cutting: Cutting | None) -> None:
        found = springs(machine)
        assert machine.compensation is not None and found is not None  # the loader sees to it
        self._machine, self._frames, self._springs, self._asked = machine, frames, found, machine.compensation
        self._cutting = cutting
        self._thrusts: LastAnswer[int, Thrusts] = LastAnswer()
        self._home = unbent(machine, found)

    def of(self, setpoints: Setpoints, struts: Struts) -> Array:
        """Return what is added to the lengths of a batch (6, n), mm."""
        poses, asked = setpoints.poses, self._asked
        frame = self._frames[poses.frame]
        thrusts = self._thrusts.of(
            poses.frame, lambda: thrusts_of(self._machine, struts, frame.base_from_work, frame.tip)
        )
        cut = self._cutting.at(setpoints) if self._cutting is not None and asked.cutting else Cut()
        motion = LoadedMotion(
            pose=poses.pose, rate=poses.rate, bend=poses.acceleration, period=setpoints.period, cut=cut,
            turned=setpoints.turned, still=not asked.inertia,
        )  # fmt: skip
        return self.shorter(thrusts.along(motion, setpoints.length), setpoints.length)

    def shorter(self, thrust: Array, length: Array) -> Array:
        """Return how much shorter (6, n) [mm] struts are than in the pose in which commands are lengths."""
        out = self._springs.shorter(thrust, length)
        out -= self._home
        return out


def changes(values: Array, period: float) -> Array:
    """Return the mean rates (6, n) of the ticks that end at samples; 0 at the first."""
    out: Array = np.zeros_like(values)
    np.subtract(values[:, 1:], values[:, :-1], out=out[:, 1:])
    out *= 1.0 / period
    return out
