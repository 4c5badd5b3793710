"""Forces along six struts that balance a wrench on the platform, and the compliance that follows."""

import numpy as np

from hexpost.arrays import Array, Flags

CHUNK = 2048
"""Samples eliminated at a time, so that the work arrays stay in the processor's cache."""

SMALLEST_PIVOT = 0.02
"""Below this (entries are about 1) a sample is solved on its own, with its own order of pivots."""


def wrenches(direction: Array, arms: Array, lever: float) -> Array:
    """Return the unit wrenches (6, 6, n) of the struts about the tip: force, moment over ``lever``; strut second.

    ``direction`` (3, 6, n) of the struts; ``arms`` (3, 6, n) from the tip to their platform joints, or (3, 6, 1).
    These are the columns of the transposed Jacobian (rows scaled), so that wrench = wrenches @ thrusts.
    """
    n, r = direction, arms
    out: Array = np.empty((6, *n.shape[1:]))
    out[:3] = n
    spare = np.empty_like(n[0])
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        np.multiply(r[j], n[k], out=out[3 + i])
        np.multiply(r[k], n[j], out=spare)
        out[3 + i] -= spare
    out[3:] *= 1.0 / lever
    return out


class Balance:
    """Solves for thrusts by Gaussian elimination over all samples at once; work arrays and pivots are kept.

    One order of pivots serves until a pivot gets small, for poses of a batch are near each other; samples for which
    it is small are solved again on their own, and the order is found anew.
    """

    def __init__(self) -> None:
        self._order: list[int] | None = None
        self._a: Array = np.empty((6, 6, CHUNK))
        self._b: Array = np.empty((6, CHUNK))
        self._spare: Array = np.empty((30, CHUNK))

    def solve(self, matrix: Array, right: Array) -> Array:
        """Return x (6, n) with ``matrix`` (6, 6, n) x = ``right`` (6, n); nan where the matrix is singular."""
        out: Array = np.empty_like(right)
        for first in range(0, right.shape[1], CHUNK):
            part = slice(first, min(first + CHUNK, right.shape[1]))
            self._solve(matrix[:, :, part], right[:, part], out[:, part])
        return out

    def _solve(self, matrix: Array, right: Array, out: Array) -> None:
        """Fill ``out`` (6, n) with x of ``matrix`` (6, 6, n) x = ``right`` (6, n)."""
        n = right.shape[1]
        if self._order is None:
            self._order = _order(matrix[:, :, n // 2])
        a, b = self._a[:, :, :n], self._b[:, :n]
        for i, row in enumerate(self._order):
            b[i], a[i] = right[row], matrix[row]
        least = _eliminate(a, b, self._spare[:, :n])
        out[:] = b
        weak = np.flatnonzero(~(least >= SMALLEST_PIVOT))
        if len(weak):
            out[:, weak] = _each(matrix[:, :, weak], right[:, weak])
            self._order = None


def _eliminate(a: Array, b: Array, spare: Array) -> Array:
    """Solve in place: ``b`` (6, n) becomes the answer; return the smallest pivot (n,) of each sample."""
    least: Array = np.abs(a[0, 0])
    with np.errstate(all="ignore"):
        for k in range(6):
            if k:
                np.minimum(least, np.abs(a[k, k]), out=least)
            np.divide(1.0, a[k, k], out=a[k, k])
            m = 5 - k
            if not m:
                break
            factor, product = spare[25 : 25 + m], spare[: m * m].reshape(m, m, -1)
            np.multiply(a[k + 1 :, k], a[k, k], out=factor)
            np.multiply(factor[:, None], a[k, None, k + 1 :], out=product)
            np.subtract(a[k + 1 :, k + 1 :], product, out=a[k + 1 :, k + 1 :])
            np.multiply(factor, b[k], out=factor)
            np.subtract(b[k + 1 :], factor, out=b[k + 1 :])
        for k in range(5, -1, -1):
            np.multiply(b[k], a[k, k], out=b[k])
            if k:
                np.multiply(a[:k, k], b[k], out=spare[:k])
                np.subtract(b[:k], spare[:k], out=b[:k])
    return least


FEWEST = 192
"""Fewer matrices are inverted one by one."""


def inverse_norms(matrix: Array) -> tuple[Array, Array]:
    """Return the norms of Frobenius (n,) of the inverses of ``matrix`` (6, 6, n), inf of singular ones; signs (n,).

    The signs are those of the determinants. All samples at once where they have good pivots, in the order of the one
    in the middle (Gauss and Jordan); the others one by one.
    """
    n = matrix.shape[2]
    norm: Array = np.empty(n)
    sign: Array = np.empty(n)
    if n < FEWEST:
        norm[:], sign[:] = _inverse_norms_each(matrix)
        return norm, sign
    order = _order(matrix[:, :, n // 2])
    turned = round(float(np.linalg.det(np.eye(6)[order])))
    for first in range(0, n, CHUNK):
        part = slice(first, min(first + CHUNK, n))
        a = matrix[order, :, part]
        least, negative = _invert(a)
        norm[part] = np.sqrt(np.einsum("ijn,ijn->n", a, a))
        sign[part] = np.where(negative, -turned, turned)
        weak = first + np.flatnonzero(~(least >= SMALLEST_PIVOT))
        if len(weak):
            norm[weak], sign[weak] = _inverse_norms_each(matrix[:, :, weak])
    return norm, sign


def _invert(a: Array) -> tuple[Array, Flags]:
    """Invert ``a`` (6, 6, n) in place; return the smallest pivot (n,), and whether the determinant is negative."""
    least, negative = np.full(a.shape[2], np.inf), np.zeros(a.shape[2], dtype=np.bool_)
    product = np.empty_like(a)
    with np.errstate(all="ignore"):
        for k in range(6):
            np.minimum(least, np.abs(a[k, k]), out=least)
            negative ^= a[k, k] < 0.0
            pivot, factor = 1.0 / a[k, k], a[:, k].copy()
            factor[k] = 0.0
            a[:, k] = 0.0
            a[k, k] = 1.0
            a[k] *= pivot
            a -= np.multiply(factor[:, None], a[k], out=product)
    return least, negative


def _inverse_norms_each(matrix: Array) -> tuple[Array, Array]:
    """Return the same by LAPACK."""
    rows = matrix.transpose(2, 0, 1)
    det = np.linalg.det(rows)
    flat = det == 0.0
    if flat.any():
        rows = np.where(flat[:, None, None], np.eye(6), rows)
    back = np.linalg.inv(rows)
    return np.where(flat, np.inf, np.sqrt(np.einsum("nij,nij->n", back, back))), np.sign(det)


def _order(matrix: Array) -> list[int]:
    """Return rows in the order of partial pivoting on one ``matrix`` (6, 6)."""
    left = np.nan_to_num(matrix)
    rows: list[int] = []
    for k in range(6):
        size = np.abs(left[:, k])
        size[rows] = -1.0
        row = int(size.argmax())
        rows.append(row)
        if left[row, k] != 0.0:
            left = left - np.outer(left[:, k], left[row]) / left[row, k] * (np.arange(6) != row)[:, None]
    return rows


def _each(matrix: Array, right: Array) -> Array:
    """Return the answers (6, n), each sample with its own pivots; nan where the matrix is singular."""
    out: Array = np.full(right.shape, np.nan)
    for i in range(right.shape[1]):
        if np.isfinite(matrix[:, :, i]).all() and np.linalg.matrix_rank(matrix[:, :, i]) == 6:
            out[:, i] = np.linalg.solve(matrix[:, :, i], right[:, i])
    return out


def compliance(rows: Array, stiffness: Array) -> Array:
    """Return the compliances (n, 6, 6) at the tip: motion [mm, rad] by wrench [N, N mm].

    ``stiffness`` of the struts is (6,), or (n, 1, 6) where it changes with the pose.

    With ``rows`` (n, 6, 6) of the Jacobian, K = J' diag(k) J: joints and bodies other than the struts are rigid. A
    motion x changes lengths by J x, the struts push back with k J x, and by virtual work the wrench is J' times that.
    """
    inverse = np.linalg.inv(rows)
    out: Array = (inverse / stiffness) @ inverse.swapaxes(1, 2)
    return out
