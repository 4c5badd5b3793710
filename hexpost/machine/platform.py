"""The moving platform of a machine: the body that its struts carry, and the thrusts that move it."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.dynamics import RigidBody, with_points
from hexpost.kinematics.frames import turn
from hexpost.kinematics.struts import Struts
from hexpost.kinematics.thrusts import Thrusts
from hexpost.machine.model import Machine


def thrusts_of(machine: Machine, struts: Struts, base_from_work: Array, tip: Array, yaw: float = 0.0) -> Thrusts:
    """Return the thrusts of ``struts`` as seen from the work frame ``base_from_work`` (4, 4) and from ``tip`` (3,).

    The platform is one rigid body with the stated share of each strut lumped at its platform joint; what the base end
    of a strut carries, and its own turning, are left out. ``yaw`` as in ``StrutModel.in_frame``.
    """
    forces = machine.forces
    assert forces is not None  # every loaded machine has them
    force = turn(2, yaw) @ np.stack([forces.force, forces.moment], axis=1)
    gravity = forces.gravity @ base_from_work[:3, :3]
    return Thrusts(struts, moving_body(machine).seen_from(tip, yaw), gravity, force.T.ravel())


def moving_body(machine: Machine) -> RigidBody:
    """Return the platform with what it carries of the struts, in the platform frame."""
    platform = machine.platform
    assert platform.mass_kg is not None and platform.centre_of_mass is not None and platform.inertia_kg_m2 is not None
    body = RigidBody(mass=platform.mass_kg, centre=platform.centre_of_mass, inertia=platform.inertia_kg_m2 * 1e6)
    joints = np.array([s.platform_joint for s in machine.struts])
    return with_points(body, [s.body.platform_end_kg for s in machine.struts], joints)
