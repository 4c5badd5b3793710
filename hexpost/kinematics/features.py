"""The features of a pose in which the squared lengths of struts are linear, as series in time.

Tip p, rotation R = Rz(c) Ry(b) Rx(a). R'p is made of three turns in a plane, each of a triple of rows (-v, u, v). Rows
lie so that every triple and all features of a kind are neighbours: nothing is copied but what a triple needs twice.
"""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.series import products, sines, squares, turned

ROWS = 34
"""Rows of the room that any kind needs."""

# Rows while c stands still, p and the base joints being turned back by it. Features: 2 to 18 (to 7 if nothing turns).
#  0 -y   1 u   2 y   3 -z   4 x   5 z   6 one   7 p.p   8 9 10 (R'p) x z y   11 12 sin b a   13 14 cos b a
# 15 sin b sin a   16 sin b cos a   17 cos b sin a   18 cos b cos a
FIXED = slice(2, 8)
TILTING = slice(2, 19)

# Rows while c moves too. Features: 5 to 22.
#  0 -v   1 u   2 v   3 -z   4 w   5 z   6 -x   7 y   8 x   9 one   10 p.p   11 12 13 (R'p) x z y
# 14 15 R10 R00   16 17 R01 R11   18 19 R02 R12   20 21 R21 R22   22 23 24 sin b a c   25 26 27 cos b a c
# 28 29 30 -cos a, sin b sin a, cos a   31 32 33 sin a, sin b cos a, -sin a
TURNING = slice(5, 23)


def fixed_matrix(a: Array, b: Array, r: Array) -> Array:
    """Return the matrix (6, 6) over the ``FIXED`` rows for joints (6, 3) and a rotation (3, 3) that stands still."""
    d = a - b @ r.T
    zero, one = np.zeros(6), np.ones(6)
    return np.stack([-2 * d[:, 1], 2 * d[:, 2], -2 * d[:, 0], zero, (d**2).sum(axis=1), one], axis=1)


def tilting_matrix(a: Array, b: Array) -> Array:
    """Return the matrix (6, 17) over the ``TILTING`` rows for joints (6, 3)."""
    r = -2 * a.T[:, None] * b.T
    zero, one = np.zeros(6), np.ones(6)
    square = (a**2 + b**2).sum(axis=1)
    p = [-2 * a[:, 1], 2 * a[:, 2], -2 * a[:, 0], zero]
    turned_p = [2 * b[:, 0], 2 * b[:, 2], 2 * b[:, 1]]
    rotation = [-r[2, 0], -r[1, 2], r[0, 0], r[1, 1], r[0, 1], r[0, 2], r[2, 1], r[2, 2]]
    return np.stack([*p, square, one, *turned_p, *rotation], axis=1)


def turning_matrix(a: Array, b: Array) -> Array:
    """Return the matrix (6, 18) over the ``TURNING`` rows for joints (6, 3)."""
    r = -2 * a.T[:, None] * b.T
    zero, one = np.zeros(6), np.ones(6)
    square = (a**2 + b**2).sum(axis=1)
    p = [-2 * a[:, 2], 2 * a[:, 0], -2 * a[:, 1], zero]
    turned_p = [2 * b[:, 0], 2 * b[:, 2], 2 * b[:, 1]]
    rotation = [r[1, 0], r[0, 0], r[0, 1], r[1, 1], r[0, 2], r[1, 2], r[2, 1], r[2, 2], -r[2, 0]]
    return np.stack([*p, square, one, *turned_p, *rotation], axis=1)


def fill_fixed(p: Sequence[Array], factors: Sequence[float], room: Array) -> None:
    """Fill the ``FIXED`` rows; ``p`` (3, n) are derivatives, k! = ``factors`` makes coefficients of them."""
    for k, (x, factor) in enumerate(zip(p, factors, strict=True)):
        scale = 1.0 / factor
        np.multiply(x[1], -scale, out=room[k, 0])
        np.multiply(x[1], scale, out=room[k, 2])
        np.multiply(x[2], -scale, out=room[k, 3])
        np.multiply(x[0], scale, out=room[k, 4])
        np.multiply(x[2], scale, out=room[k, 5])
    _fill_squares(room, 6, room[:, 2:5])


def fill_tilting(angles: Sequence[Array], room: Array) -> None:
    """Add the other ``TILTING`` rows to the fixed ones; ``angles`` (3, n) are coefficients of a, b, c."""
    orders, _, n = room.shape
    trig = room[:, 11:15].reshape(orders, 2, 2, n)
    sines([x[1::-1] for x in angles], trig)
    products(trig[:, :, 0], trig[:, :, 1], room[:, 15:19].reshape(orders, 2, 2, n))
    turned(trig[:, :, 0], room[:, 3:6], room[:, 8::-7])  # to rows 8 and 1
    turned(trig[:, :, 1], room[:, 0:3], room[:, 9:11])


def fill_turning(p: Sequence[Array], angles: Sequence[Array], factors: Sequence[float], room: Array) -> None:
    """Fill the ``TURNING`` rows; ``p`` and ``angles`` as above."""
    orders, _, n = room.shape
    for k, (x, factor) in enumerate(zip(p, factors, strict=True)):
        scale = 1.0 / factor
        np.multiply(x[2], -scale, out=room[k, 3])
        np.multiply(x[2], scale, out=room[k, 5])
        np.multiply(x[0], -scale, out=room[k, 6])
        np.multiply(x[1::-1], scale, out=room[k, 7:9])
    _fill_squares(room, 9, room[:, 5:8])
    trig = room[:, 22:28].reshape(orders, 2, 3, n)
    sines([x[1::-1] for x in angles], trig[:, :, :2])
    sines([x[2:] for x in angles], trig[:, :, 2:])
    b, a, c = trig[:, :, 0], trig[:, :, 1], trig[:, :, 2]
    turned(c, room[:, 6:9], room[:, 2:5:2])  # to rows 2 and 4
    np.negative(room[:, 2], out=room[:, 0])
    turned(b, room[:, 3:6], room[:, 11::-10])  # to rows 11 and 1
    turned(a, room[:, 0:3], room[:, 12:14])
    triples = room[:, 28:34].reshape(orders, 2, 3, n)
    triples[:, 0, 2], triples[:, 1, 0] = a[:, 1], a[:, 0]
    np.negative(a[:, ::-1], out=room[:, 28::5])  # to rows 28 and 33
    products(b[:, :1], a, triples[:, None, :, 1])
    products(b[:, 1:], a, room[:, None, 20:22])
    products(b[:, 1:], c, room[:, None, 14:16])
    turned(c, triples, room[:, 16:20].reshape(orders, 2, 2, n))


def _fill_squares(room: Array, at: int, p: Array) -> None:
    """Fill row ``at`` with one, and the row after it with p.p of three rows ``p`` (signs do not matter)."""
    room[0, at] = 1.0
    room[1:, at] = 0.0
    squares(p, room[:, at + 1])
