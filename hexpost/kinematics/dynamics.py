"""A moving body, and the wrench that moves it, in its own axes: one matrix times rows of the motion."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import turn

PULL, TURNING = slice(0, 3), slice(3, 12)
"""Rows of the motion: acceleration of the tip less gravity [mm/s2]; what turns it: angular
acceleration [rad/s2], squares of the angular velocity [rad2/s2] and its products xy, yz, zx."""

MILLI = 1e-3
"""kg mm/s2 in N."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RigidBody:
    """Mass [kg], centre of mass (3,) [mm] and inertia (3, 3) about it [kg mm2], in the axes of the platform."""

    mass: float
    centre: Array
    inertia: Array

    def seen_from(self, tip: Array, yaw: float = 0.0) -> "RigidBody":
        """Return the body with its centre of mass counted from ``tip`` (3,), then turned by ``yaw`` [rad] about z."""
        r = turn(2, yaw)
        return RigidBody(mass=self.mass, centre=r @ (self.centre - tip), inertia=r @ self.inertia @ r.T)


def with_points(body: RigidBody, masses: Sequence[float], points: Array) -> RigidBody:
    """Return ``body`` with ``masses`` (m,) lumped at ``points`` (m, 3): the parallel-axis theorem."""
    all_masses = np.array([body.mass, *masses])
    centres = np.vstack([body.centre, points])
    mass = float(all_masses.sum())
    centre = all_masses @ centres / mass
    d = centres - centre
    inertia = body.inertia + np.einsum("m,mij->ij", all_masses, (d**2).sum(axis=1)[:, None, None] * np.eye(3))
    return RigidBody(mass=mass, centre=centre, inertia=inertia - np.einsum("m,mi,mj->ij", all_masses, d, d))


def demand(body: RigidBody) -> Array:
    """Return the matrix (6, 12) from rows of the motion to the wrench that moves ``body``, seen from the tip.

    Rows: acceleration a of the tip less gravity [mm/s2], angular acceleration alpha [rad/s2], squares of the angular
    velocity w [rad2/s2] and its products xy, yz, zx, all in the axes of the body. The wrench is force [N] and moment
    about the tip [N mm]: with the centre of mass at c, F = m (a + alpha x c + w x (w x c)) and
    M = I alpha + w x I w + c x F (Newton and Euler).
    """
    spins = np.cross(np.eye(3)[:, None], np.eye(3)).swapaxes(1, 2)  # spins[i] @ x = e_i x x
    mass, c, inertia = body.mass, body.centre, body.inertia
    moment = np.vstack([np.eye(3), np.tensordot(c, spins, 1)])  # of a force at c
    out: Array = np.empty((6, 12))
    out[:, :3] = mass * moment
    of_speed = np.empty((3, 3, 6))
    for i in range(3):
        out[:, 3 + i] = mass * moment @ spins[i] @ c
        out[3:, 3 + i] += inertia[:, i]
        for j in range(3):
            of_speed[i, j] = mass * moment @ spins[i] @ spins[j] @ c
            of_speed[i, j, 3:] += spins[i] @ inertia[:, j]
    for i in range(3):
        j = (i + 1) % 3
        out[:, 6 + i] = of_speed[i, i]
        out[:, 9 + i] = of_speed[i, j] + of_speed[j, i]
    return MILLI * out
