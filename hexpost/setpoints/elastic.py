"""How much longer a command must be so that a strut that gives way under its thrust is as long as it should be.

With the compliance c of a strut, its thrust f, and c0 f0 in the pose in which commands are lengths, c f - c0 f0 is
added to the command. The tip error of a strut that is c f shorter is J^-1 (-c f), for J turns small moves into changes
of the lengths; f = J^-T w, for a wrench w does the work of the thrusts in every small move: w . dx = f . J dx.
"""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.struts import Struts
from hexpost.machine.elastic import springs, unbent
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame
from hexpost.setpoints.cutting import Cutting
from hexpost.setpoints.loads import BatchThrusts
from hexpost.setpoints.model import Setpoints


class Elastic:
    """What struts as springs ask for, batch by batch, in any order."""

    def __init__(self, machine: Machine, frames: Sequence[Frame], cutting: Cutting | None) -> None:
        found = springs(machine)
        assert machine.compensation is not None and found is not None  # the loader sees to it
        asked = machine.compensation
        self._frames, self._springs = frames, found
        self._thrusts = BatchThrusts(machine, cutting if asked.cutting else None, still=not asked.inertia)
        self._home = unbent(machine, found)

    def of(self, setpoints: Setpoints, struts: Struts) -> Array:
        """Return what is added to the lengths of a batch (6, n), mm."""
        thrust = self._thrusts.of(setpoints, struts, self._frames[setpoints.poses.frame])
        return self.shorter(thrust, setpoints.length)

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
