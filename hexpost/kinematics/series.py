"""Taylor coefficients f(k) / k! of sines, products and square roots of functions of time.

Arrays have one row of samples per coefficient and component: shape (orders, ..., n). The series of a product is a
convolution. So sin' = x' cos gives k s_k = sum of i x_i c_(k-i) for i = 1 to k (cosines likewise, with a minus), and
l l = g gives 2 l_0 l_k = g_k - sum of l_i l_(k-i) for i = 1 to k - 1. What is filled again and again keeps its views
of the work array.
"""

from collections.abc import Sequence
from math import comb

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from hexpost.arrays import Array

UPRIGHT = 1.1
"""Up to this angle the cosine is the root of 1 - sin2: as exact to rounding as the function, and faster."""


class Convolution:
    """The series of a sum of products of series, written as an Einstein sum over k (order) and other letters."""

    def __init__(self, sum_: str, f: Array, g: Array, out: Array) -> None:
        self._sum = sum_
        self._steps = [(f[: k + 1], g[k::-1], out[k]) for k in range(len(f))]

    def fill(self) -> None:
        """Fill the output, (orders, ..., n)."""
        for f, g, out in self._steps:
            np.einsum(self._sum, f, g, out=out)


def products(f: Array, g: Array, out: Array) -> Convolution:
    """Return what fills ``out`` (orders, i, j, n) with f_i g_j; ``f`` (orders, i, n), ``g`` (orders, j, n)."""
    return Convolution("kin,kjn->ijn", f, g, out)


def square(p: Array, out: Array) -> Convolution:
    """Return what fills ``out`` (orders, n) with the squared norm of ``p`` (orders, 3, n)."""
    return Convolution("kin,kin->n", p, p, out)


def turn(trig: Array, triple: Array, out: Array) -> Convolution:
    """Return what fills ``out`` (orders, ..., 2, n) with (c u - s v, s u + c v): a turn in a plane.

    ``trig`` (orders, 2, n) holds s and c, ``triple`` (orders, ..., 3, n) holds -v, u, v.
    """
    pairs = sliding_window_view(triple, 2, axis=-2)
    return Convolution("kin,k...ni->...n", trig, pairs, out)


def sines_of(angle: Array, sine: Array, cosine: Array) -> None:
    """Fill ``sine`` and ``cosine`` with those of ``angle``, all of one shape."""
    np.sin(angle, out=sine)
    if angle.max() < UPRIGHT and angle.min() > -UPRIGHT:
        np.multiply(sine, sine, out=cosine)
        np.subtract(1.0, cosine, out=cosine)
        np.sqrt(cosine, out=cosine)
    else:
        np.cos(angle, out=cosine)


class Sines:
    """The series of sin and cos of angles (m, n): fills ``trig`` (orders, 2, m, n)."""

    def __init__(self, trig: Array) -> None:
        self._sine = list(trig[:, 0])
        self._cosine = list(trig[:, 1])
        self._weighted: list[Array] = [np.empty((k, *trig.shape[2:])) for k in range(len(trig))]
        self._back = [(trig[k - 1 :: -1, 0] if k else trig[:0, 0], trig[k - 1 :: -1, 1]) for k in range(len(trig))]

    def fill(self, x: Sequence[Array], factors: Sequence[float]) -> None:
        """Fill the series for angles and their derivatives ``x``, each (m, n), over ``factors``: k! makes series."""
        sine, cosine = self._sine[0], self._cosine[0]
        sines_of(x[0], sine, cosine)
        for k in range(1, len(x)):
            weighted = self._weighted[k]
            for i in range(1, k + 1):
                np.multiply(x[i], i / (k * factors[i]), out=weighted[i - 1])
            np.einsum("kmn,kmn->mn", weighted, self._back[k][1], out=self._sine[k])
            np.einsum("kmn,kmn->mn", weighted, self._back[k][0], out=self._cosine[k])
            np.negative(self._cosine[k], out=self._cosine[k])


def roots(g: Array, out: Array, weights: Sequence[Sequence[float]]) -> None:
    """Fill ``out`` (orders, m, n) with the series of a square root; ``g`` (orders, m, n) is spent.

    ``g`` holds the series of the square, halved but for the first. ``weights[k][i]`` are those of the products
    l_i l_(k-i): see ``root_weights``.
    """
    np.sqrt(g[0], out=out[0])
    inverse = np.divide(1.0, out[0], out=g[0])
    for k in range(1, len(g)):
        for i in range(1, k):
            room = np.multiply(out[i], out[k - i], out=out[k])
            if weights[k][i] != 1.0:
                room *= weights[k][i]
            g[k] -= room
        np.multiply(g[k], inverse, out=out[k])


def root_weights(orders: int, *, derivatives: bool) -> list[list[float]]:
    """Return the weights of ``roots``: 1/2, or binomials C(k, i) / 2 where the rows are derivatives."""
    return [[0.5 * (comb(k, i) if derivatives else 1) for i in range(k)] for k in range(orders)]
