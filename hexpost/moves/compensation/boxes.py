"""Pairs of boxes that overlap, found in a tree of boxes around neighbours."""

import numpy as np

from hexpost.arrays import Array, Flags, Ints

PADDING = 1e-6
"""Millimetres by which boxes are made larger."""
MOST_PAIRS = 20
"""Overlaps per box up to which all are returned."""
AHEAD = 64
"""Boxes ahead that are looked at where there are more overlaps, as where a contour is run over and over."""


def overlapping(low: Array, high: Array) -> tuple[Ints, Ints]:
    """Return the pairs (m,), (m,), first < second, of boxes with corners ``low`` and ``high`` (d, k) that overlap.

    Neighbours in the list should be neighbours in space: a balanced tree over the list is walked down against
    itself, level by level. Where boxes overlap more than ``MOST_PAIRS`` times each, only pairs at most ``AHEAD``
    apart are returned, so that time and memory stay in proportion to k.
    """
    levels = [(low - PADDING, high + PADDING)]
    while levels[-1][0].shape[1] > 1:
        levels.append((_paired(levels[-1][0], np.minimum), _paired(levels[-1][1], np.maximum)))
    first = second = np.zeros(min(low.shape[1], 1), dtype=np.int64)
    most = MOST_PAIRS * low.shape[1] + 1000
    for height in range(len(levels) - 2, -1, -1):
        below, above = levels[height]
        first, second = _children(first, second, below.shape[1])
        meets = (below[:, first] <= above[:, second]).all(axis=0) & (below[:, second] <= above[:, first]).all(axis=0)
        first, second = first[meets], second[meets]
        if len(first) > most:
            near: Flags = (second - first) << height <= AHEAD
            first, second = first[near], second[near]
    apart = first < second
    return first[apart], second[apart]


def _paired(corners: Array, choose: np.ufunc) -> Array:
    """Return the corners (d, ceil(k / 2)) of boxes around each two neighbours; an odd one out stays alone."""
    out: Array = choose.reduceat(corners, np.arange(0, corners.shape[1], 2), axis=1)
    return out


def _children(first: Ints, second: Ints, count: int) -> tuple[Ints, Ints]:
    """Return the pairs of children of pairs, first <= second, below ``count``."""
    a = np.concatenate([2 * first + i for i in (0, 0, 1, 1)])
    b = np.concatenate([2 * second + i for i in (0, 1, 0, 1)])
    good = (a <= b) & (b < count)
    return a[good], b[good]
