"""Taylor coefficients f(k) / k! of products, sines, rotations and square roots of functions of time.

Arrays have one row of samples per coefficient and component: shape (orders, ..., n). Recursions after R. D. Neidinger,
SIAM Review 52 (2010) 545-563 (from memory).
"""

import numpy as np

from hexpost.arrays import Array


def sines(x: Array, out: Array) -> None:
    """Fill ``out`` (orders, 2, m, n) with the series of sin and cos of ``x`` (orders, m, n)."""
    np.sin(x[0], out=out[0, 0])
    np.cos(x[0], out=out[0, 1])
    for k in range(1, len(x)):
        np.multiply(x[k], out[0, 1], out=out[k, 0])
        np.multiply(x[k], out[0, 0], out=out[k, 1])
        for i in range(1, k):
            part = x[i] * (i / k)
            out[k, 0] += part * out[k - i, 1]
            out[k, 1] += part * out[k - i, 0]
        np.negative(out[k, 1], out=out[k, 1])


def rotations(trig: Array, out: Array) -> None:
    """Fill ``out`` (orders, 3, 3, n) with the series of Rz(c) Ry(b) Rx(a), or of Ry(b) Rx(a).

    ``trig`` (orders, 2, 3, n) holds sin and cos of a, b and c; (orders, 2, 2, n) those of a and b.
    """
    orders, _, angles, n = trig.shape
    out[:, 0, 0], out[:, 2, 0] = trig[:, 1, 1], -trig[:, 0, 1]
    out[:, 1, 0] = 0.0
    out[:, 1, 1], out[:, 1, 2] = trig[:, 1, 0], -trig[:, 0, 0]
    for k in range(orders):
        np.einsum("kin,kjn->ijn", trig[: k + 1, :, 1], trig[k::-1, :, 0], out=out[k, ::2, 1:])
    if angles == 3:
        tilted = out[:, :2].copy()
        turned: Array = np.empty((orders, 2, 2, n))
        turned[:, 0, 0] = turned[:, 1, 1] = trig[:, 1, 2]
        turned[:, 1, 0], turned[:, 0, 1] = trig[:, 0, 2], -trig[:, 0, 2]
        for k in range(orders):
            np.einsum("kimn,kmjn->ijn", turned[: k + 1], tilted[k::-1], out=out[k, :2])


def squares(p: Array, out: Array) -> None:
    """Fill ``out`` (orders, n) with the series of the squared norm of ``p`` (orders, 3, n)."""
    for k in range(len(p)):
        np.einsum("kin,kin->n", p[: k + 1], p[k::-1], out=out[k])


def turned_back(p: Array, r: Array, out: Array) -> None:
    """Fill ``out`` (orders, 3, n) with the series of R'p, ``p`` (orders, 3, n) and ``r`` (orders, 3, 3, n)."""
    for k in range(len(p)):
        np.einsum("kin,kijn->jn", p[: k + 1], r[k::-1], out=out[k])


def roots(g: Array, out: Array) -> None:
    """Fill ``out`` (orders, m, n) with the series of the square root of ``g`` (orders, m, n), which is spent."""
    np.sqrt(g[0], out=out[0])
    half = np.divide(0.5, out[0], out=g[0])
    for k in range(1, len(g)):
        rest = g[k]
        for i in range(1, k):
            rest -= out[i] * out[k - i]
        np.multiply(rest, half, out=out[k])
