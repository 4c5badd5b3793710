"""Rotations and frames: three angles about fixed axes, poses of six numbers, 4x4 matrices."""

from math import pi

import numpy as np

from hexpost.arrays import Array

LOCK = 1e-9
"""Cosine of the middle angle below which the first and the last angle turn about one line."""


def axes(order: str) -> tuple[int, int, int]:
    """Return the axes (0 x, 1 y, 2 z) about which the letters of ``order`` turn, first letter first."""
    first, second, third = ("ABC".index(letter) for letter in order)
    return first, second, third


def turn(axis: int, angle: Array | float) -> Array:
    """Return right-hand turns about one fixed ``axis``, shape (3, 3, ...) for angles of shape (...), rad."""
    angle = np.asarray(angle, dtype=np.float64)
    out: Array = np.zeros((3, 3, *angle.shape))
    j, k = (axis + 1) % 3, (axis + 2) % 3
    out[axis, axis] = 1.0
    out[j, j] = out[k, k] = np.cos(angle)
    out[k, j] = np.sin(angle)
    out[j, k] = -out[k, j]
    return out


def rotation(a: Array | float, b: Array | float, c: Array | float, order: str) -> Array:
    """Return rotation matrices, shape (3, 3, ...) for angles A B C of shape (...), rad.

    The angles are about fixed axes X Y Z, applied in ``order``: ``"ABC"`` is Rz(C) Ry(B) Rx(A).
    """
    angles = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (a, b, c)))
    first, second, third = (turn(i, angles[i]) for i in axes(order))
    out: Array = np.einsum("ij...,jk...,kl...->il...", third, second, first)
    return out


def pose_matrix(pose: Array, order: str) -> Array:
    """Return the frame (4, 4) of a ``pose`` (6,): x y z in mm, a b c in rad."""
    out: Array = np.eye(4)
    out[:3, :3] = rotation(float(pose[3]), float(pose[4]), float(pose[5]), order)
    out[:3, 3] = pose[:3]
    return out


def pose_from_matrix(m: Array, order: str, near: Array | None = None) -> Array:
    """Return the pose (6,) of a frame ``m`` (4, 4): x y z in mm, a b c in rad.

    The angles are those of ``angles_of``, with ``near`` (6,) a pose.
    """
    out: Array = np.empty(6)
    out[:3] = m[:3, 3]
    out[3:] = angles_of(m[:3, :3, None], order, None if near is None else near[3:, None])[:, 0]
    return out


def angles_of(r: Array, order: str, near: Array | None = None) -> Array:
    """Return the angles A B C (3, n) of rotations ``r`` (3, 3, n), rad.

    Two sets of angles (and whole turns of them) give one rotation. With ``near`` (3, n) the set nearest to it is
    returned; without it the middle angle lies within a quarter turn and all within half a turn. Where the first and
    the last axis fall together (gimbal lock), their turn is shared so that both move least.
    """
    letters = list(axes(order))
    q = np.eye(3)[:, letters]
    sign = float(np.round(np.linalg.det(q)))
    target: Array = np.zeros((3, r.shape[2])) if near is None else sign * near[letters]
    plain: Array = np.einsum("ji,jkn,kl->iln", q, r, q)
    out: Array = np.empty_like(target)
    out[letters] = sign * _plain_angles(plain, target, both=near is not None)
    return out


def invert(m: Array) -> Array:
    """Return the inverse (4, 4) of a frame ``m`` (4, 4): rotation transposed, no division."""
    out: Array = np.eye(4)
    out[:3, :3] = m[:3, :3].T
    out[:3, 3] = -m[:3, :3].T @ m[:3, 3]
    return out


def _plain_angles(r: Array, target: Array, *, both: bool) -> Array:
    """Return the angles (3, n) with r = Rz(c) Ry(b) Rx(a), whole turns nearest to ``target``.

    The last angle is read from the matrix with the first one taken out, so that the product stays right to
    rounding close to the lock.
    """
    cosine = np.hypot(r[2, 1], r[2, 2])
    b = np.arctan2(-r[2, 0], cosine)
    a = np.arctan2(r[2, 1], r[2, 2])
    locked = cosine < LOCK
    if locked.any():
        missing = _last_angle(r, target[0]) - target[2]
        missing -= 2.0 * pi * np.round(missing / (2.0 * pi))
        a = np.where(locked, target[0] - np.sign(b) * missing / 2.0, a)
    c = _last_angle(r, a)
    found = _to_turn(np.stack([a, b, c]), target)
    if not both:
        return found
    other = _to_turn(np.stack([a + pi, pi - b, c + pi]), target)
    nearer = np.square(other - target).sum(axis=0) < np.square(found - target).sum(axis=0)
    return np.where(nearer & ~locked, other, found)


def _last_angle(r: Array, a: Array) -> Array:
    """Return c (n,) of r = Rz(c) Ry(b) Rx(a) for known ``a`` (n,)."""
    sine, cosine = np.sin(a), np.cos(a)
    out: Array = np.arctan2(r[0, 2] * sine - r[0, 1] * cosine, r[1, 1] * cosine - r[1, 2] * sine)
    return out


def _to_turn(angles: Array, target: Array) -> Array:
    """Return ``angles`` moved by whole turns to lie nearest to ``target``."""
    out: Array = angles - 2.0 * pi * np.round((angles - target) / (2.0 * pi))
    return out
