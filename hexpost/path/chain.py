"""The chain of moves: lengths, directions, where the tool rests, and what its corners take from each move."""

from dataclasses import dataclass, replace
from math import cos, radians, sin

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.kinematics.frames import rotation
from hexpost.moves.model import ARC, Moves
from hexpost.path.arc import TINY, Circles, circles
from hexpost.path.bounds import blocks
from hexpost.path.joints import Joints, Tolerances, joints
from hexpost.path.smooth import NOISE_SHARE

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


CRUMB = 1e-6
"""A rest of a move below this share of its length goes to the corner at its end."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Moves as the builder sees them, shape (n,) or (6, n); joints, shape (n - 1,), lie behind all moves but the last.

    ``stop``: rest at the end of the move. ``curved``: the move is an arc. ``moved``: the line lies beside the
    programmed one, one of its ends was moved.
    """

    end: Array
    tangent: Array
    length: Array
    stop: Flags
    curved: Flags
    moved: Flags
    circles: Circles


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cuts:
    """What corners take from the start (``first``) and the end (``last``) of each move, shape (n,), and their jumps.

    Per joint, shape (n - 1,): ``reach``, the cut the tolerances allow (0 at stops), ``tip_jump`` and
    ``tilt_jump`` as in ``Joints``, ``tip`` and ``tilt`` the tolerances left to it.
    """

    first: Array
    last: Array
    reach: Array
    tip_jump: Array
    tilt_jump: Array
    tip: Array
    tilt: Array


def chain(moves: Moves, rho: float) -> Chain:
    """Return lengths and tangents of ``moves``."""
    tangent = moves.end - moves.start
    square = (tangent[:3] ** 2).sum(0)
    square += rho**2 * (tangent[3:] ** 2).sum(0)
    length = np.maximum(np.sqrt(square), TINY)
    arcs = circles(moves, length, rho)
    tangent /= length
    stop = moves.stop.copy()
    stop[-1:] = True
    return Chain(
        end=moves.end,
        tangent=tangent,
        length=length,
        stop=stop,
        curved=moves.kind == ARC,
        moved=np.zeros(moves.count, dtype=np.bool_),
        circles=arcs,
    )


def with_reversals(c: Chain, tolerances: Tolerances, order: str) -> Chain:
    """Return chain ``c`` with rest wherever the tool turns back."""
    stop = c.stop.copy()
    for i in blocks(stop.size - 1):
        j = joints(c.tangent, c.circles, i)
        stop[i] |= reversals(j, c.end[:, i], c.length[i[0] : i[-1] + 2], tolerances, order)
    return replace(c, stop=stop)


def cut(c: Chain, tolerances: Tolerances) -> Cuts:
    """Return how far the corners of chain ``c`` reach; where ends were moved, tolerances are smaller by that."""
    n = c.length.size
    m = max(n - 1, 0)
    share = np.where(c.moved[:-1] | c.moved[1:], 1.0 - NOISE_SHARE, 1.0)
    tip, tilt = share * tolerances.tip, share * tolerances.tilt
    first, last = np.zeros(n), np.zeros(n)
    reach, tip_jump, tilt_jump = np.zeros(m), np.zeros(m), np.zeros(m)
    for i in blocks(m):
        j = joints(c.tangent, c.circles, i)
        reach[i] = np.where(c.stop[i], 0.0, j.reach(tip[i], tilt[i]))
        tip_jump[i], tilt_jump[i] = j.tip_jump, j.tilt_jump
        last[i], first[i + 1] = j.cut(
            np.where(j.smooth(tolerances.rho), 0.0, reach[i]), c.length[i], c.length[i + 1], tip[i]
        )
    rest = c.length - first - last
    last = np.where((rest < CRUMB * c.length) & (last > 0.0), c.length - first, last)
    return Cuts(first=first, last=last, reach=reach, tip_jump=tip_jump, tilt_jump=tilt_jump, tip=tip, tilt=tilt)
