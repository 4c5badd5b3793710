"""How far the tip may be off, by what is not known of the numbers of a machine: slopes, covariance, a 95 % band.

A strut is as long as |t + R b - a| says, and as its command and offset say. So a change of its 42 numbers moves the
platform by J [dt, dw] = do + u.da - (R'u).db, and a covariance C of them becomes G C G' at the tip (JCGM 100:2008, GUM,
5.2.2, on correlated inputs). Where struts give way, each is shorter by its compliance times what it carries more than
in the pose in which commands are lengths: six numbers more.
"""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import Struts, jacobian

NUMBERS = 42
"""Strut by strut: base joint x y z in the base frame, platform joint x y z in the platform frame, offset of length."""
ELASTIC = 6
"""After them, where struts give way: their compliances, mm/N."""
SHARE = 0.95
"""Share of machines that are within a band."""


def tip_slopes(struts: Struts, base_from_work: Array, pose: Array) -> tuple[Array, Array]:
    """Return how the tip follows six lengths (n, 3, 6), and the 42 numbers (n, 3, 42), at poses (6, n).

    Shifts are in the axes of the work frame ``base_from_work`` (4, 4) that ``struts`` are seen from. At an exactly
    singular pose they are nan.
    """
    rows = jacobian(struts, pose)
    regular = np.linalg.det(rows) != 0.0
    tip = np.linalg.inv(np.where(regular[:, None, None], rows, np.eye(6)))[:, :3]
    tip[~regular] = np.nan
    u = rows[:, :, :3]
    turn = np.moveaxis(rotation(pose[3], pose[4], pose[5], struts.order), 2, 0)
    each = np.concatenate([u @ base_from_work[:3, :3].T, -(u @ turn), np.ones((*u.shape[:2], 1))], axis=2)
    numbers: Array = np.einsum("nik,nkj->nikj", tip, each).reshape(len(u), 3, NUMBERS)
    return np.asarray(tip, dtype=np.float64), numbers


def with_compliances(slopes: tuple[Array, Array], thrust: Array) -> Array:
    """Return how the tip follows all 48 numbers (n, 3, 48), by the ``slopes`` of ``tip_slopes``.

    ``thrust`` (6, n) [N]: what pushes more than in the pose in which commands are lengths.
    """
    lengths, numbers = slopes
    out: Array = np.concatenate([numbers, -lengths * thrust.T[:, None, :]], axis=2)
    return out


def of_geometry(covariance: Array) -> Array:
    """Return the covariance of the 42 numbers alone."""
    return covariance[:NUMBERS, :NUMBERS]


def root_of(covariance: Array) -> Array:
    """Return a matrix (k, k) whose product with its transpose is a ``covariance`` (k, k)."""
    values, vectors = np.linalg.eigh(covariance)
    out: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return out


def bands(slopes: Array, root: Array) -> Array:
    """Return the radius (n,) that 95 % of errors stay within, by ``slopes`` (n, 3, k) and the ``root`` (k, k).

    The squared error is a sum of three squares with variances l: mean sum l, variance 2 sum l2. Of g chi2 with h
    degrees of freedom they are g h and 2 g2 h, so that g = sum l2 / sum l and h = (sum l)2 / sum l2 (after P. B.
    Patnaik, 1949).
    """
    from scipy.special import gammaincinv

    spread = slopes @ root
    s = spread @ spread.swapaxes(1, 2)
    first, second = np.einsum("nii->n", s), np.einsum("nij,nij->n", s, s)
    some = np.maximum(first, 1e-300)
    g = second / some
    h = np.where(first > 0.0, some / np.maximum(g, 1e-300), 1.0)
    out: Array = np.sqrt(2.0 * g * gammaincinv(h / 2.0, SHARE))
    return out
