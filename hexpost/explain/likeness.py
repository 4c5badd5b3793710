"""What stands in the gaps between rows that match: which of it was put in place of what."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints

Pairs = Ints
"""Indices (2, k) of what belongs together on the old and on the new side, rising on both."""
SMALL = 10_000
"""Pairs in a gap that are weighed one by one; in larger gaps the first ones stand for one another."""
ALONE = 0.5
"""What it costs that a row is lost or comes new, where a pair of rows with nothing in common costs 1."""


@dataclass(frozen=True, slots=True, eq=False)
class Unpaired:
    """What is not alike: pairs put in place of one another (2, k), rows lost, rows that are new."""

    swapped: Pairs
    lost: Ints
    come: Ints


def unpaired(pairs: Pairs, a: Array, b: Array) -> Unpaired:
    """Return what is not among ``pairs`` of the columns of ``a`` (r, n) and ``b`` (r, m).

    Columns between two neighbouring pairs stand for one another so that they have most in common.
    """
    n, m = a.shape[1], b.shape[1]
    edges = np.concatenate(([[-1], [-1]], pairs, [[n], [m]]), axis=1)
    left = np.diff(edges, axis=1) - 1
    swapped = [np.empty((2, 0), np.int64)]
    for k in np.flatnonzero((left > 0).all(axis=0)).tolist():
        (i, j), (p, q) = (edges[:, k] + 1).tolist(), left[:, k].tolist()
        own = np.arange(min(p, q)) + np.zeros((2, 1), np.int64)
        if p != q and p * q <= SMALL:
            own = nearest(a[:, i : i + p], b[:, j : j + q])
        swapped.append(own + np.array([[i], [j]]))
    both = np.concatenate(swapped, axis=1)
    lost, come = (np.ones(count, dtype=np.bool_) for count in (n, m))
    lost[pairs[0]] = lost[both[0]] = False
    come[pairs[1]] = come[both[1]] = False
    return Unpaired(both, np.flatnonzero(lost), np.flatnonzero(come))


def nearest(a: Array, b: Array) -> Pairs:
    """Return the pairs of columns of two small tables in order that cost least (edit distance, textbook)."""
    n, m = a.shape[1], b.shape[1]
    share = np.mean(np.abs(a[:, :, None] - b[:, None, :]) > 1e-9, axis=0)
    cost = np.add.outer(np.arange(n + 1.0), np.arange(m + 1.0)) * ALONE
    for i in range(n):
        for j in range(m):
            cost[i + 1, j + 1] = min(cost[i, j] + share[i, j], cost[i, j + 1] + ALONE, cost[i + 1, j] + ALONE)
    out = []
    i, j = n, m
    while i and j:
        if cost[i, j] == cost[i - 1, j - 1] + share[i - 1, j - 1]:
            i, j = i - 1, j - 1
            out.append((i, j))
        elif cost[i, j] == cost[i - 1, j] + ALONE:
            i -= 1
        else:
            j -= 1
    return np.array(out[::-1], dtype=np.int64).reshape(-1, 2).T
