"""Running minima: the speed that separable bounds allow, caps held over a window, and factors spread over ranges."""

from itertools import pairwise

import numpy as np

from hexpost.arrays import Array, Ints, distinct

TOGETHER = 65536
"""Stretches whose running sums are taken together: longer sums would lose digits."""
BLOCK = 32768
"""Stretches whose ranges are looked up together."""
ERODE_ROUNDS = 2
"""The first round travels at full speed and is far too careful, the second is right, a third changes nothing."""


def speeds(
    size: Array, first: Ints, cap: Array, up: Array, down: Array, *, start: float = 0.0, edge: Array | None = None
) -> Array:
    """Return the largest speed squared at the edges of stretches, shape (n + 1,), at rest at the ends of spans.

    ``start``: the speed squared at the very first edge; less stands there where the tool cannot brake in time.
    ``edge`` (n + 1,): bounds at the edges alone.

    ``size`` D, ``cap`` of the speed squared, largest acceleration ``up`` and deceleration ``down``, shape (n,) and
    constant in a stretch; ``first`` (spans + 1,): first stretch of each span. With x the speed squared, dx/ds lies
    in [-2 down, 2 up], so x + c falls to the left and x - c to the right of every bound, c = cumsum(2 u D): two
    running minima solve all spans at once (J. E. Bobrow, S. Dubowsky, J. S. Gibson, Int. J. Robotics Research 4(3)
    1985, gives the two passes; the minima are their closed form for bounds that do not depend on the speed).
    """
    x = np.zeros(len(size) + 1)
    np.minimum(cap[1:], cap[:-1], out=x[1:-1])
    if edge is not None:
        np.minimum(x, edge, out=x)
    x[first] = 0.0
    x[0] = start
    at = np.searchsorted(first, np.arange(0, len(size) + TOGETHER, TOGETHER))
    for a, b in pairwise(distinct(np.minimum(at, len(first) - 1))):
        lo, hi = first[a], first[b]
        x[lo : hi + 1] = _solved(size[lo:hi], first[a : b + 1] - lo, x[lo : hi + 1], up[lo:hi], down[lo:hi])
    x[first[1:]] = 0.0
    return x


def _solved(size: Array, first: Ints, bound: Array, up: Array, down: Array) -> Array:
    """Return the edge values of consecutive whole spans under bounds at their edges, which are used up.

    Each span is counted in its own largest bound, and a fall, or a rise, of more than the bound at its higher end as
    one of that bound, which changes no minimum: else a fast span would take the digits of a slow one behind it.
    """
    most = np.maximum.reduceat(bound[:-1], first[:-1])
    unit = np.repeat(np.where(most > 0.0, most, 1.0), np.diff(first))
    bound[:-1] /= unit
    fall, rise = np.zeros((2, len(size) + 1))
    for total, slope, high in ((fall, down, bound[:-1]), (rise, up, bound[1:])):
        change = np.divide(size, unit, out=total[1:])
        change *= slope
        change *= 2.0
        np.minimum(change, high, out=change)
        np.cumsum(change, out=change)
    x: Array = bound + fall
    np.minimum.accumulate(x[::-1], out=x[::-1])
    fall += rise
    x -= fall
    np.minimum.accumulate(x, out=x)
    x += rise
    x[:-1] *= unit
    return np.maximum(x, 0.0, out=x)


def range_min(x: Array, lo: Ints, hi: Ints) -> Array:
    """Return min x[lo..hi], both included, for each of the ranges, by doubling; one level is kept in memory."""
    out: Array = x[lo]
    level = np.frexp((hi - lo + 1).astype(np.float64))[1] - 1
    now, step = x, 1
    for k in range(1, int(level.max(initial=0)) + 1):
        now = np.minimum(now[:-step], now[step:])
        step *= 2
        here = np.flatnonzero(level == k)
        out[here] = np.minimum(now[lo[here]], now[hi[here] - step + 1])
    return out


def spread_min(value: Array, lo: Ints, hi: Ints, n: int) -> Array:
    """Return for each of n places the least value of the ranges lo..hi that hold it, and 1 where none does."""
    level = np.frexp((hi - lo + 1).astype(np.float64))[1] - 1
    most = int(level.max(initial=0))
    out = np.ones(n)
    for k in range(most, -1, -1):
        here = np.flatnonzero(level == k)
        np.minimum.at(out, lo[here], value[here])
        np.minimum.at(out, hi[here] - (1 << k) + 1, value[here])
        if k:  # a place of this level covers 2^k places: hand it to the two halves
            half = 1 << (k - 1)
            lower = out.copy()
            np.minimum(lower[half:], out[:-half], out=lower[half:])
            out = lower
    return out


def erode(size: Array, span: Ints, first: Ints, cap: Array, window: Array) -> Array:
    """Return caps, shape (n,), that hold over the whole window about each point.

    ``window`` (spans,) in s. Half of it is measured to both sides in the time that travel at the cap takes.
    """
    out, time = cap, np.zeros(len(size) + 1)
    half = 0.5 * window * (1 - 1e-9)
    for _ in range(ERODE_ROUNDS):
        np.divide(size, np.sqrt(out), out=time[1:])
        np.cumsum(time, out=time)
        out = np.empty_like(cap)
        for a in range(0, len(size), BLOCK):
            b = min(a + BLOCK, len(size))
            own = span[a:b]
            lo = np.maximum(np.searchsorted(time[1:], time[a:b] - half[own], "right"), first[own])
            hi = np.minimum(np.searchsorted(time[:-1], time[a + 1 : b + 1] + half[own], "left"), first[own + 1]) - 1
            np.minimum(lo, hi, out=lo)
            begin = int(lo.min())
            out[a:b] = range_min(cap[begin : int(hi.max()) + 1], lo - begin, hi - begin)
    return out
