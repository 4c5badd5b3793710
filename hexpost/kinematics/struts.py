"""Strut lengths and their derivatives along a path, as polynomials of time.

The squared length is linear in sixteen features of the pose (tip p, rotation R): |p|2, p, R'p and R. With a base joint
a in the work frame and a platform joint b seen from the tip, |p + R b - a|2 expands to

    |p|2 - 2 a.p + 2 b.(R'p) - 2 sum_jk a_j R_jk b_k + |a|2 + |b|2.

Taylor coefficients of the features run through the same matrix, one small product per order; products of series are
convolutions, and the square root is a short recursion.
"""

from collections.abc import Sequence
from math import factorial
from typing import NamedTuple, Protocol

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics.frames import axes, rotation, turn
from hexpost.kinematics.series import roots, rotations, sines, squares, turned_back

BLOCK = 8192
"""Samples solved at a time, so that the work arrays do not grow with the job."""

ROWS = 28
"""Rows of the work array per order: features 0-15, sines and cosines 16-21, squared lengths (before: angles) 22-27."""


class Mounting(Protocol):
    """Where one strut is mounted: joints (3,) in the base frame and in the platform frame."""

    @property
    def base_joint(self) -> Array:
        """Return the base joint (3,)."""

    @property
    def platform_joint(self) -> Array:
        """Return the platform joint (3,)."""


class Geometry(Protocol):
    """What kinematics needs of a machine: six mountings and the order of the angles."""

    @property
    def struts(self) -> Sequence[Mounting]:
        """Return the six mountings, strut 1 first."""

    @property
    def tilt_order(self) -> str:
        """Return the order of the angles, such as ``"ABC"``."""


class StrutModel:
    """The struts of a machine, ready to be seen from any work frame and tool."""

    def __init__(self, geometry: Geometry) -> None:
        self._base = np.array([s.base_joint for s in geometry.struts])
        self._platform = np.array([s.platform_joint for s in geometry.struts])
        self._order = geometry.tilt_order

    def in_frame(self, base_from_work: Array, tip: Array) -> "Struts":
        """Return the struts as seen from the frame ``base_from_work`` (4, 4) and from ``tip`` (3,) of the platform."""
        base = (self._base - base_from_work[:3, 3]) @ base_from_work[:3, :3]
        return Struts(base, self._platform - tip, self._order)


