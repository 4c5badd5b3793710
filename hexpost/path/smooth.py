"""Rounding noise of dense chains: vertices moved by binomial means, within a share of the tolerance."""

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.path.bounds import blocks
from hexpost.path.joints import Tolerances

PASSES = 8
"""Binomial passes, and as many again on the remainder."""

TAPER = 8
"""Vertices nearer than this to one that must stay are moved less: means pull towards a fixed end otherwise."""

NOISE_SHARE = 0.4
"""Share of the corner tolerances a vertex may move; its corners get the rest."""

LENGTH_SHARE = 0.1
"""A vertex moves at most this share of the shorter move beside it: no move can turn round or vanish."""


def smoothed(end: Array, free: Flags, length: Array, tolerances: Tolerances) -> Array:
    """Return ends of moves (6, n) with the ``free`` ones (n - 1,) moved; neither the first nor the last end is free.

    Repeated means (1, 2, 1)/4 take out the noise of rounded coordinates; applying them to what they
    took away as well ("twicing", Tukey 1977, Exploratory Data Analysis, chapter 16) keeps the curvature of the
    shape. ``length`` (n,) of the moves.
    """
    out = end.copy()
    halo = 2 * PASSES + TAPER
    for x in blocks(free.size):
        at = x[free[x]]
        if not at.size:
            continue
        low, high = max(int(at[0]) - halo, 0), min(int(at[-1]) + halo + 1, free.size + 1)
        move = _twice(end[:, low:high], _weights(free[low + 1 : high - 1]))[:, at - low]
        limit = LENGTH_SHARE * np.minimum(length[at], length[at + 1])
        out[:, at] += move * _share(move, limit, tolerances)
    return out


def _weights(free: Flags) -> Array:
    """Return the weights (m,) of the means: a quarter, tapered to 0 at vertices that are not ``free`` (m,).

    The vertices before the first and behind the last count as not free.
    """
    steps = np.where(free, float(TAPER), 0.0)
    steps[[0, -1]] = np.minimum(steps[[0, -1]], 1.0)
    for _ in range(TAPER - 1):
        np.minimum(steps[1:], steps[:-1] + 1.0, out=steps[1:])
        np.minimum(steps[:-1], steps[1:] + 1.0, out=steps[:-1])
    out: Array = steps * (0.25 / TAPER)
    return out


def _twice(q: Array, weight: Array) -> Array:
    """Return the displacement (6, m) of points ``q`` by their means and the means of what those took away.

    ``weight`` (m - 2,) is at most a quarter, 0 at points that stay.
    """
    rows = np.flatnonzero(np.ptp(q, axis=1) > 0.0)
    out = np.zeros_like(q)
    x = q[rows]
    new = _means(x, weight)
    new += _means(x - new, weight)
    out[rows] = new - x
    return out


def _means(x: Array, weight: Array) -> Array:
    """Return points ``x`` (rows, m) after ``PASSES`` means with their neighbours, weighted as in ``_twice``."""
    x = x.copy()
    for _ in range(PASSES):
        d = x[:, 2:] + x[:, :-2]
        d -= 2.0 * x[:, 1:-1]
        d *= weight
        x[:, 1:-1] += d
    return x


def _share(move: Array, limit: Array, tolerances: Tolerances) -> Array:
    """Return the factor (m,) that keeps displacements ``move`` within ``limit`` (in path parameter) and tolerances."""
    tip, tilt = np.sqrt((move[:3] ** 2).sum(0)), tolerances.rho * np.sqrt((move[3:] ** 2).sum(0))
    use = np.maximum(tip, tilt) / (NOISE_SHARE * tolerances.tip)
    np.maximum(use, np.hypot(tip, tilt) / limit, out=use)
    share: Array = 1.0 / np.maximum(use, 1.0)
    return share
