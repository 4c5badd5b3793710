"""What six struts carry while a machine is measured, and how much shorter each is by that: they give way as springs."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.dynamics import MILLI
from hexpost.kinematics.elastic import Springs
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.elastic import springs, without_sag
from hexpost.machine.model import Machine
from hexpost.machine.platform import moving_body


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carried:
    """What rests on ``springs``: ``mass`` [kg] with its ``centre`` (3,) of mass in the platform frame.

    ``gravity`` (3,) [mm/s2] in the base frame. At ``home`` (6, 1), a pose of the platform, commands are lengths.
    """

    springs: Springs
    mass: float
    centre: Array
    gravity: Array
    home: Array

    @property
    def weight(self) -> float:
        """Return what rests on the struts, N."""
        return MILLI * self.mass * float(np.linalg.norm(self.gravity))

    def thrusts(self, rows: Array, turned: Array, load: Array | None) -> Array:
        """Return the thrusts (6, n) [N] that push a platform at rest, turned by (n, 3, 3), by Jacobians (n, 6, 6).

        ``load`` (n, 4): what is fastened to the platform, kg, and where its centre of mass is in the platform frame.
        By virtual work J' f and the weights balance.
        """
        moment: Array = self.mass * (turned @ self.centre)
        mass = np.full(len(turned), self.mass)
        if load is not None:
            mass = mass + load[:, 0]
            moment = moment + load[:, :1] * np.einsum("nij,nj->ni", turned, load[:, 1:])
        pull = MILLI * np.concatenate([mass[:, None] * self.gravity, np.cross(moment, self.gravity)], axis=1)
        out = np.linalg.solve(rows.swapaxes(1, 2), -pull[:, :, None])[:, :, 0].T
        return np.asarray(out, dtype=np.float64)

    def softer(self, step: Array) -> "Carried":
        """Return the same on struts whose compliances are greater by ``step`` (6,) [mm/N]."""
        return replace(self, springs=replace(self.springs, fixed=self.springs.fixed + step[:, None]))


def carried(machine: Machine) -> Carried:
    """Return what the struts of a machine carry, without a tool; rigid where nothing says how stiff they are."""
    body, forces = moving_body(machine), machine.forces
    assert forces is not None  # every loaded machine has them
    none = np.zeros((6, 1))
    pose, tip = without_sag(machine)
    home = pose.copy()
    home[:3] -= pose_matrix(pose, machine.tilt_order)[:3, :3] @ tip
    return Carried(
        springs=springs(machine) or Springs(fixed=none, growing=none, supported=none),
        mass=body.mass,
        centre=body.centre,
        gravity=forces.gravity,
        home=home[:, None],
    )
