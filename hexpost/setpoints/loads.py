"""Thrusts and motor torques at the samples of a batch, worked out once for all checks that ask."""

from math import pi

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.screws import torque
from hexpost.kinematics.struts import Struts
from hexpost.kinematics.thrusts import Cut, LoadedMotion, Thrusts
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine, Screw
from hexpost.machine.platform import thrusts_of
from hexpost.moves.model import Frame
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.cutting import Cutting
from hexpost.setpoints.model import Load, Setpoints


class BatchThrusts:
    """Thrusts of the moving platform, batch by batch, in any order; the last frame is kept.

    Without ``cutting`` nothing acts on the tool; ``still``: as if it moved without acceleration.
    """

    def __init__(self, machine: Machine, cutting: Cutting | None, *, still: bool = False) -> None:
        self._machine, self._cutting, self._still = machine, cutting, still
        self._thrusts: LastAnswer[int, Thrusts] = LastAnswer()

    def of(self, setpoints: Setpoints, struts: Struts, frame: Frame) -> Array:
        """Return the thrusts (6, n) of a batch, N, from its ``frame`` and the struts as seen from there."""
        poses = setpoints.poses
        motion = LoadedMotion(
            pose=poses.pose, rate=poses.rate, bend=poses.acceleration, period=setpoints.period,
            cut=Cut() if self._cutting is None else self._cutting.at(setpoints), turned=setpoints.turned,
            still=self._still,
        )  # fmt: skip
        thrusts = self._thrusts.of(
            poses.frame, lambda: thrusts_of(self._machine, struts, frame.base_from_work, frame.tip)
        )
        return thrusts.along(motion, setpoints.length)


class Loads:
    """Thrusts of the moving platform, torques through the screws; the last answer is kept.

    Torque uses the acceleration of the strut length.
    """

    def __init__(self, machine: Machine, poses: Attitudes, cutting: Cutting) -> None:
        self._poses, self._thrusts = poses, BatchThrusts(machine, cutting)
        self._loads: LastAnswer[Setpoints, Load] = LastAnswer()
        screws = [s.screw for s in machine.struts]
        self._lead, self._forward, self._backward, self._spin = _drive(screws)

    def of(self, setpoints: Setpoints) -> Load:
        """Return the loads of a batch."""
        return self._loads.of(setpoints, lambda: self._loads_of(setpoints))

    def _loads_of(self, setpoints: Setpoints) -> Load:
        """Work out the loads of a batch."""
        thrust = self._thrusts.of(setpoints, self._poses.struts(setpoints), self._poses.frame(setpoints))
        turned = torque(thrust, setpoints.speed, self._lead, self._forward, self._backward)
        turned += self._spin * setpoints.acceleration
        return Load(thrust=thrust, torque=turned)


def _drive(screws: list[Screw | None]) -> tuple[Array, Array, Array, Array]:
    """Return lead over gear, 1 / eta, eta_b, and torque by acceleration of the strut, (6, 1) each; 0 without screw."""
    rows = np.zeros((6, 4))
    for k, s in enumerate(screws):
        if s is not None:
            spin = s.inertia * 2.0 * pi * s.gear / s.lead
            rows[k] = s.lead / s.gear, 1.0 / s.efficiency, s.back_efficiency, spin
    lead, forward, backward, spins = rows.T[:, :, None]
    return lead, forward, backward, spins
