"""Newton's and Euler's equations as textbooks write them, in the work frame: another way to the same wrench."""

from functools import partial

import numpy as np

from hexpost.kinematics.frames import axes, turn
from hexpost.kinematics.statics import Balance, wrenches

cross = partial(np.cross, axis=0)


def turning(rotation, pose, rate, bend, order):
    """Return angular velocity and acceleration (3, n) [rad/s, rad/s2] of poses (6, n) and their two derivatives.

    The last angle of the ``order`` turns about a fixed axis, the second about one carried along by the last, the
    first about one carried along by both, which ``rotation`` (3, 3, n) of the poses, too, carries along.
    """
    first, second, third = axes(order)
    angle = pose[3 + third]
    axis = turn(third, angle)[:, second]
    w = np.zeros((3, pose.shape[1]))
    alpha = np.zeros((3, pose.shape[1]))
    w[third], alpha[third] = rate[3 + third], bend[3 + third]
    for letter, about in ((second, axis), (first, rotation[:, first])):
        spin = about * rate[3 + letter]
        alpha += about * bend[3 + letter]
        alpha += cross(w, spin)
        w += spin
    return w, alpha


def needed(body, rotation, bend, gravity, turns):
    """Return force [N] and moment about the tip [N mm] (6, n) that move ``body``, seen from the tip, as told.

    ``rotation`` (3, 3, n); ``bend`` (3, n) acceleration of the tip; ``gravity`` (3,) in the work frame [mm/s2];
    ``turns``: angular velocity and acceleration (3, n), ``None`` where the platform does not turn.
    """
    r = np.einsum("ijn,j->in", rotation, body.centre)
    pull = bend - gravity[:, None]
    out = np.empty((6, bend.shape[1]))
    if turns is not None:
        w, alpha = turns
        pull = pull + cross(alpha, r) + cross(w, cross(w, r))
        seen_w, seen_alpha = (np.einsum("jin,jn->in", rotation, x) for x in turns)
        spin = body.inertia @ seen_alpha + cross(seen_w, body.inertia @ seen_w)
        out[3:] = np.einsum("ijn,jn->in", rotation, spin)
    else:
        out[3:] = 0.0
    out[:3] = body.mass * pull
    out[3:] += cross(r, out[:3])
    out *= 1e-3
    return out


def balanced(at, wrench):
    """Return the thrusts (6, n) at ``Links`` that give the platform ``wrench`` (6, n), moments taken over a length."""
    arms = at.arms[:, :, 0]
    lever = np.sqrt((arms**2).sum(axis=0).mean())
    scale = np.array([1, 1, 1, 1 / lever, 1 / lever, 1 / lever])[:, None]
    return Balance().solve(wrenches(at.direction, at.arms, lever), scale * wrench)
