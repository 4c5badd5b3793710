"""Orientation between blocks by the great circle of the tool axis."""

from math import pi

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.kinematics.frames import angles_of, rotation, turn
from hexpost.moves.model import FEED_RAPID
from hexpost.moves.motion.steps import Steps
from hexpost.moves.rotary.refine import MOST_IN_ALL, Pieces, pieces

STILL = 1e-9
"""Radians between two tool axes below which the tool only turns about itself, and A B C run in proportion."""
OPPOSITE = 1e-6
"""Radians from half a turn below which no great circle is the shortest."""
ANGLE = 1e-6
"""Radians within which angles must come out as the program says them."""


def great_circles(steps: Steps, order: str) -> tuple[Pieces, Ints, Ints]:
    """Return straight feed moves that tilt the tool, cut into pieces; and those that cannot be: opposite, roundabout.

    The axis runs along the great circle, in proportion to the way, and what is left of the turn is made about the
    tool itself, in proportion too (without it, this is the linear interpolation of unit quaternions of Shoemake
    1985). ``opposite`` moves have no shortest circle; ``roundabout`` ones name angles that lie whole turns, or on the
    other side of the lock of A B C, from where the shortest way ends.
    """
    plain = np.ones(len(steps.line), dtype=np.bool_)
    plain[steps.turns.move] = False
    tilts = (steps.start[3:] != steps.end[3:]).any(axis=0) & plain & (steps.feed_mode != FEED_RAPID)
    move = np.flatnonzero(tilts)
    begin, end = (x[3:, move] for x in (steps.start, steps.end))
    first, second = (rotation(x[0], x[1], x[2], order) for x in (begin, end))
    normal = np.cross(first[:, 2], second[:, 2], axis=0)
    sine = np.linalg.norm(normal, axis=0)
    angle = np.arctan2(sine, (first[:, 2] * second[:, 2]).sum(axis=0))
    opposite = pi - angle < OPPOSITE
    good = (angle > STILL) & ~opposite
    move, angle = move[good], angle[good]
    first, second, normal = first[:, :, good], second[:, :, good], normal[:, good] / sine[good]
    left = np.einsum("jin,jkn,kln->iln", first, _about(normal, -angle), second)
    twist = np.arctan2(left[1, 0], left[0, 0])

    def way(which: Ints, share: Array) -> Array:
        out = steps.start[:, move[which]] + (steps.end - steps.start)[:, move[which]] * share
        turned = _about(normal[:, which], angle[which] * share)
        tool = np.einsum("ijn,jkn,kln->iln", turned, first[:, :, which], turn(2, twist[which] * share))
        out[3:] = angles_of(tool, order, near=out[3:])
        return out

    cut = pieces(move, np.maximum(angle, np.abs(twist)), way, MOST_IN_ALL)
    jumps = np.abs(np.diff(cut.end[3:], axis=1)).max(axis=0, initial=0.0) > pi / 2.0
    same = np.diff(np.repeat(move, cut.count)) == 0
    roundabout = distinct(np.repeat(move, cut.count)[1:][jumps & same])
    far = np.abs((steps.end - steps.start)[3:, move]).max(axis=0, initial=0.0) > pi + ANGLE
    return cut, np.flatnonzero(tilts)[opposite], distinct(np.concatenate([roundabout, move[far]]))


def _about(axis: Array, angle: Array) -> Array:
    """Return the rotations (3, 3, n) about unit vectors ``axis`` (3, n) (Rodrigues)."""
    cross = np.zeros((3, 3, axis.shape[1]))
    cross[2, 1], cross[0, 2], cross[1, 0] = axis
    cross[1, 2], cross[2, 0], cross[0, 1] = -axis
    out: Array = np.eye(3)[:, :, None] + np.sin(angle) * cross
    out += (1.0 - np.cos(angle)) * np.einsum("ijn,jkn->ikn", cross, cross)
    return out
