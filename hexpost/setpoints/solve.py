"""Solve poses into strut setpoints, block by block."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.links import links
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame
from hexpost.setpoints.command import Commands, gearing, has_commands
from hexpost.setpoints.model import Poses, Setpoints


class Solver:
    """Solves consecutive blocks of one job; remembers the last acceleration, so that jerk runs across blocks.

    ``commands``: whether to work out what the drives follow, where the machine file describes its screws.
    """

    def __init__(self, machine: Machine, frames: Sequence[Frame], *, commands: bool = True) -> None:
        self._model = StrutModel(machine)
        self._period = machine.period
        self._frames = frames
        self._current: tuple[int, Struts] | None = None
        self._last: Array | None = None
        self._gearing = gearing(machine)
        self._loaded = any(s.screw for s in machine.struts)
        self._commands = Commands(machine) if commands and has_commands(machine) else None

    def solve(self, poses: Poses) -> Setpoints:
        """Return lengths, speeds, accelerations and mean jerks (6, n) of a block.

        The jerk of a sample is the change of acceleration since the sample before, over the period; 0 at the first.
        """
        struts = self._struts(poses.frame)
        q = [poses.pose, poses.rate, poses.acceleration]
        (length, speed, acceleration), turned = (
            struts.derivatives_and_turned(q) if self._loaded else (struts.derivatives(q), None)
        )
        jerk: Array = np.empty_like(acceleration)
        np.subtract(acceleration[:, 1:], acceleration[:, :-1], out=jerk[:, 1:])
        if jerk.size:
            jerk[:, 0] = 0.0 if self._last is None else acceleration[:, 0] - self._last
            self._last = acceleration[:, -1].copy()
        jerk *= 1.0 / self._period
        at = links(struts, poses.pose, length) if self._commands else None
        command = self._commands.of(at, self._frames[poses.frame].base_from_work) if self._commands and at else None
        return Setpoints(
            poses=poses, period=self._period, length=length, speed=speed, acceleration=acceleration, jerk=jerk,
            command=command, gearing=self._gearing, links=at, turned=turned,
        )  # fmt: skip

    def _struts(self, frame: int) -> Struts:
        """Return the struts as seen from a frame of the job; those of the last one are kept."""
        if self._current is None or self._current[0] != frame:
            seen = self._frames[frame]
            self._current = (frame, self._model.in_frame(seen.base_from_work, seen.tip))
        return self._current[1]
