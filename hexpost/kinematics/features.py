"""The features of a pose in which the squared lengths of struts are linear, as series in time.

Tip p, rotation R = Rz(c) Ry(b) Rx(a). R'p is made of turns in a plane, each of a triple of rows (-v, u, v). Rows lie
so that triples and features are neighbours: little is copied. There is one kind of rows for each way of moving; all
fill themselves from a pose and its derivatives, (6, n) each, over ``factors`` (k! makes coefficients of them).
"""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.series import Sines, products, square, turn


class Fixed:
    """Features while no angle moves.

    Rows: 0 -y, 1 free, 2 y, 3 -z, 4 x, 5 z, 6 one, 7 p.p; features are 2 to 7.
    """

    COUNT = 8
    FIRST, LAST = 2, 7

    def __init__(self, orders: int, n: int) -> None:
        self.rows: Array = np.zeros((orders, self.COUNT, n))
        self.rows[0, 6] = 1.0
        self.features = list(self.rows[:, self.FIRST : self.LAST + 1])
        self._negatives = list(self.rows[:, 0:4:3])
        self._middle = list(self.rows[:, 2])
        self._others = list(self.rows[:, 4:6])
        self._square = square(self.rows[:, 2:5], self.rows[:, 7])

    def fill(self, q: Sequence[Array], factors: Sequence[float]) -> None:
        """Fill the rows."""
        for k, (x, factor) in enumerate(zip(q, factors, strict=True)):
            scale = 1.0 / factor
            np.multiply(x[1:3], -scale, out=self._negatives[k])
            np.multiply(x[1], scale, out=self._middle[k])
            np.multiply(x[0:3:2], scale, out=self._others[k])
        self._square.fill()


class Tilting(Fixed):
    """Features while c stands still; p and the base joints are turned back by it beforehand.

    Rows: those of ``Fixed`` (1 is Ry'p z), 8 9 10 R'p x z y, 11 12 sin b a, 13 14 cos b a, 15 sin b sin a,
    16 sin b cos a, 17 cos b sin a, 18 cos b cos a; features are 2 to 18.
    """

    COUNT = 19
    LAST = 18
    TURNED = slice(8, 19)

    def __init__(self, orders: int, n: int) -> None:
        super().__init__(orders, n)
        trig = self.rows[:, 11:15].reshape(orders, 2, 2, n)
        b, a = trig[:, :, 0], trig[:, :, 1]
        self._sines = Sines(trig)
        self._steps = (
            products(b, a, self.rows[:, 15:19].reshape(orders, 2, 2, n)),
            turn(b, self.rows[:, 3:6], self.rows[:, 8::-7]),  # to rows 8 and 1
            turn(a, self.rows[:, 0:3], self.rows[:, 9:11]),
        )

    def fill(self, q: Sequence[Array], factors: Sequence[float]) -> None:
        """Fill the rows."""
        super().fill(q, factors)
        self._sines.fill([x[4:2:-1] for x in q], factors)
        for step in self._steps:
            step.fill()


