"""Distances between straight bodies: segments of capsules, and segments to boxes along the axes."""

import numpy as np

from hexpost.arrays import Array

PARALLEL = 1e-12
"""Below this share of the squared lengths two segments count as parallel."""


def segments_apart(p: Array, q: Array, r: Array, s: Array) -> Array:
    """Return the distances (n,) of the segments from ``p`` to ``q`` and from ``r`` to ``s``, each (3, n).

    |w + t1 d1 - t2 d2|^2 is convex in the shares t1, t2 of both segments. Without bounds its derivatives are 0 at
    t1 = (b f - c e) / (a e - b^2) and t2 = (b t1 + f) / e. With t1 clipped to 0 .. 1 that t2 is the best for it; if it
    lies beyond an end of the second segment, this end is nearest, and the first segment's nearest point to it is found
    by projection. A segment without length is a point.
    """
    d1, d2, w = q - p, s - r, p - r
    a, e, f = (d1 * d1).sum(axis=0), (d2 * d2).sum(axis=0), (d2 * w).sum(axis=0)
    b, c = (d1 * d2).sum(axis=0), (d1 * w).sum(axis=0)
    size = a * e - b * b
    parallel = size <= PARALLEL * a * e
    t1 = np.where(parallel, 0.0, np.clip((b * f - c * e) / np.where(parallel, 1.0, size), 0.0, 1.0))
    point, a = e == 0.0, np.where(a == 0.0, 1.0, a)
    t2 = (b * t1 + f) / np.where(point, 1.0, e)
    start, end = np.clip(-c / a, 0.0, 1.0), np.clip((b - c) / a, 0.0, 1.0)
    t1 = np.where(point | (t2 < 0.0), start, np.where(t2 > 1.0, end, t1))
    gap = w + t1 * d1 - np.clip(t2, 0.0, 1.0) * d2
    out: Array = np.sqrt((gap * gap).sum(axis=0))
    return out


def segment_to_box(p: Array, q: Array, low: Array, high: Array) -> Array:
    """Return the distances (n,) of segments from ``p`` to ``q`` (3, n) to the box ``low`` to ``high`` (3,); 0 inside.

    The squared distance is convex along the segment, and a parabola between the places where it crosses a plane of
    the box: its slope there tells in which parabola the minimum lies.
    """
    d = q - p
    low, high = low[:, None], high[:, None]
    still = d == 0.0
    safe = np.where(still, 1.0, d)
    cuts = np.concatenate([(low - p) / safe, (high - p) / safe])
    cuts = np.clip(np.where(np.concatenate([still, still]), 0.0, cuts), 0.0, 1.0)
    places = np.sort(np.concatenate([np.zeros((1, p.shape[1])), cuts, np.ones((1, p.shape[1]))]), axis=0)  # (8, n)
    slopes = _slope(p[:, None] + places * d[:, None], d[:, None], low[:, None], high[:, None])
    after = np.minimum((slopes < 0.0).sum(axis=0), 7)
    before = np.maximum(after - 1, 0)
    column = np.arange(p.shape[1])
    t0, t1, s0, s1 = places[before, column], places[after, column], slopes[before, column], slopes[after, column]
    rise = s1 - s0
    t = np.where(rise > 0.0, t0 - s0 * (t1 - t0) / np.where(rise > 0.0, rise, 1.0), t0)
    at = p + np.clip(t, t0, t1) * d
    gap = np.maximum(np.maximum(low - at, at - high), 0.0)
    out: Array = np.sqrt((gap * gap).sum(axis=0))
    return out


def _slope(at: Array, d: Array, low: Array, high: Array) -> Array:
    """Return half the slope (m, n) of the squared distance to the box at points ``at`` (3, m, n)."""
    beyond = np.maximum(at - high, 0.0) - np.maximum(low - at, 0.0)
    out: Array = (beyond * d).sum(axis=0)
    return out
