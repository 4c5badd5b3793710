"""Smooth curves through the means of a dense chain, as stiff at every place as the tolerance allows there.

Minimised is sum w |q - y|^2 + sum l^6 |third divided difference|^2 h (Reinsch 1967, Smoothing by spline functions;
Eilers 2003, A perfect smoother): waves much shorter than 2 pi l vanish. What a fit took away is fitted, too, and
given back ("twicing", Tukey 1977, Exploratory Data Analysis, chapter 16), so that arcs of a circle are kept.
"""

from collections.abc import Callable

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.lapack import dpbtrf, dpbtrs
from hexpost.path.cells import Nodes

LONGEST = 1.5
"""Smoothing length where nothing speaks against it, mm."""
LADDER = 1.5 ** -np.arange(13.0)
"""Shares of it that are tried."""
CONDITION = 15.0
"""Smoothing length in stencils at most: the condition of the equations goes with its sixth power."""
SLOPE = 0.12
"""Steepest change of the smoothing length per mm."""
TOGETHER = 8192
"""Rungs of the ladder are tried together while they have no more nodes than this."""
PIN = 1e6
SURE, TINY = 0.99, 1e-300
"""Share of a bound that leaves room for rounding; keeps divisions in range."""
ROUNDS = 6

Solve = Callable[[Array], Array]


def cone(s: Array, most: Array, slope: float) -> Array:
    """Return the largest function below ``most`` (n,) that changes by at most ``slope`` along ``s``."""
    a = np.minimum.accumulate(most - slope * s) + slope * s
    b = np.minimum.accumulate((most + slope * s)[::-1])[::-1] - slope * s
    out: Array = np.minimum(a, b)
    return out


def sizes(d: Array, tips: int) -> Array:
    """Return the larger of the norms of tip (the first ``tips`` rows) and of scaled tilt (the others), shape (n,)."""
    out: Array = np.sqrt(np.maximum((d[:tips] ** 2).sum(0), (d[tips:] ** 2).sum(0)))
    return out


def fitted(nodes: Nodes, most: float, tips: int) -> Array:
    """Return the places (d, m) of ``nodes`` on smooth curves between fixed ones, displaced by about ``most`` or less.

    The smoothing length at each place is the longest of a ladder with which, and with all shorter ones, the fit stays
    within ``most``; it changes gently.
    """
    s, y = nodes.s, nodes.place
    solve, sure = _fitter(s, y, nodes.fixed, tips)
    steps, some = LONGEST * LADDER[::-1], max(1, TOGETHER // len(s))
    known = int((steps <= sure * np.cbrt(most)).sum())
    length = np.full(len(s), steps[known - 1] if known else steps[0] / 1.5)
    for tried in (steps[k : k + some] for k in range(known, len(steps), some)):
        for step, fit in zip(tried, solve(np.repeat(tried[:, None], len(s), axis=1)), strict=True):
            good = (sizes(fit - y, tips) <= most) & (length >= step / 1.51)
            length = np.where(good, step, length)
    for _ in range(ROUNDS):
        length = cone(s, length, SLOPE)
        q: Array = solve(length[None])[0]
        use = sizes(q - y, tips) / most
        if use.max() <= 1.0:
            break
        length = np.where(use > 1.0, length * np.maximum(0.5, 0.9 / np.sqrt(np.maximum(use, 1.0))), length)
    return q


def _fitter(s: Array, y: Array, fixed: Flags, tips: int) -> tuple[Solve, float]:
    """Return fits (m, d, n) as a function of smoothing lengths (m, n); no stencil goes across a fixed node.

    The equations of all are one band: the bands do not touch. And a length that, times the cube root of a distance,
    is so short that no place is displaced by more than that. What a fit takes away, squared and weighted, is not more
    than what is minimised is of the points themselves (there the first sum is nothing); twicing makes it no more.
    """
    n, coef = len(s), _third_differences(s)
    i = np.arange(n - 3)
    live = ~(fixed[1 : n - 2] | fixed[2 : n - 1])
    quad = np.where(live, (s[i + 3] - s[i]) / 3.0, 0.0)
    w = np.zeros(n)
    gap = 0.5 * np.diff(s)
    w[1:] += gap
    w[:-1] += gap
    pinned = np.where(fixed, PIN * np.maximum(w, w.mean()), w)
    middle, most = 0.5 * (s[i] + s[i + 3]), CONDITION * (s[i + 3] - s[i])

    def solve(length: Array) -> Array:
        fits = len(length)
        weight = np.stack([np.minimum(np.interp(middle, s, row), most) ** 6 * quad for row in length])
        band = np.zeros((4, fits, n))
        for k in range(4):
            for m in range(k, 4):
                band[3 - (m - k), :, m : m + n - 3] += coef[k] * coef[m] * weight
        band[3] += pinned
        factor = _done(dpbtrf(band.reshape(4, -1), overwrite_ab=True))
        r = np.repeat(y[:, None], fits, axis=1)
        for _ in range(2):
            third = sum(coef[k] * r[:, :, k : k + n - 3] for k in range(4)) * weight
            out = np.zeros_like(r)
            for k in range(4):
                out[:, :, k : k + n - 3] -= coef[k] * third
            r = _done(dpbtrs(factor, out.reshape(len(y), -1).T, overwrite_b=True)).T.reshape(r.shape)
        q = y[:, None] - r
        q[:, :, fixed] = y[:, None, fixed]
        return q.swapaxes(0, 1)

    energy = (quad * sum(coef[k] * y[:, k : k + n - 3] for k in range(4)) ** 2).sum(axis=1)
    sure = SURE * (w.min() / max(energy[:tips].sum(), energy[tips:].sum(), TINY)) ** (1 / 6)
    return solve, float(sure)


def _third_differences(s: Array) -> list[Array]:
    """Return the weights (n - 3,) of four points in a row in the third divided difference, six times it."""
    i, out = np.arange(len(s) - 3), []
    for k in range(4):
        d = np.ones(len(i))
        for m in range(4):
            if m != k:
                d *= s[i + k] - s[i + m]
        out.append(6.0 / d)
    return out


def _done(answer: tuple[Array, int]) -> Array:
    """Return what LAPACK found.

    Raises
    ------
    LinAlgError
        The matrix is not positive definite.
    """
    found, info = answer
    if info:
        raise np.linalg.LinAlgError(f"the equations of a fit are singular at node {info}")
    return found
