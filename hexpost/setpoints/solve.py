"""Solve poses into strut setpoints, batch by batch."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.links import links
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame
from hexpost.setpoints.command import Commands, gearing, has_commands
from hexpost.setpoints.model import Poses, Setpoints


class Solver:
    """Solves batches of one job: ``alone`` in any order, then ``join`` in the order of time; ``solve`` does both.

    What runs across batches is remembered: the last acceleration for the jerk, the last twist for the commands.

    ``commands``: whether to work out what the drives follow, where the machine file describes its screws.
    """

    def __init__(self, machine: Machine, frames: Sequence[Frame], *, commands: bool = True) -> None:
        self._model = StrutModel(machine)
        self._period = machine.period
        self._frames = frames
        self._struts: LastAnswer[int, Struts] = LastAnswer()
        self._last: Array | None = None
        self._gearing = gearing(machine)
        self._loaded = any(s.screw for s in machine.struts)
        self._commands = Commands(machine) if commands and has_commands(machine) else None

    def solve(self, poses: Poses) -> Setpoints:
        """Return lengths, speeds, accelerations and mean jerks (6, n) of the next batch.

        The jerk of a sample is the change of acceleration since the sample before, over the period; 0 at the first.
        """
        setpoints = self.alone(poses)
        self.join(setpoints)
        return setpoints

    def join(self, setpoints: Setpoints) -> bool:
        """Put right what depends on the batch before; return whether that was more than its first jerk."""
        acceleration = setpoints.acceleration
        if acceleration.size:
            if self._last is not None:
                setpoints.jerk[:, 0] = (acceleration[:, 0] - self._last) * (1.0 / self._period)
            self._last = acceleration[:, -1].copy()
        if self._commands is None or setpoints.command is None or setpoints.twist is None:
            return False
        return self._commands.join(setpoints.command, setpoints.twist)

    def alone(self, poses: Poses) -> Setpoints:
        """Return a batch as if none came before it: the jerk of its first sample is 0, twists are its own."""
        frame = self._frames[poses.frame]
        struts = self._struts.of(poses.frame, lambda: self._model.in_frame(frame.base_from_work, frame.tip))
        q = [poses.pose, poses.rate, poses.acceleration]
        (length, speed, acceleration), turned = (
            struts.derivatives_and_turned(q) if self._loaded else (struts.derivatives(q), None)
        )
        jerk: Array = np.empty_like(acceleration)
        np.subtract(acceleration[:, 1:], acceleration[:, :-1], out=jerk[:, 1:])
        jerk[:, :1] = 0.0
        jerk *= 1.0 / self._period
        at = links(struts, poses.pose, length) if self._commands else None
        command, twist = None, None
        if self._commands and at:
            command, twist = self._commands.of(at, frame.base_from_work)
        return Setpoints(
            poses=poses, period=self._period, length=length, speed=speed, acceleration=acceleration, jerk=jerk,
            command=command, gearing=self._gearing, twist=twist, links=at, turned=turned,
        )  # fmt: skip
