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

BATCH = 8192
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


Room = features.Fixed | features.Turning


class StrutModel:
    """The struts of a machine, ready to be seen from any work frame and tool."""

    def __init__(self, geometry: Geometry) -> None:
        self._base = np.array([s.base_joint for s in geometry.struts])
        self._platform = np.array([s.platform_joint for s in geometry.struts])
        self._order = geometry.tilt_order

    def in_frame(self, base_from_work: Array, tip: Array, yaw: float = 0.0) -> "Struts":
        """Return the struts as seen from the frame ``base_from_work`` (4, 4) and from ``tip`` (3,) of the platform.

        With a ``yaw`` [rad] the platform is turned by it about its z axis, against the orientation of the poses.
        """
        base = (self._base - base_from_work[:3, 3]) @ base_from_work[:3, :3]
        return Struts(base, (self._platform - tip) @ turn(2, yaw).T, self._order)


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
        self._rooms: dict[type[Room], tuple[tuple[int, int], Room]] = {}
        self._squared: Array = np.empty((0, 6, BATCH))

    def lengths(self, q: Array) -> Array:
        """Return the lengths (6, n) at poses ``q`` (6, n)."""
        return self.series([q])[0]

    def series(self, q: Sequence[Array]) -> list[Array]:
        """Return the Taylor coefficients of the lengths, each (6, n), for those of the poses, each (6, n)."""
        return self._batches(q, derivatives=False)[0]

    def derivatives(self, q: Sequence[Array]) -> list[Array]:
        """Return lengths, rates, accelerations ... (6, n) for poses, their rates, accelerations ... (6, n)."""
        return self._batches(q, derivatives=True)[0]

    def derivatives_and_turned(self, q: Sequence[Array]) -> tuple[list[Array], Array | None]:
        """Return the derivatives, and the rows ``features.Tilting.TURNED`` (11, n) of the poses.

        These come for nothing while the angles are A B C and C stays 0; otherwise there are none.
        """
        return self._batches(q, derivatives=True, turned=np.empty((11, q[0].shape[1])) if self.order == "ABC" else None)

    def _batches(
        self, q: Sequence[Array], *, derivatives: bool, turned: Array | None = None
    ) -> tuple[list[Array], Array | None]:
        """Return the series or the derivatives of the lengths, and ``turned`` if it could be filled, batch by batch."""
        orders, n = len(q), q[0].shape[1]
        out: Array = np.empty((orders, 6, n))
        if len(self._squared) < orders:
            self._squared = np.empty((orders, 6, BATCH))
        factors = [float(factorial(k)) if derivatives else 1.0 for k in range(orders)]
        weights = root_weights(orders, derivatives=derivatives)
        for start in range(0, n, BATCH):
            part = slice(start, min(start + BATCH, n))
            squared = self._squared[:orders, :, : part.stop - start]
            room = self._half_squares([self._named(x[:, part]) for x in q], factors, squared)
            roots(squared, out[:, :, part], weights)
            if turned is not None:
                if isinstance(room, features.Tilting) and q[0][5, start] == 0.0:
                    turned[:, part] = room.rows[0, room.TURNED]
                else:
                    turned = None
        return list(out), turned

    def _named(self, x: Array) -> Array:
        """Return rows of poses (6, n) with the axes named anew, so that the order of the angles is A B C."""
        if self.order == "ABC":
            return x
        x = x[self._rows]
        x[3:] *= self._sign
        return x

    def _half_squares(self, q: Sequence[Array], factors: Sequence[float], out: Array) -> Room:
        """Fill ``out`` (orders, 6, n) with squared lengths, halved (and times k!) but for the first order.

        Return the rows of the features.
        """
        a, b, c = (float(x) for x in q[0][3:, 0])
        kind: type[Room]
        if not _still(q, 5):
            kind, matrix = features.Turning, self._turning
        elif _still(q, 4) and _still(q, 3):
            kind, matrix = features.Fixed, features.fixed_matrix(self._a, self._b, rotation(a, b, c, "ABC"))
        else:
            kind, matrix = features.Tilting, self._tilting_turned(c)
            if c != 0.0:
                back = turn(2, c)[:2, :2].T
                q = [np.concatenate([back @ x[:2], x[2:]]) for x in q]
        room = self._room(kind, len(q), q[0].shape[1])
        room.fill(q, factors)
        for k, (rows, factor) in enumerate(zip(room.features, factors, strict=True)):
            np.matmul(matrix if k == 0 else matrix * (0.5 * factor), rows, out=out[k])
        return room

    def _room(self, kind: type[Room], orders: int, n: int) -> Room:
        """Return the work rows of a kind; the last ones are kept, for batches are mostly of one size."""
        size, room = self._rooms.get(kind, ((0, 0), None))
        if room is None or size != (orders, n):
            room = kind(orders, n)
            self._rooms[kind] = ((orders, n), room)
        return room

    def _tilting_turned(self, angle: float) -> Array:
        """Return the matrix for base joints turned back about the last axis by ``angle``; the last one is kept."""
        if self._tilting[0] != angle:
            self._tilting = (angle, features.tilting_matrix(self._a @ turn(2, angle), self._b))
        return self._tilting[1]


