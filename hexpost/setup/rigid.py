"""The rigid motion that carries one set of points onto another best, and how well the points hold it."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import pose_from_matrix
from hexpost.kinematics.struts import angle_axes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rigid:
    """The motion ``target = rotation @ source + shift``: matrix (4, 4), residuals (n, 3) ``target - moved source``.

    ``values`` (3,): singular values of the weighted cross-covariance, largest first, mm2 of the sum of squares.
    """

    matrix: Array
    residual: Array
    values: Array

    def rms(self, weight: Array) -> float:
        """Return the weighted root mean square of the residual distances."""
        return float(np.sqrt((weight * (self.residual**2).sum(axis=1)).sum() / weight.sum()))


def fit(source: Array, target: Array, weight: Array, *, mirrored: bool = False) -> Rigid:
    """Return the best motion of points ``source`` (n, d) onto ``target`` (n, d), weights (n,); d is 2 or 3.

    Always a proper rotation, never a reflection, however disturbed the data: W. Kabsch, Acta Cryst. A32 (1976) 922,
    with the sign guard of S. Umeyama, IEEE PAMI 13 (1991) 376. ``mirrored`` asks for the best reflection instead.
    """
    share = (weight / weight.sum())[:, None]
    middle, goal = (share * source).sum(axis=0), (share * target).sum(axis=0)
    covariance = ((target - goal) * weight[:, None]).T @ (source - middle)
    u, values, vt = np.linalg.svd(covariance)
    d = len(values)
    guard = np.ones(d)
    guard[-1] = np.sign(np.linalg.det(u) * np.linalg.det(vt)) * (-1.0 if mirrored else 1.0)
    turn = (u * guard) @ vt
    matrix: Array = np.eye(d + 1)
    matrix[:d, :d] = turn
    matrix[:d, d] = goal - turn @ middle
    return Rigid(matrix=matrix, residual=target - source @ turn.T - matrix[:d, d], values=values)


def spread(points: Array) -> Array:
    """Return the root sums of squares (3,) of points (n, 3) along their principal axes, largest first, mm."""
    out: Array = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return np.concatenate([out, np.zeros(3 - len(out))])


def pose_slopes(matrix: Array, source: Array, order: str) -> Array:
    """Return how moved points follow the pose x y z a b c of ``matrix`` (4, 4): slopes (n, 3, 6) for points (n, 3)."""
    pose = pose_from_matrix(matrix, order)
    arms = source @ matrix[:3, :3].T
    turning = angle_axes(pose[:, None], order)[0]
    out: Array = np.zeros((len(source), 3, 6))
    out[:, :, :3] = np.eye(3)
    for k in range(3):
        out[:, :, 3 + k] = np.cross(turning[:, k], arms)
    return out


def pose_covariance(matrix: Array, source: Array, weight: Array, order: str) -> Array:
    """Return the covariance (6, 6) of the fitted pose for coordinates of unit variance over their weight."""
    slopes = pose_slopes(matrix, source, order) * np.sqrt(weight)[:, None, None]
    flat = slopes.reshape(-1, 6)
    scale = np.sqrt((flat**2).sum(axis=0))
    inverse = np.linalg.pinv(flat / scale)
    out: Array = (inverse @ inverse.T) / np.outer(scale, scale)
    return out