class Turning:
    """Features while every angle may move.

    Rows: 0 -v, 1 Ry'Rz'p z, 2 v (Rz'p y), 3 -z, 4 Rz'p x, 5 z, 6 -x, 7 y, 8 x, 9 one, 10 p.p, 11 12 13 R'p x z y,
    14 15 R10 R00, 16 17 R01 R11, 18 19 R02 R12, 20 21 R21 R22, 22 23 24 sin b a c, 25 26 27 cos b a c,
    28 29 30 -cos a, sin b sin a, cos a, 31 32 33 sin a, sin b cos a, -sin a; features are 5 to 22.
    """

    COUNT = 34
    FIRST, LAST = 5, 22

    def __init__(self, orders: int, n: int) -> None:
        self.rows: Array = np.zeros((orders, self.COUNT, n))
        self.rows[0, 9] = 1.0
        self.features = list(self.rows[:, self.FIRST : self.LAST + 1])
        trig = self.rows[:, 22:28].reshape(orders, 2, 3, n)
        b, a, c = trig[:, :, 0], trig[:, :, 1], trig[:, :, 2]
        self._sines = (Sines(trig[:, :, :2]), Sines(trig[:, :, 2:]))
        self._square = square(self.rows[:, 5:8], self.rows[:, 10])
        self._steps = (
            turn(b, self.rows[:, 3:6], self.rows[:, 11::-10]),  # to rows 11 and 1
            turn(a, self.rows[:, 0:3], self.rows[:, 12:14]),
        )
        self._first = turn(c, self.rows[:, 6:9], self.rows[:, 2:5:2])  # to rows 2 and 4
        triples = self.rows[:, 28:34].reshape(orders, 2, 3, n)
        self._copies = (a[:, ::-1], self.rows[:, 30:32], self.rows[:, 28::5])  # to rows 30, 31; 28, 33
        self._rotation = (
            products(b[:, :1], a, triples[:, None, :, 1]),
            products(b[:, 1:], a, self.rows[:, None, 20:22]),
            products(b[:, 1:], c, self.rows[:, None, 14:16]),
            turn(c, triples, self.rows[:, 16:20].reshape(orders, 2, 2, n)),
        )

    def fill(self, q: Sequence[Array], factors: Sequence[float]) -> None:
        """Fill the rows."""
        for rows, x, factor in zip(self.rows, q, factors, strict=True):
            scale = 1.0 / factor
            np.multiply(x[2::-2], -scale, out=rows[3:7:3])
            np.multiply(x[2], scale, out=rows[5])
            np.multiply(x[1::-1], scale, out=rows[7:9])
        self._square.fill()
        self._sines[0].fill([x[4:2:-1] for x in q], factors)
        self._sines[1].fill([x[5:] for x in q], factors)
        self._first.fill()
        np.negative(self.rows[:, 2], out=self.rows[:, 0])
        source, plain, negative = self._copies
        np.copyto(plain, source)
        np.negative(source, out=negative)
        for step in self._steps + self._rotation:
            step.fill()


def fixed_matrix(a: Array, b: Array, r: Array) -> Array:
    """Return the matrix (6, 6) over the features of ``Fixed``: joints (6, 3), a rotation (3, 3) that stands still."""
    d = a - b @ r.T
    p = [-2 * d[:, 1], 2 * d[:, 2], -2 * d[:, 0], np.zeros(6)]
    return np.stack([*p, (d**2).sum(axis=1), np.ones(6)], axis=1)


def tilting_matrix(a: Array, b: Array) -> Array:
    """Return the matrix (6, 17) over the features of ``Tilting`` for joints (6, 3)."""
    r = -2 * a.T[:, None] * b.T
    p = [-2 * a[:, 1], 2 * a[:, 2], -2 * a[:, 0], np.zeros(6)]
    rotation = [-r[2, 0], -r[1, 2], r[0, 0], r[1, 1], r[0, 1], r[0, 2], r[2, 1], r[2, 2]]
    return np.stack([*p, *_squares_and_turned(a, b), *rotation], axis=1)


def turning_matrix(a: Array, b: Array) -> Array:
    """Return the matrix (6, 18) over the features of ``Turning`` for joints (6, 3)."""
    r = -2 * a.T[:, None] * b.T
    p = [-2 * a[:, 2], 2 * a[:, 0], -2 * a[:, 1], np.zeros(6)]
    rotation = [r[1, 0], r[0, 0], r[0, 1], r[1, 1], r[0, 2], r[1, 2], r[2, 1], r[2, 2], -r[2, 0]]
    return np.stack([*p, *_squares_and_turned(a, b), *rotation], axis=1)


def _squares_and_turned(a: Array, b: Array) -> list[Array]:
    """Return the columns over one, p.p and R'p x z y."""
    return [(a**2 + b**2).sum(axis=1), np.ones(6), 2 * b[:, 0], 2 * b[:, 2], 2 * b[:, 1]]
