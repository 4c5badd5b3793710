"""Distances between straight bodies: segments of capsules, and segments to boxes along the axes."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array

PARALLEL = 1e-12
"""Below this share of the squared lengths two segments count as parallel."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Near:
    """Where pairs of segments are nearest: ``distance`` (n,) and the ``shares`` (2, n) of both segments, from 0 to 1.

    ``slopes`` (2, n): the derivatives of the distance by the shares, 0 where the segments meet.
    """

    distance: Array
    shares: Array
    slopes: Array

    def least(self, moves: Array) -> Array:
        """Return the least that the distance (n,) can be while the ends move by no more than ``moves`` (2, 2, n), mm.

        The distance is convex in the shares, so it lies above its tangent plane, and a point between the ends moves by
        no more than their moves in proportion. What is left is linear along each segment: an end decides.
        """
        out = self.distance.copy()
        for share, slope, ends in zip(self.shares, self.slopes, moves, strict=True):
            here = ends[0] + share * (ends[1] - ends[0])
            on = (ends[1] - here) - np.maximum((1.0 - share) * slope, 0.0)
            back = (ends[0] - here) - np.maximum(-share * slope, 0.0)
            out -= here + np.maximum(np.maximum(on, back), 0.0)
        return out


def segments_apart(p: Array, q: Array, r: Array, s: Array) -> Array:
    """Return the distances (n,) of the segments from ``p`` to ``q`` and from ``r`` to ``s``, each (3, n)."""
    return segments_near(p, q, r, s).distance


def segments_near(p: Array, q: Array, r: Array, s: Array) -> Near:
    """Return where the segments from ``p`` to ``q`` and from ``r`` to ``s``, each (3, n), are nearest.

    |w + t1 d1 - t2 d2|^2 is convex in the shares t1, t2 of both segments. Without bounds its derivatives are 0 at
    t1 = (b f - c e) / (a e - b^2) and t2 = (b t1 + f) / e. With t1 clipped to 0 .. 1 that t2 is the best for it; if it
    lies beyond an end of the second segment, this end is nearest, and the first segment's nearest point to it is found
    by projection. A segment without length is a point.
    """
    d1, d2, w = q - p, s - r, p - r
    a, e, f = _dots(d1, d1), _dots(d2, d2), _dots(d2, w)
    b, c = _dots(d1, d2), _dots(d1, w)
    size = a * e - b * b
    parallel = size <= PARALLEL * a * e
    t1 = np.where(parallel, 0.0, np.clip((b * f - c * e) / np.where(parallel, 1.0, size), 0.0, 1.0))
    point, a = e == 0.0, np.where(a == 0.0, 1.0, a)
    t2 = (b * t1 + f) / np.where(point, 1.0, e)
    start, end = np.clip(-c / a, 0.0, 1.0), np.clip((b - c) / a, 0.0, 1.0)
    t1 = np.where(point | (t2 < 0.0), start, np.where(t2 > 1.0, end, t1))
    t2 = np.clip(t2, 0.0, 1.0)
    gap = w + t1 * d1 - t2 * d2
    out = np.sqrt(_dots(gap, gap))
    over = np.where(out > 0.0, out, np.inf)
    return Near(distance=out, shares=np.stack([t1, t2]), slopes=np.stack([_dots(gap, d1), -_dots(gap, d2)]) / over)


def _dots(x: Array, y: Array) -> Array:
    """Return the products (n,) of vectors (3, n)."""
    out: Array = np.einsum("in,in->n", x, y)
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
    return np.sqrt(_dots(gap, gap))


def _slope(at: Array, d: Array, low: Array, high: Array) -> Array:
    """Return half the slope (m, n) of the squared distance to the box at points ``at`` (3, m, n)."""
    beyond = np.maximum(at - high, 0.0) - np.maximum(low - at, 0.0)
    out: Array = np.einsum("imn,in->mn", beyond, d[:, 0])
    return out
