"""Thrusts and motor torques at the samples of a batch, worked out once for all checks that ask."""

from math import pi

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.screws import torque
from hexpost.kinematics.thrusts import LoadedMotion, Thrusts
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine, Screw
from hexpost.machine.platform import thrusts_of
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.cutting import Cutting
from hexpost.setpoints.model import Load, Setpoints


class Loads:
    """Thrusts of the moving platform, torques through the screws; the last answer is kept.

    Torque uses the acceleration of the strut length.
    """

    def __init__(self, machine: Machine, poses: Attitudes, cutting: Cutting) -> None:
        self._machine = machine
        self._poses = poses
        self._cutting = cutting
        self._thrusts: LastAnswer[int, Thrusts] = LastAnswer()
        self._loads: LastAnswer[Setpoints, Load] = LastAnswer()
        screws = [s.screw for s in machine.struts]
        self._lead, self._forward, self._backward, self._spin = _drive(screws)

    def of(self, setpoints: Setpoints) -> Load:
        """Return the loads of a batch."""
        return self._loads.of(setpoints, lambda: self._loads_of(setpoints))

    def _loads_of(self, setpoints: Setpoints) -> Load:
        """Work out the loads of a batch."""
        poses = setpoints.poses
        motion = LoadedMotion(
            pose=poses.pose, rate=poses.rate, bend=poses.acceleration, period=setpoints.period,
            cut=self._cutting.at(setpoints), turned=setpoints.turned,
        )  # fmt: skip
        frame, struts = self._poses.frame(setpoints), self._poses.struts(setpoints)
        thrusts = self._thrusts.of(
            poses.frame, lambda: thrusts_of(self._machine, struts, frame.base_from_work, frame.tip)
        )
        thrust = thrusts.along(motion, setpoints.length)
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
