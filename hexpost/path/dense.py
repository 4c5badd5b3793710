"""Dense chains of short lines: vertices freed of rounding noise, curvature carried through the middle of moves."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.path.arc import TINY
from hexpost.path.bounds import blocks
from hexpost.path.chain import Chain, Cuts
from hexpost.path.corner import CARRY_SHARE, CORNER_SHARE, MOST_UNEQUAL
from hexpost.path.joints import Tolerances
from hexpost.path.smooth import NOISE_SHARE, smoothed

GENTLE = 0.3
"""Largest jump of q' at a joint inside a chain (per parameter, so nearly the turn in rad)."""

SPARE = 0.8
"""Lines of a chain use at most this share of what would just do, as moved vertices change angles and lengths."""


def free_vertices(c: Chain, cuts: Cuts, rho: float) -> Flags:
    """Return which joints (n - 1,) may be moved: gentle ones between lines that become corners from end to end.

    Lines next to a stop, an arc or a corner that leaves some of them are not touched: what stays straight stays put.
    """
    n = c.length.size
    room: Array = np.zeros(n + 1)
    room[1:n] = SPARE * (1.0 - NOISE_SHARE) * cuts.reach
    near_arc = c.curved.copy()
    near_arc[1:] |= c.curved[:-1]
    near_arc[:-1] |= c.curved[1:]
    dense = (np.minimum(room[:-1], room[1:]) > 0.5 * c.length) & ~near_arc
    dense[1:] &= c.length[1:] < SPARE * MOST_UNEQUAL * c.length[:-1]
    dense[:-1] &= c.length[:-1] < SPARE * MOST_UNEQUAL * c.length[1:]
    out: Flags = dense[1:] & dense[:-1] & (np.hypot(cuts.tip_jump, rho * cuts.tilt_jump) < GENTLE)
    return out


def without_noise(c: Chain, free: Flags, tolerances: Tolerances) -> Chain:
    """Return chain ``c`` with its ``free`` vertices (n - 1,) moved to take out the noise of rounded coordinates."""
    end = smoothed(c.end, free, c.length, tolerances)
    moved = np.zeros_like(c.moved)
    moved[:-1] |= free
    moved[1:] |= free
    tangent, length = c.tangent.copy(), c.length.copy()
    for x in blocks(length.size):
        i = x[moved[x]]
        step = end[:, i] - end[:, i - 1]
        length[i] = np.sqrt((step[:3] ** 2).sum(0) + tolerances.rho**2 * (step[3:] ** 2).sum(0))
        tangent[:, i] = step / length[i]
    return replace(c, end=end, tangent=tangent, length=length, moved=moved)


def carried(c: Chain, cuts: Cuts, rho: float) -> Array:
    """Return, per move, the factor (n,) of t[i+1] - t[i-1] that is the second derivative in its middle; 0 where none.

    Only where two gentle corners meet in the middle of a line. What it adds to the distance from the vertex,
    at most 0.01728 h^2 (|k1| + |k2|), is kept within what the corner itself leaves of the tolerances.
    """
    n = c.length.size
    out: Array = np.zeros(n)
    if n < 3:
        return out
    lines = ~(c.curved[1:] | c.curved[:-1])
    gentle = (cuts.last[:-1] > 0.0) & lines & (np.hypot(cuts.tip_jump, rho * cuts.tilt_jump) < GENTLE)
    whole = gentle[1:] & gentle[:-1] & (c.length - cuts.first - cuts.last <= 0.0)[1:-1]
    i = np.flatnonzero(whole) + 1
    if not i.size:
        return out
    out[i] = 1.0 / (0.5 * c.length[i - 1] + c.length[i] + 0.5 * c.length[i + 1])
    size = np.zeros((2, n))
    for x in blocks(i.size):
        k = i[x]
        second = (c.tangent[:, k + 1] - c.tangent[:, k - 1]) * out[k]
        size[0, k], size[1, k] = np.sqrt((second[:3] ** 2).sum(0)), np.sqrt((second[3:] ** 2).sum(0))
    d1, d2 = cuts.last[:-1], cuts.first[1:]
    longer, square = CORNER_SHARE * np.maximum(d1, d2), CARRY_SHARE * (d1 + d2) ** 2
    share: Array = np.ones(n + 1)
    for part, (jump, tolerance) in enumerate(((cuts.tip_jump, cuts.tip), (cuts.tilt_jump, cuts.tilt))):
        left = np.maximum(tolerance - longer * jump, 0.0)
        added = square * (size[part, 1:] + size[part, :-1])
        share[1:-1] = np.minimum(share[1:-1], left / np.maximum(added, TINY))
    out *= np.minimum(share[1:], share[:-1])
    return out
