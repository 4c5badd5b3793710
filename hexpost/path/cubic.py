"""Cubic splines through points, without a knot in the second and the last but one (de Boor 1978, chapter IV).

The numbers are those of ``scipy.interpolate.CubicSpline``, which takes longer to import than a short job to plan.
"""

import numpy as np

from hexpost.arrays import Array
from hexpost.lapack import dgesv, dgtsv


class Cubic:
    """The spline through places ``y`` (d, n) at rising parameters ``x`` (n,), two at least."""

    def __init__(self, x: Array, y: Array) -> None:
        h = np.diff(x)
        slope = np.diff(y, axis=1) / h
        rate = _rates(h, x, slope)
        bend = (rate[:, :-1] + rate[:, 1:] - 2 * slope) / h
        self._x = x
        self._c = np.stack([y[:, :-1], rate[:, :-1], (slope - rate[:, :-1]) / h - bend, bend / h])

    def __call__(self, t: Array, *orders: int) -> list[Array]:
        """Return derivatives of ``orders`` 0, 1 or 2 at parameters ``t`` (m,), each of shape (d, m)."""
        k = np.clip(np.searchsorted(self._x, t, "right") - 1, 0, len(self._x) - 2)
        s, (c0, c1, c2, c3) = t - self._x[k], self._c[:, :, k]
        square = s * s
        of = (
            lambda: c0 + c1 * s + c2 * square + c3 * (square * s),
            lambda: c1 + c2 * s * 2.0 + c3 * square * 3.0,
            lambda: c2 * 2.0 + c3 * s * 6.0,
        )
        return [of[order]() for order in orders]


def _rates(h: Array, x: Array, slope: Array) -> Array:
    """Return the first derivatives (d, n) at the points; ``slope`` (d, n - 1) of the chords over ``h`` (n - 1,)."""
    n = len(x)
    if n == 2:
        return np.concatenate([slope, slope], axis=1)
    lower, middle, upper, right = np.empty(n - 1), np.empty(n), np.empty(n - 1), np.empty((len(slope), n))
    middle[1:-1], upper[1:], lower[:-1] = 2 * (h[:-1] + h[1:]), h[:-1], h[1:]
    right[:, 1:-1] = 3 * (h[1:] * slope[:, :-1] + h[:-1] * slope[:, 1:])
    if n == 3:  # both conditions are one: the parabola
        middle[[0, -1]] = upper[0] = lower[-1] = 1.0
        right[:, [0, -1]] = 2 * slope
        whole = np.diag(lower, -1) + np.diag(middle) + np.diag(upper, 1)
        parabola: Array = dgesv(whole, right.T)[2].T
        return parabola
    first, last = x[2] - x[0], x[-1] - x[-3]
    middle[0], upper[0], middle[-1], lower[-1] = h[1], first, h[-2], last
    right[:, 0] = ((h[0] + 2 * first) * h[1] * slope[:, 0] + h[0] * h[0] * slope[:, 1]) / first
    right[:, -1] = (h[-1] * h[-1] * slope[:, -2] + (2 * last + h[-1]) * h[-2] * slope[:, -1]) / last
    out: Array = dgtsv(lower, middle, upper, right.T)[3].T
    return out