class Struts:
    """Six struts between base joints (6, 3) in the work frame and platform joints (6, 3) seen from the tip.

    Poses q (6, n) are x y z of the tip in mm and a b c in rad in the work frame; lengths (6, n) in mm. Angles in any
    order become Rz Ry Rx by naming the axes anew: with Q carrying x y z onto the axes of the letters, first letter
    first, R = Q Rz(s c) Ry(s b) Rx(s a) Q', s = det Q.
    """

    def __init__(self, base: Array, platform: Array, order: str) -> None:
        self.base = frozen(base)
        self.platform = frozen(platform)
        self.order = order
        self._axes = list(axes(order))
        self._sign = float(np.round(np.linalg.det(np.eye(3)[:, self._axes])))
        self._a = self.base[:, self._axes]
        self._b = self.platform[:, self._axes]
        self._full = _general_matrix(self._a, self._b)
        self._turned: tuple[float, Matrix] = (0.0, self._full)
        self._room: Array = np.empty((0, ROWS, BLOCK))

    def lengths(self, q: Array) -> Array:
        """Return the lengths (6, n) at poses ``q`` (6, n)."""
        return self.series([q])[0]

    def series(self, q: Sequence[Array]) -> list[Array]:
        """Return the Taylor coefficients of the lengths, each (6, n), for those of the poses, each (6, n)."""
        return self._blocks(q, [1.0] * len(q))

    def derivatives(self, q: Sequence[Array]) -> list[Array]:
        """Return lengths, rates, accelerations ... (6, n) for poses, their rates, accelerations ... (6, n)."""
        return self._blocks(q, [float(factorial(k)) for k in range(len(q))])

    def _blocks(self, q: Sequence[Array], factors: Sequence[float]) -> list[Array]:
        """Return the series or derivatives (``factors`` k!) of the lengths, block by block."""
        n = q[0].shape[1]
        out: Array = np.empty((len(q), 6, n))
        if len(self._room) < len(q):
            self._room = np.empty((len(q), ROWS, BLOCK))
        for start in range(0, n, BLOCK):
            part = slice(start, min(start + BLOCK, n))
            self._solve([x[:, part] for x in q], factors, out[:, :, part])
        return list(out)

    def _solve(self, q: Sequence[Array], factors: Sequence[float], out: Array) -> None:
        """Fill ``out`` (orders, 6, n) with the lengths of one block; angles that stand still are taken out first."""
        room = self._room[: len(q), :, : q[0].shape[1]]
        still = [_still([x[3 + axis] for x in q]) for axis in self._axes]
        first = [self._sign * float(q[0][3 + axis, 0]) for axis in self._axes]
        p = room[:, 1:4]
        self._take(q, factors, [0, 1, 2], 1.0, p)
        if all(still):
            r = rotation(first[0], first[1], first[2], "ABC")
            matrix = _fixed_matrix(self._a - self._b @ r.T)
        else:
            matrix = self._full
            if still[2] and first[2] != 0.0:
                matrix = self._matrix_turned(first[2])
                p[:, :2] = np.einsum("ij,kin->kjn", turn(2, first[2])[:2, :2], p[:, :2])
            self._turning(q, factors, 2 if still[2] else 3, room)
        squares(p, room[:, 0])
        squared = np.matmul(matrix.features, room[:, : matrix.features.shape[1]], out=room[:, 22:28])
        squared[0] += matrix.constant
        roots(squared, out)
        for k in range(2, len(q)):
            if factors[k] != 1.0:
                out[k] *= factors[k]

    def _turning(self, q: Sequence[Array], factors: Sequence[float], angles: int, room: Array) -> None:
        """Fill the features of ``room`` that hold the rotation: R'p and R."""
        orders, _, n = room.shape
        x = room[:, 22 : 22 + angles]
        self._take(q, factors, [3, 4, 5][:angles], self._sign, x)
        trig = room[:, 16 : 16 + 2 * angles].reshape(orders, 2, angles, n)
        sines(x, trig)
        r = room[:, 7:16].reshape(orders, 3, 3, n)
        rotations(trig, r)
        turned_back(room[:, 1:4], r, room[:, 4:7])

    def _take(self, q: Sequence[Array], factors: Sequence[float], rows: list[int], sign: float, out: Array) -> None:
        """Fill ``out`` (orders, rows, n) with rows of ``q`` in the order of the axes, as Taylor coefficients."""
        for k, (x, factor) in enumerate(zip(q, factors, strict=True)):
            for i, row in enumerate(rows):
                source = x[row - row % 3 + self._axes[row % 3]]
                np.multiply(source, sign / factor, out=out[k, i])

    def _matrix_turned(self, angle: float) -> "Matrix":
        """Return the matrix for base joints turned back about the last axis by ``angle``; the last one is kept."""
        if self._turned[0] != angle:
            self._turned = (angle, _general_matrix(self._a @ turn(2, angle), self._b))
        return self._turned[1]


class Matrix(NamedTuple):
    """What turns features into squared lengths: (6, 16), or (6, 4) where nothing turns, and a constant (6, 1)."""

    features: Array
    constant: Array


def _general_matrix(a: Array, b: Array) -> Matrix:
    """Return the matrix over |p|2, p, R'p, R for joints (6, 3)."""
    products = (a[:, :, None] * b[:, None, :]).reshape(6, 9)
    constant = (a**2 + b**2).sum(axis=1, keepdims=True)
    return Matrix(np.hstack([np.ones((6, 1)), -2.0 * a, 2.0 * b, -2.0 * products]), constant)


def _fixed_matrix(d: Array) -> Matrix:
    """Return the matrix over |p|2, p for strut feet d = a - R b (6, 3) that stand still."""
    return Matrix(np.hstack([np.ones((6, 1)), -2.0 * d]), (d**2).sum(axis=1, keepdims=True))


def _still(x: Sequence[Array]) -> bool:
    """Return whether a coordinate, given with its derivatives, keeps one value."""
    return not any(y.any() for y in x[1:]) and bool((x[0] == x[0][0]).all())
