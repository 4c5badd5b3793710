"""Where a way is nearest to a point that went along it a while ago, among the last rows of the way.

Branch and bound (A. H. Land, A. G. Doig, 1960; from memory): no row of a cell is nearer than the row at its end less
the length of the way through the cell. Cells that cannot hold the nearest place are left out, the others halved.
"""

import numpy as np

from hexpost.arrays import Array, Ints

NODES = 4
"""Cells that the rows which are looked at are cut into at first, at most."""
CLEAR = 1e-5
"""A place that is nearer by less than this is not looked for, mm."""


def nearest(way: Array, place: Array, first: int, kept: int, likely: Array) -> Array:
    """Return where (n,), in rows and parts of them, the polyline ``way`` (k, m) is nearest to places (k, n).

    Place i belongs to row ``first`` + i: looked at are that row and ``kept`` before it, of which there are as many.
    The nearer a way is at ``likely`` (n,) rows, the sooner it is found.
    """
    arc = np.append(0.0, np.cumsum(np.sqrt(squares(np.diff(way)))))
    now: Ints = first + np.arange(place.shape[1])
    low, step = now - kept, 1
    while NODES * step < kept:
        step *= 2
    guess = np.clip(likely, low, now).astype(np.int64)
    best: Array = np.asarray(guess, dtype=np.float64)
    least = _sizes(way, place, guess)
    nodes = []
    for back in range(0, kept, step):
        size = _sizes(way, place, now - back)
        nearer = size < least
        best[nearer], least[nearer] = now[nearer] - back, size[nearer]
        nodes.append(size)
    row, size = np.concatenate([now - step * k for k in range(len(nodes))]), np.concatenate(nodes)
    who: Ints = np.tile(np.arange(len(now)), len(nodes))
    while True:
        back = np.maximum(row - step, low[who])
        open_ = np.flatnonzero(size - (arc[row] - arc[back]) < least[who] - CLEAR)
        who, row, size, back = who[open_], row[open_], size[open_], back[open_]
        if step == 1:
            break
        step //= 2
        middle = np.maximum(row - step, low[who])
        there = _sizes(way, place[:, who], middle)
        _take(best, least, who, middle.astype(np.float64), there)
        who, row, size = np.tile(who, 2), np.append(row, middle), np.append(size, there)
    a, b = way.take(back, axis=1), way.take(row, axis=1)
    b -= a
    gap = place[:, who] - a
    long = squares(b)
    share = np.clip(np.einsum("in,in->n", gap, b) / np.where(long > 0.0, long, 1.0), 0.0, 1.0)
    gap -= share * b
    _take(best, least, who, back + share, np.sqrt(squares(gap)))
    return best


def _take(best: Array, least: Array, who: Ints, at: Array, size: Array) -> None:
    """Enter places ``at`` that are nearer than the best so far; the nearest last, so that it stays."""
    nearer = np.flatnonzero(size < least[who])
    nearer = nearer[np.argsort(-size[nearer], kind="stable")]
    best[who[nearer]], least[who[nearer]] = at[nearer], size[nearer]


def _sizes(way: Array, place: Array, row: Ints) -> Array:
    """Return how far (n,) places are from rows of the way."""
    return np.sqrt(squares(place - way.take(row, axis=1)))


def squares(vectors: Array) -> Array:
    """Return the squared lengths (n,) of vectors (k, n)."""
    out: Array = np.einsum("in,in->n", vectors, vectors)
    return out
