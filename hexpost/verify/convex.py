"""How far segments are from each other and from boxes along the axes: the least over corners, edges and insides."""

import numpy as np

from hexpost.arrays import Array, Flags

PARALLEL = 1e-8
"""Sine of the angle below which two segments count as parallel: their nearest points are then at an end of one."""
_CORNERS = np.array([[i, j, k] for i in (0.0, 1.0) for j in (0.0, 1.0) for k in (0.0, 1.0)])
_EDGES = np.array([(a, b) for a in range(8) for b in range(a, 8) if (a ^ b) in (1, 2, 4)])


def segments_apart(p: Array, q: Array, r: Array, s: Array) -> Array:
    """Return the distances (...) of segments from ``p`` to ``q`` and from ``r`` to ``s``, each (..., 3).

    The squared distance is convex over both shares from 0 to 1. Its least value lies inside, where the line between is
    square to both segments, or else on the border, where one of the four ends is nearest to the other segment.
    """
    u, v, w = q - p, s - r, r - p
    border = np.minimum(
        np.minimum(_point_apart(p, r, v), _point_apart(q, r, v)),
        np.minimum(_point_apart(r, p, u), _point_apart(s, p, u)),
    )
    normal = np.cross(u, v)
    size = _dot(normal, normal)
    across = size > PARALLEL**2 * _dot(u, u) * _dot(v, v)
    safe = np.where(across, size, 1.0)
    shares = _dot(np.cross(w, v), normal) / safe, _dot(np.cross(w, u), normal) / safe
    inside = across & np.all([(x >= 0.0) & (x <= 1.0) for x in shares], axis=0)
    out: Array = np.where(inside, np.abs(_dot(w, normal)) / np.sqrt(safe), border)
    return out


def box_apart(p: Array, q: Array, low: Array, high: Array) -> Array:
    """Return the distances (n,) of segments from ``p`` to ``q``, (n, 3), to boxes ``low`` to ``high`` (n, 3); 0 inside.

    Two polyhedra that do not meet are nearest between a corner of one and a face of the other or between two edges: an
    end of the segment and the box, or the segment and one of the box's twelve edges.
    """
    ends = np.minimum(*(np.linalg.norm(np.maximum(np.maximum(low - x, x - high), 0.0), axis=1) for x in (p, q)))
    corners = low[:, None] + _CORNERS * (high - low)[:, None]
    a, b = corners[:, _EDGES[:, 0]], corners[:, _EDGES[:, 1]]
    edges = segments_apart(p[:, None], q[:, None], a, b).min(axis=1)
    out: Array = np.where(_through(p, q, low, high), 0.0, np.minimum(ends, edges))
    return out


def _through(p: Array, q: Array, low: Array, high: Array) -> Flags:
    """Return whether (n,) a segment is between each two opposite faces of a box for a common share of its way."""
    d = q - p
    still = d == 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (low - p) / d, (high - p) / d
    between = (p >= low) & (p <= high)
    enter = np.where(still, np.where(between, 0.0, np.inf), np.minimum(a, b)).max(axis=1)
    leave = np.where(still, 1.0, np.maximum(a, b)).min(axis=1)
    out: Flags = np.maximum(enter, 0.0) <= np.minimum(leave, 1.0)
    return out


def _point_apart(x: Array, p: Array, u: Array) -> Array:
    """Return the distances of points ``x`` (..., 3) to segments from ``p`` (..., 3) along ``u`` (..., 3)."""
    w = x - p
    share = np.clip(_dot(w, u) / np.maximum(_dot(u, u), np.finfo(float).tiny), 0.0, 1.0)
    out: Array = np.linalg.norm(w - share[..., None] * u, axis=-1)
    return out


def _dot(a: Array, b: Array) -> Array:
    out: Array = (a * b).sum(axis=-1)
    return out
