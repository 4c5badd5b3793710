"""Strut lengths and their derivatives along a path, as polynomials of time.

The squared length is linear in features of the pose. With a base joint a in the work frame and a platform joint b seen
from the tip p, |p + R b - a|2 expands to

    |p|2 - 2 a.p + 2 b.(R'p) - 2 sum_jk a_j R_jk b_k + |a|2 + |b|2.

Taylor coefficients of the features run through the same matrix, one small product per order; products of series are
convolutions, and the square root is a short recursion.
"""

from collections.abc import Sequence
from math import factorial
from typing import Protocol

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics import features
from hexpost.kinematics.frames import axes, rotation, turn
from hexpost.kinematics.series import root_weights, roots

BLOCK = 8192
"""Samples solved at a time, so that the work arrays do not grow with the job."""


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
        letters = list(axes(order))
        self._rows = [*letters, *(3 + i for i in letters)]
        self._sign = float(np.round(np.linalg.det(np.eye(3)[:, letters])))
        self._a = self.base[:, letters]
        self._b = self.platform[:, letters]
        self._turning = features.turning_matrix(self._a, self._b)
        self._tilting = (0.0, features.tilting_matrix(self._a, self._b))
        self._room: Array = np.empty((0, features.ROWS, BLOCK))
        self._squared: Array = np.empty((0, 6, BLOCK))

    def lengths(self, q: Array) -> Array:
        """Return the lengths (6, n) at poses ``q`` (6, n)."""
        return self.series([q])[0]

    def series(self, q: Sequence[Array]) -> list[Array]:
        """Return the Taylor coefficients of the lengths, each (6, n), for those of the poses, each (6, n)."""
        return self._blocks(q, derivatives=False)

    def derivatives(self, q: Sequence[Array]) -> list[Array]:
        """Return lengths, rates, accelerations ... (6, n) for poses, their rates, accelerations ... (6, n)."""
        return self._blocks(q, derivatives=True)

    def _blocks(self, q: Sequence[Array], *, derivatives: bool) -> list[Array]:
        """Return the series or the derivatives of the lengths, block by block."""
        orders, n = len(q), q[0].shape[1]
        out: Array = np.empty((orders, 6, n))
        if len(self._room) < orders:
            self._room = np.empty((orders, features.ROWS, BLOCK))
            self._squared = np.empty((orders, 6, BLOCK))
        factors = [float(factorial(k)) if derivatives else 1.0 for k in range(orders)]
        weights = root_weights(orders, derivatives=derivatives)
        for start in range(0, n, BLOCK):
            part = slice(start, min(start + BLOCK, n))
            squared = self._squared[:orders, :, : part.stop - start]
            self._half_squares([self._named(x[:, part]) for x in q], factors, squared)
            roots(squared, out[:, :, part], weights)
        return list(out)

    def _named(self, x: Array) -> Array:
        """Return rows of poses (6, n) with the axes named anew, so that the order of the angles is A B C."""
        if self.order == "ABC":
            return x
        x = x[self._rows]
        x[3:] *= self._sign
        return x

    def _half_squares(self, q: Sequence[Array], factors: Sequence[float], out: Array) -> None:
        """Fill ``out`` (orders, 6, n) with squared lengths, halved (and times k!) but for the first order."""
        room = self._room[: len(q), :, : q[0].shape[1]]
        p = [x[:3] for x in q]
        angles = [x[3:] if f == 1.0 else x[3:] * (1.0 / f) for x, f in zip(q, factors, strict=True)]
        first = [float(x) for x in q[0][3:, 0]]
        if not _still(angles, 2):
            matrix, span = self._turning, features.TURNING
            features.fill_turning(p, angles, factors, room)
        else:
            if _still(angles, 1) and _still(angles, 0):
                span = features.FIXED
                matrix = features.fixed_matrix(self._a, self._b, rotation(first[0], first[1], first[2], "ABC"))
            else:
                span = features.TILTING
                matrix = self._tilting_turned(first[2])
                if first[2] != 0.0:
                    p = [np.concatenate([turn(2, first[2])[:2, :2].T @ x[:2], x[2:]]) for x in p]
            features.fill_fixed(p, factors, room)
            if span == features.TILTING:
                features.fill_tilting(angles, room)
        for k, factor in enumerate(factors):
            np.matmul(matrix if k == 0 else matrix * (0.5 * factor), room[k, span], out=out[k])

    def _tilting_turned(self, angle: float) -> Array:
        """Return the matrix for base joints turned back about the last axis by ``angle``; the last one is kept."""
        if self._tilting[0] != angle:
            self._tilting = (angle, features.tilting_matrix(self._a @ turn(2, angle), self._b))
        return self._tilting[1]


def _still(angles: Sequence[Array], i: int) -> bool:
    """Return whether angle ``i`` keeps one value; most moving ones show it in the first or the last sample."""
    start = angles[0][i, 0]
    if angles[0][i, -1] != start or any(x[i, 0] != 0.0 for x in angles[1:]):
        return False
    return not any(x[i].any() for x in angles[1:]) and bool((angles[0][i] == start).all())
