"""Forces along six struts that balance a wrench on the platform, and the compliance that follows."""

import numpy as np

from hexpost.arrays import Array

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
