"""Largest norms of the derivatives of quintic pieces, by control points: never too small."""

from functools import cache
from math import comb

import numpy as np

from hexpost.arrays import Array, Ints

HALVES = 2
"""Each piece is halved once: for the corner of two lines the bounds of q'' and q''' are then exact."""


@cache
def control_points(order: int) -> Array:
    """Return the matrix (points, 6) from powers of x in [0, 1] to control points of derivative ``order`` on each half.

    A polynomial lies in the convex hull of its Bernstein coefficients (Farouki & Rajan 1988, Algorithms for
    polynomials in Bernstein form, eq. 2 and section 2), so their largest norm bounds its norm.
    """
    degree = 5 - order
    rows = []
    for half in range(HALVES):
        low, width = half / HALVES, 1.0 / HALVES
        shifted: Array = np.zeros((degree + 1, 6))
        for k in range(order, 6):
            falling = float(np.prod(range(k, k - order, -1)))
            for j in range(k - order + 1):
                shifted[j, k] = falling * comb(k - order, j) * low ** (k - order - j) * width**j
        bernstein = np.array([[comb(j, k) / comb(degree, k) for k in range(degree + 1)] for j in range(degree + 1)])
        rows.append(bernstein @ shifted)
    return np.concatenate(rows)


def quintic_norms(c: Array, h: Array) -> Array:
    """Return bounds of the norms of q', q'' and q''', shape (2, 3, m): of the tip, then of the angles.

    ``c`` (6, 6, m) are coefficients of powers of u/h by coordinate, ``h`` (m,) the sizes of the pieces.
    """
    m = h.size
    out: Array = np.empty((2, 3, m))
    flat = c.reshape(6, 6 * m)
    scale: Array = np.ones(m)
    for o in range(1, 4):
        scale /= h
        matrix = control_points(o)
        points = (matrix @ flat).reshape(len(matrix), 6, m)
        points *= points
        for part, rows in enumerate((slice(0, 3), slice(3, 6))):
            out[part, o - 1] = np.sqrt(points[:, rows].sum(1).max(0)) * scale
    return out


def blocks(n: int, size: int = 2048) -> list[Ints]:
    """Return the indices 0 to ``n`` - 1 in blocks that fit the cache."""
    return [np.arange(a, min(a + size, n)) for a in range(0, n, size)]
