"""Joints where the tool turns back: an exact stop, so that the programmed point is reached."""

from math import cos, radians, sin

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.kinematics.frames import rotation
from hexpost.path.joints import Joints, Tolerances

BACK = cos(radians(150.0))
"""Cosine of the turn beyond which a joint is a reversal."""

ALONG = cos(radians(1.0))
"""A move within one degree of the tool axis is along it (a plunge or a retract)."""


def reversals(j: Joints, end: Array, length: Array, tolerances: Tolerances, order: str) -> Flags:
    """Return which joints (m,) turn back.

    That is a turn of more than 150 degrees of the tip (where it travels more than the corner tolerance on both
    sides) or of all six coordinates together (so of pure rotations); and a move along the tool axis that its
    neighbour takes back, at whatever slope: the depth of a hole is reached. ``end`` (6, m) poses at the joints,
    ``length`` (m + 1,) of the moves about them, ``order`` in which the angles compose.
    """
    dot = (j.before[:3] * j.after[:3]).sum(0)
    turn = dot + tolerances.rho**2 * (j.before[3:] * j.after[3:]).sum(0)
    one, two = np.sqrt((j.before[:3] ** 2).sum(0)), np.sqrt((j.after[:3] ** 2).sum(0))
    both = one * two
    moves = np.minimum(one * length[:-1], two * length[1:]) > tolerances.tip
    back: Flags = (turn < BACK) | (moves & (dot < BACK * both))
    doubt = np.flatnonzero(moves & ~back & (dot < -sin(radians(1.0)) * both))
    if doubt.size:
        a, b, c = end[3:, doubt]
        axis = rotation(a, b, c, order)[:, 2]
        sides = ((j.before[:3, doubt], one[doubt]), (j.after[:3, doubt], two[doubt]))
        along = [np.abs((t * axis).sum(0)) > ALONG * norm for t, norm in sides]
        back[doubt] = along[0] | along[1]
    return back
