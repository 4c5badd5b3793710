"""Taylor coefficients f(k) / k! of sines, products and square roots of functions of time.

Arrays have one row of samples per coefficient and component: shape (orders, ..., n). Recursions after R. D. Neidinger,
SIAM Review 52 (2010) 545-563 (from memory).
"""

from collections.abc import Sequence
from math import comb

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from hexpost.arrays import Array

UPRIGHT = 1.1
"""Up to this angle the cosine is the root of 1 - sin2: as exact to rounding as the function, and faster."""


def sines(x: Sequence[Array], out: Array) -> None:
    """Fill ``out`` (orders, 2, m, n) with the series of sin and cos of angles whose series is ``x``, each (m, n)."""
    sine, cosine = out[:, 0], out[:, 1]
    np.sin(x[0], out=sine[0])
    if x[0].max() < UPRIGHT and x[0].min() > -UPRIGHT:
        np.multiply(sine[0], sine[0], out=cosine[0])
        np.subtract(1.0, cosine[0], out=cosine[0])
        np.sqrt(cosine[0], out=cosine[0])
    else:
        np.cos(x[0], out=cosine[0])
    for k in range(1, len(x)):
        np.multiply(x[k], cosine[0], out=sine[k])
        np.multiply(x[k], sine[0], out=cosine[k])
        for i in range(1, k):
            part = x[i] * (i / k)
            sine[k] += part * cosine[k - i]
            cosine[k] += part * sine[k - i]
        np.negative(cosine[k], out=cosine[k])


def products(f: Array, g: Array, out: Array) -> None:
    """Fill ``out`` (orders, i, j, n) with the series of f_i g_j; ``f`` (orders, i, n), ``g`` (orders, j, n)."""
    for k in range(len(f)):
        np.einsum("kin,kjn->ijn", f[: k + 1], g[k::-1], out=out[k])


def squares(p: Array, out: Array) -> None:
    """Fill ``out`` (orders, n) with the series of the squared norm of ``p`` (orders, 3, n)."""
    for k in range(len(p)):
        np.einsum("kin,kin->n", p[: k + 1], p[k::-1], out=out[k])


def turned(trig: Array, triple: Array, out: Array) -> None:
    """Fill ``out`` (orders, ..., 2, n) with the series of (c u - s v, s u + c v): a turn in a plane.

    ``trig`` (orders, 2, n) holds s and c, ``triple`` (orders, ..., 3, n) holds -v, u, v.
    """
    pairs = sliding_window_view(triple, 2, axis=-2)
    for k in range(len(trig)):
        np.einsum("kin,k...ni->...n", trig[: k + 1], pairs[k::-1], out=out[k])


def roots(g: Array, out: Array, weights: Sequence[Sequence[float]]) -> None:
    """Fill ``out`` (orders, m, n) with the series of a square root; ``g`` (orders, m, n) is spent.

    ``g`` holds the series of the square, halved but for the first. ``weights[k][i]`` are those of the products
    l_i l_(k-i): see ``root_weights``.
    """
    np.sqrt(g[0], out=out[0])
    inverse = np.divide(1.0, out[0], out=g[0])
    for k in range(1, len(g)):
        for i in range(1, k):
            product = out[i] * out[k - i]
            if weights[k][i] != 1.0:
                product *= weights[k][i]
            g[k] -= product
        np.multiply(g[k], inverse, out=out[k])


def root_weights(orders: int, *, derivatives: bool) -> list[list[float]]:
    """Return the weights of ``roots``: 1/2, or binomials C(k, i) / 2 where the rows are derivatives."""
    return [[0.5 * (comb(k, i) if derivatives else 1) for i in range(k)] for k in range(orders)]
