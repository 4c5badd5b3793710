"""The wrench that a moving platform needs: Newton's and Euler's equations about the tip."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import axes, turn

MILLI = 1e-3
"""kg mm/s2 in N."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RigidBody:
    """Mass [kg], centre of mass (3,) [mm] and inertia (3, 3) about it [kg mm2], in the axes of the platform."""

    mass: float
    centre: Array
    inertia: Array

    def seen_from(self, tip: Array) -> "RigidBody":
        """Return the body with its centre of mass counted from ``tip`` (3,)."""
        return RigidBody(mass=self.mass, centre=self.centre - tip, inertia=self.inertia)


def with_points(body: RigidBody, masses: Sequence[float], points: Array) -> RigidBody:
    """Return ``body`` with ``masses`` (m,) lumped at ``points`` (m, 3): the parallel-axis theorem."""
    all_masses = np.array([body.mass, *masses])
    centres = np.vstack([body.centre, points])
    mass = float(all_masses.sum())
    centre = all_masses @ centres / mass
    d = centres - centre
    inertia = body.inertia + np.einsum("m,mij->ij", all_masses, (d**2).sum(axis=1)[:, None, None] * np.eye(3))
    return RigidBody(mass=mass, centre=centre, inertia=inertia - np.einsum("m,mi,mj->ij", all_masses, d, d))


def turning(rotation: Array, pose: Array, rate: Array, bend: Array, order: str) -> tuple[Array, Array]:
    """Return angular velocity and acceleration (3, n) [rad/s, rad/s2] of poses (6, n) and their two derivatives.

    The last angle of the ``order`` turns about a fixed axis, the second about one carried along by the last, the
    first about one carried along by both, which ``rotation`` (3, 3, n) of the poses, too, carries along.
    """
    first, second, third = axes(order)
    angle = pose[3 + third]
    axis = turn(third, angle[:1] if (angle == angle[0]).all() else angle)[:, second]
    w: Array = np.zeros((3, pose.shape[1]))
    alpha: Array = np.zeros((3, pose.shape[1]))
    w[third], alpha[third] = rate[3 + third], bend[3 + third]
    for letter, about in ((second, axis), (first, rotation[:, first])):
        spin = about * rate[3 + letter]
        alpha += about * bend[3 + letter]
        alpha += _cross(w, spin)
        w += spin
    return w, alpha


def needed(body: RigidBody, rotation: Array, bend: Array, gravity: Array, turns: tuple[Array, Array] | None) -> Array:
    """Return force [N] and moment about the tip [N mm] (6, n) that move ``body``, seen from the tip, as told.

    ``rotation`` (3, 3, n); ``bend`` (3, n) acceleration of the tip; ``gravity`` (3,) in the work frame [mm/s2];
    ``turns``: angular velocity and acceleration (3, n), ``None`` where the platform does not turn.
    """
    r = np.einsum("ijn,j->in", rotation, body.centre)
    pull = bend - gravity[:, None]
    out: Array = np.empty((6, bend.shape[1]))
    if turns is not None:
        w, alpha = turns
        pull = pull + _cross(alpha, r) + _cross(w, _cross(w, r))
        seen_w, seen_alpha = (np.einsum("jin,jn->in", rotation, x) for x in turns)
        spin = body.inertia @ seen_alpha + _cross(seen_w, body.inertia @ seen_w)
        out[3:] = np.einsum("ijn,jn->in", rotation, spin)
    else:
        out[3:] = 0.0
    out[:3] = body.mass * pull
    out[3:] += _cross(r, out[:3])
    out *= MILLI
    return out


def _cross(u: Array, v: Array) -> Array:
    """Return the vector products (3, n) of ``u`` and ``v`` (3, n)."""
    out: Array = np.empty_like(v)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        np.multiply(u[j], v[k], out=out[i])
        out[i] -= u[k] * v[j]
    return out
