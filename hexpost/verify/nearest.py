"""Where the path that a tip followed is nearest to it: balls about parts of the path say which of them to look at."""

import numpy as np

from hexpost.arrays import Array

_CHUNK = 1024
"""Tips looked at together."""
_LEAST = 16
"""Rows of a part, at least; of long paths, the square root of their rows."""
_CLEAR = 1e-5
"""A place that is nearer by less, mm, is not looked for."""


def nearest(path: Array, tip: Array, first: int, kept: int) -> Array:
    """Return where (n,) the straight lines between rows of a path (3, m) are nearest to tips (3, n), in rows.

    Tip i belongs to row ``first`` + i: looked at are that row and ``kept`` before it.
    """
    part = max(_LEAST, int(np.sqrt(kept)))
    count = -(-(path.shape[1] - 1) // part)
    rows = np.minimum(np.arange(count)[:, None] * part + np.arange(part + 1), path.shape[1] - 1)
    inside = path[:, rows]
    centre = inside[:, :, part // 2]
    radius = np.sqrt(((inside - centre[:, :, None]) ** 2).sum(axis=0).max(axis=1))
    out: Array = np.empty(tip.shape[1])
    for start in range(0, tip.shape[1], _CHUNK):
        some = slice(start, min(start + _CHUNK, tip.shape[1]))
        parts = slice(max((first + start - kept) // part, 0), min((first + some.stop - 2) // part + 1, count))
        bound = np.sqrt(((tip[:, None, some] - centre[:, parts, None]) ** 2).sum(axis=0)) - radius[parts, None]
        now = first + np.arange(some.start, some.stop)
        out[some] = _of_parts(path, tip[:, some], now, kept, (bound, parts.start, part))
    return out


def _of_parts(path: Array, tip: Array, now: Array, kept: int, parts: tuple[Array, int, int]) -> Array:
    """Return the nearest places of tips (3, n) at rows ``now``; parts that promise most are looked at first."""
    bound, offset, part = parts
    order = bound.argsort(axis=0)
    best: Array = np.full(len(now), np.inf)
    at: Array = now.astype(np.float64)
    for which in order:
        some = np.flatnonzero(bound[which, np.arange(len(now))] < best - _CLEAR)
        if not len(some):
            continue
        rows = (which[some] + offset) * part + np.arange(part)[:, None]
        rows = np.clip(rows, np.maximum(now[some] - kept, 0), now[some] - 1)
        a = path[:, rows]
        way, gap = path[:, rows + 1] - a, tip[:, None, some] - a
        long = (way * way).sum(axis=0)
        share = np.clip((gap * way).sum(axis=0) / np.where(long > 0.0, long, 1.0), 0.0, 1.0)
        size = np.sqrt(((gap - share * way) ** 2).sum(axis=0))
        k = size.argmin(axis=0), np.arange(len(some))
        nearer = size[k] < best[some]
        at[some[nearer]], best[some[nearer]] = (rows + share)[k][nearer], size[k][nearer]
    return at
