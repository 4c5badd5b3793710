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


def outer_sign(order: str) -> float:
    """Return the sign of sin m in the product of the first and the last axis of an ``order`` of angles."""
    return -1.0 if order in "ABCAB" else 1.0


def turning(slope: Array, pair: Array, middle: tuple[Array, Array]) -> Array:
    """Return the largest true angular speeds (m,) of angles whose rates are steady: norms ``slope`` (m,).

    The axis of the middle angle is square to the others; the first and the last one are sin m apart from square, so
    |w|^2 = f'^2 + m'^2 + l'^2 + 2 ``pair`` sin m, with ``pair`` (m,) = f' l' and its sign by the order of the angles
    (w = l' z + m' Rz y + f' Rz Ry x, the sum of turns about carried axes). ``middle``: m at both ends.
    """
    ends = np.sort(np.stack(middle) * np.where(pair < 0.0, -1.0, 1.0), axis=0)
    top = np.floor((ends - 0.5 * np.pi) / (2.0 * np.pi))
    most = np.where(top[1] > top[0], 1.0, np.sin(ends).max(axis=0))
    out: Array = np.sqrt(np.maximum(slope**2 + 2.0 * np.abs(pair) * most, 0.0))
    return out


def bent_turning(slope: Array, c: Array, h: Array) -> Array:
    """Return bounds (m,) of the same for quintic angles: ``c`` (6, 3, m) first, middle, last; ``h`` (m,) sizes."""
    flat = c.reshape(6, -1)
    rates = np.abs(control_points(1) @ flat).reshape(-1, *c.shape[1:]).max(axis=0) / h
    middle = (control_points(0) @ flat).reshape(-1, *c.shape[1:])[:, 1]
    ends = middle.min(axis=0), middle.max(axis=0)
    pair = rates[0] * rates[2]
    return np.maximum(turning(slope, pair, ends), turning(slope, -pair, ends))


def blocks(n: int, size: int = 2048) -> list[Ints]:
    """Return the indices 0 to ``n`` - 1 in blocks that fit the cache."""
    return [np.arange(a, min(a + size, n)) for a in range(0, n, size)]
