"""Which rows of two tables belong together: same rows in the same order, within a tolerance.

Common beginnings and ends match first. Between them rows that occur once on either side are anchors: of these the
longest series that rises on both sides is kept (patience sorting, n log n). What is left in small gaps is settled by
the longest common subsequence (textbook dynamic programme). Memory is of the size of the tables.
"""

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints

SMALL = 1_400_000
"""Entries of the table of a longest common subsequence that is worth its place (16 MB)."""
COARSE = 16.0
"""Cells of the grid on which rows are looked up, in tolerances: few equal rows fall into two cells."""
DEEPEST = 16
"""Times a gap is parted by rows that occur once in it."""


def align(a: Array, b: Array, tolerance: Array) -> Ints:
    """Return the pairs (2, k) of columns of ``a`` (r, n) and ``b`` (r, m) that match, rising on both sides.

    Columns match where every row differs by at most its ``tolerance`` (r,).
    """
    pairs: list[Ints] = []
    gaps = [(0, a.shape[1], 0, b.shape[1], 0)]
    while gaps:
        i, n, j, m, depth = gaps.pop()
        head = leading(matches(a[:, i:n], b[:, j:m], tolerance))
        pairs.append(np.stack((np.arange(i, i + head), np.arange(j, j + head))))
        i, j = i + head, j + head
        tail = leading(matches(a[:, i:n][:, ::-1], b[:, j:m][:, ::-1], tolerance))
        n, m = n - tail, m - tail
        pairs.append(np.stack((np.arange(n, n + tail), np.arange(m, m + tail))))
        if i == n or j == m:
            continue
        found = anchors(a[:, i:n], b[:, j:m], tolerance) if depth < DEEPEST else np.empty((2, 0), np.int64)
        if found.shape[1]:
            edges = np.concatenate(([[i - 1], [j - 1]], found + np.array([[i], [j]]), [[n], [m]]), axis=1)
            pairs.append(edges[:, 1:-1])
            step = np.diff(edges, axis=1)
            inner = np.flatnonzero((step > 1).all(axis=0))
            bounds = (edges[0, inner] + 1, edges[0, inner + 1], edges[1, inner] + 1, edges[1, inner + 1])
            gaps += zip(*(x.tolist() for x in bounds), [depth + 1] * len(inner), strict=True)
        elif (n - i) * (m - j) <= SMALL:
            pairs.append(longest(a[:, i:n], b[:, j:m], tolerance) + np.array([[i], [j]]))
    whole: Ints = np.concatenate(pairs, axis=1)
    return whole[:, np.argsort(whole[0], kind="stable")]


def matches(a: Array, b: Array, tolerance: Array) -> Flags:
    """Return which columns of the common beginning match."""
    n = min(a.shape[1], b.shape[1])
    out = np.ones(n, dtype=np.bool_)
    for x, y, t in zip(a, b, tolerance, strict=True):
        out &= np.abs(x[:n] - y[:n]) <= t
    return out


def leading(true: Flags) -> int:
    """Return how many flags are true ahead of the first that is not."""
    return len(true) if true.all() else int(np.argmin(true))


def anchors(a: Array, b: Array, tolerance: Array) -> Ints:
    """Return pairs (2, k) of columns that occur once on either side, seen with the one before, rising on both."""
    n = a.shape[1]
    cell = np.rint(np.concatenate((a, b), axis=1) / (COARSE * np.maximum(tolerance, 1e-12))[:, None])
    ahead = np.concatenate((cell[:, :1], cell[:, :-1]), axis=1)
    ahead[:, [0, n]] = np.inf
    rows = np.ascontiguousarray(np.concatenate((cell, ahead)).T + 0.0)
    kind = np.unique(rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1])))[:, 0], return_inverse=True)[1]
    once = (np.bincount(kind[:n], minlength=len(kind)) == 1) & (np.bincount(kind[n:], minlength=len(kind)) == 1)
    place = np.full(len(kind), -1)
    place[kind[n:]] = np.arange(b.shape[1])
    i = np.flatnonzero(once[kind[:n]])
    j = place[kind[:n][i]]
    same = matches(a[:, i], b[:, j], tolerance)
    i, j = i[same], j[same]
    return np.stack((i, j))[:, rising(j)]


def rising(values: Ints) -> Ints:
    """Return the indices (k,) of a longest rising subsequence of different ``values`` (n,) (patience sorting)."""
    tops: list[int] = []
    piles: list[int] = []
    below = np.full(len(values), -1)
    for i, value in enumerate(values.tolist()):
        pile = bisect_left(tops, value)
        below[i] = piles[pile - 1] if pile else -1
        tops[pile : pile + 1] = [value]
        piles[pile : pile + 1] = [i]
    out = []
    last = piles[-1] if piles else -1
    while last >= 0:
        out.append(last)
        last = int(below[last])
    return np.array(out[::-1], dtype=np.int64)


def longest(a: Array, b: Array, tolerance: Array) -> Ints:
    """Return the pairs (2, k) of a longest common subsequence of two small tables.

    Of several, that one beside which columns that stand for one another have most in common.
    """
    n, m = a.shape[1], b.shape[1]
    match = len(a) * min(n, m) + 1  # more than all that columns can have in common beside it
    table = np.zeros((n + 1, m + 1), dtype=np.int64)
    worth = np.zeros((n, m), dtype=np.int32)
    for i in range(n):
        common = (np.abs(b - a[:, i : i + 1]) <= tolerance[:, None]).sum(axis=0)
        worth[i] = np.where(common == len(a), match, common)
        table[i + 1, 1:] = np.maximum.accumulate(np.maximum(table[i, 1:], table[i, :-1] + worth[i]))
    out = []
    i, j = n, m
    while i and j:
        if worth[i - 1, j - 1] and table[i, j] == table[i - 1, j - 1] + worth[i - 1, j - 1]:
            i, j = i - 1, j - 1
            if worth[i, j] == match:
                out.append((i, j))
        elif table[i - 1, j] == table[i, j]:
            i -= 1
        else:
            j -= 1
    return np.array(out[::-1], dtype=np.int64).reshape(-1, 2).T


Pairs = Ints
"""Indices (2, k) of what belongs together on the old and on the new side, rising on both."""
WEIGHED = 10_000
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
        if p != q and p * q <= WEIGHED:
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
