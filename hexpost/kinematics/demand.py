"""What a moving body demands of its struts, in its own axes: one matrix times rows of its motion is the wrench."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.dynamics import MILLI, RigidBody
from hexpost.kinematics.frames import axes
from hexpost.kinematics.series import sines_of

PULL, TURNING = slice(0, 3), slice(3, 12)
"""Rows of the motion: acceleration of the tip less gravity [mm/s2]; what ``turning_rows`` fills."""


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


def turning_rows(q: Sequence[Array], seen: Array, order: str, out: Array) -> None:
    """Fill ``out`` (9, n): angular acceleration, squares and products of the angular velocity, as in ``demand``.

    ``q``: poses (6, n), their rates and accelerations. The first angle of the ``order`` turns about an axis of the
    platform, the second about one that the first carries along, the last about an axis of the work frame; ``seen``
    (3, 3, n) has the axes of the work frame as the platform sees them, axis second.
    """
    pose, rate, bend = q
    first, second, third = (3 + i for i in axes(order))
    i = first - 3
    j, k = (i + 1) % 3, (i + 2) % 3
    n = pose.shape[1]
    if pose[third].any():
        trig: Array = np.empty((2, n))
        sines_of(pose[first], trig[0], trig[1])
        u, v = trig if second - 3 == k else (trig[1], np.negative(trig[0], out=trig[0]))
    else:  # the axis that the first angle carries along is still that of the work frame
        u, v = seen[j, second - 3], seen[k, second - 3]
    alpha, w = out[:3], np.empty((4, n))
    w[i], alpha[i] = rate[first], bend[first]
    np.multiply(u, rate[second], out=w[j])
    np.multiply(v, rate[second], out=w[k])
    np.multiply(u, bend[second], out=alpha[j])
    alpha[j] += w[k] * w[i]
    np.multiply(v, bend[second], out=alpha[k])
    alpha[k] -= w[j] * w[i]
    if rate[third].any() or bend[third].any():
        last = seen[:, third - 3]
        spin = last * rate[third]
        alpha += last * bend[third]
        for x, y in ((1, 2), (2, 0), (0, 1)):  # the spin about the last axis is carried along by the others
            z = 3 - x - y
            alpha[z] += spin[x] * w[y]
            alpha[z] -= spin[y] * w[x]
        w[:3] += spin
    w[3] = w[0]
    np.multiply(w[:3], w[:3], out=out[3:6])
    np.multiply(w[:3], w[1:], out=out[6:])
