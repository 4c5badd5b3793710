"""Turn a moving platform about its tool: the tip and the axis of the tool stay, angles follow, with two derivatives."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import angles_of, axes, rotation
from hexpost.kinematics.jacobian import angle_axes


def about_tool(motion: Sequence[Array], turn: Sequence[Array], order: str) -> tuple[Array, Array, Array]:
    """Return poses, rates and accelerations (6, n) of R Rz(turn) for those of a pose with rotation R.

    ``motion`` is three arrays (6, n), ``turn`` three (n,): angle and its two time derivatives, rad and s. With the
    axis k of the tool and the angular velocity w: w' = w + t' k, and its derivative is that of w plus t'' k + t' w x k.
    """
    pose, rate, acceleration = motion
    angle, speed, growth = turn
    r = rotation(pose[3], pose[4], pose[5], order)
    cosine, sine = np.cos(angle), np.sin(angle)
    turned: Array = np.stack([r[:, 0] * cosine + r[:, 1] * sine, r[:, 1] * cosine - r[:, 0] * sine, r[:, 2]], axis=1)
    near = pose[3:].copy()
    near[2] += angle
    out = pose.copy(), rate.copy(), acceleration.copy()
    out[0][3:] = angles_of(turned, order, near)
    axis = r[:, 2]
    w, change = _angular(pose[3:], rate[3:], acceleration[3:], order)
    change = change + growth * axis + speed * np.cross(w, axis, axis=0)
    w = w + speed * axis
    about = angle_axes(out[0], order)
    out[1][3:] = np.linalg.solve(about, w.T[:, :, None])[:, :, 0].T
    drift = _drift(about, out[1][3:], order)
    out[2][3:] = np.linalg.solve(about, (change - drift).T[:, :, None])[:, :, 0].T
    return out


def _angular(angle: Array, rate: Array, acceleration: Array, order: str) -> tuple[Array, Array]:
    """Return angular velocity and acceleration (3, n) of angles with their rates and accelerations (3, n)."""
    about = angle_axes(np.concatenate([np.zeros_like(angle), angle]), order)
    w: Array = np.einsum("nij,jn->in", about, rate)
    change: Array = np.einsum("nij,jn->in", about, acceleration) + _drift(about, rate, order)
    return w, change


def _drift(about: Array, rate: Array, order: str) -> Array:
    """Return what the motion of the axes (n, 3, 3) adds to the angular acceleration (3, n) at angle rates (3, n).

    The last axis stands still, the middle one is carried by the last, the first one by both.
    """
    first, second, third = axes(order)
    e1, e2, e3 = (about[:, :, i].T for i in (first, second, third))
    carried = rate[third] * e3
    out: Array = rate[second] * np.cross(carried, e2, axis=0)
    out += rate[first] * np.cross(carried + rate[second] * e2, e1, axis=0)
    return out