class Coordinates:
    """Axes that are the coordinates of the pose themselves, in the place of struts: those of an ordinary machine."""

    def derivatives(self, q: Sequence[Array]) -> list[Array]:
        """Return places, rates, accelerations ... (6, n) for poses, their rates, accelerations ... (6, n)."""
        return list(q)


def _still(q: Sequence[Array], i: int) -> bool:
    """Return whether coordinate ``i`` keeps one value; most moving ones show it in the first or the last sample."""
    start = q[0][i, 0]
    if q[0][i, -1] != start or any(x[i, 0] != 0.0 for x in q[1:]):
        return False
    return all(x[i] @ x[i] == 0.0 for x in q[1:]) and bool((q[0][i] == start).all())


def jacobian(struts: Struts, q: Array) -> Array:
    """Return the rows [u, (R b) x u] (n, 6, 6) at poses ``q`` (6, n): dl/dt = rows @ [v, w].

    v is the velocity of the tip [mm/s], w the angular velocity [rad/s], both in the work frame.
    """
    arms = struts.platform @ np.moveaxis(rotation(q[3], q[4], q[5], struts.order), 2, 0).swapaxes(1, 2)
    return strut_rows(q[:3].T[:, None, :] + arms - struts.base, arms)


def strut_rows(vectors: Array, arms: Array) -> Array:
    """Return the rows [u, r x u] (..., 6, 6) with dl/dt = rows @ [v, w].

    ``vectors`` (..., 6, 3) run from base joint to platform joint, u is their direction; ``arms`` r (..., 6, 3) run
    from the point that moves with v to the platform joints. From l^2 = d . d with d' = v + w x r:
    l' = u . (v + w x r) = u . v + (r x u) . w.
    """
    u = vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.concatenate([u, np.cross(arms, u)], axis=-1)


def angle_axes(q: Array, order: str) -> Array:
    """Return the axes (n, 3, 3) about which A, B, C turn at poses ``q`` (6, n): w = axes @ [a', b', c'].

    The last angle of the order turns about a fixed axis, the others about axes carried along by those after them.
    """
    first, second, third = axes(order)
    n = q.shape[1]
    out: Array = np.zeros((n, 3, 3))
    last = np.moveaxis(turn(third, q[3 + third]), 2, 0)
    middle = np.moveaxis(turn(second, q[3 + second]), 2, 0)
    out[:, third, third] = 1.0
    out[:, :, second] = last[:, :, second]
    out[:, :, first] = np.einsum("nij,nj->ni", last, middle[:, :, first])
    return out
