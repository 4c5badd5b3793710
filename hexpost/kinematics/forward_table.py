"""Forward kinematics along a table: each pose is found from the one before, a short block of samples at a time."""

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.kinematics.forward import Forward, forward
from hexpost.kinematics.frames import axes, turn
from hexpost.kinematics.links import Links, links
from hexpost.kinematics.statics import Balance, wrenches
from hexpost.kinematics.struts import Struts

BLOCK = 2048
"""Samples found at a time from the last pose before them: two seconds at 1 ms."""

STRIDE = 32
"""Every so many samples a pose is found from afar."""

SHORTEST = 64
"""Blocks of so many samples are cut no further."""

MOST_ROUNDS = 12
LARGEST_TURN = 0.5
"""An angle changes by no more than this in a round, rad."""

CLOSE = 3e-8
"""A step below this, relative to the size of the machine, is the last: the next one would be its square."""

WILD = 100.0
"""A pose may change so many times as fast as the lengths do; faster is a jump to another assembly mode."""


def forward_along(struts: Struts, lengths: Array, guess: Array) -> Forward:
    """Return the poses (6, n) of consecutive ``lengths`` (6, n); the first is sought from ``guess`` (6,).

    Newton's method in x y z a b c over a block of samples at once; a block in which a pose does not converge, or
    jumps, is cut into quarters, and in the end sought sample by sample. Where that fails, too, the pose is nan and
    the search goes on from the last pose that was found.
    """
    n = lengths.shape[1]
    out: Array = np.empty((6, n))
    converged: Flags = np.zeros(n, dtype=np.bool_)
    size = float(np.abs(struts.base).max() + np.abs(struts.platform).max())
    last, rounds = guess.astype(np.float64), 0
    balance = Balance()
    left = [(first, min(first + BLOCK, n)) for first in range(0, n, BLOCK)][::-1]
    while left:
        first, stop = left.pop()
        part = slice(first, stop)
        found, good, taken = _block(struts, lengths[:, part], last, size, balance)
        rounds = max(rounds, taken)
        if not good or _jumps(found, last if first else found[:, 0], lengths[:, max(first - 1, 0) : stop], size):
            if stop - first > SHORTEST:
                quarter = -(-(stop - first) // 4)
                left += [(i, min(i + quarter, stop)) for i in range(first, stop, quarter)][::-1]
                continue
            found = _one_by_one(struts, lengths[:, part], last)
        out[:, part] = found
        converged[part] = np.isfinite(found[0])
        seen = np.flatnonzero(converged[part])
        last = found[:, seen[-1]] if len(seen) else last
    return Forward(pose=out, converged=converged, rounds=rounds)


def _block(struts: Struts, lengths: Array, last: Array, size: float, balance: Balance) -> tuple[Array, bool, int]:
    """Return poses (6, n), whether all converged, and the rounds that were taken.

    Every 32nd pose is found from ``last`` (6,); a spline through them is near enough to all for a round or two.
    """
    from scipy.interpolate import CubicSpline

    n = lengths.shape[1]
    knots = np.append(np.arange(0, n - 1, STRIDE), n - 1)
    found, good, rounds = _newton(
        struts, lengths[:, knots], np.repeat(last[:, None], len(knots), axis=1), size, balance
    )
    if not good or len(knots) < 3:
        return *_newton(struts, lengths, np.repeat(last[:, None], n, axis=1), size, balance)[:2], rounds
    if _jumps(found, last, lengths[:, knots], size):
        return np.repeat(found[:, :1], n, axis=1), False, rounds
    guess = CubicSpline(knots, found, axis=1)(np.arange(n))
    found, good, _ = _newton(struts, lengths, guess, size, balance)
    return found, good, rounds


def _newton(struts: Struts, lengths: Array, guess: Array, size: float, balance: Balance) -> tuple[Array, bool, int]:
    """Return poses (6, n) found from ``guess`` (6, n), whether all converged, and the rounds that were taken."""
    q = guess
    with np.errstate(all="ignore"):
        for k in range(MOST_ROUNDS):
            at = links(struts, q)
            step = balance.solve(_by_coordinates(at, q, struts.order, size).swapaxes(0, 1), lengths - at.length)
            step[3:] *= 1.0 / size
            if (turned := float(np.abs(step[3:]).max())) > LARGEST_TURN:
                step *= np.minimum(1.0, LARGEST_TURN / np.abs(step[3:]).max(axis=0))
            q += step
            moved = max(float(np.abs(step[:3]).max()), size * turned)
            if moved < CLOSE * size:
                return q, True, k + 1
            if not np.isfinite(moved):
                break
    return q, False, k + 1


def _by_coordinates(at: Links, q: Array, order: str, size: float) -> Array:
    """Return the derivatives (6, 6, n) of the lengths: coordinate x y z a b c (angles times ``size``), strut."""
    out = wrenches(at.direction, at.arms, size)
    first, second, third = axes(order)
    moments = out[3:].copy()
    last = turn(third, q[3 + third])  # (3, 3, n)
    middle = turn(second, q[3 + second])
    carried = np.einsum("ijn,jn->in", last, middle[:, first])
    out[3 + third] = moments[third]
    for row, axis in ((3 + second, last[:, second]), (3 + first, carried)):
        np.multiply(moments[0], axis[0], out=out[row])
        for i in (1, 2):
            out[row] += moments[i] * axis[i]
    return out


def _jumps(found: Array, before: Array, lengths: Array, size: float) -> bool:
    """Return whether a pose changes wildly against its neighbour; ``lengths`` (6, n) with the one before, if any."""
    joined = np.concatenate([before[:, None], found], axis=1) if lengths.shape[1] > found.shape[1] else found
    moved = np.abs(np.diff(joined, axis=1))
    moved[3:] *= size
    told = np.abs(np.diff(lengths, axis=1)).max(axis=0, initial=0.0)
    return bool((moved.max(axis=0, initial=0.0) > WILD * told + 1e-6 * size).any())


def _one_by_one(struts: Struts, lengths: Array, last: Array) -> Array:
    """Return poses (6, n), each sought from the one before; nan where there is none."""
    out: Array = np.full(lengths.shape, np.nan)
    for i in range(lengths.shape[1]):
        found = forward(struts, lengths[:, i : i + 1], last[:, None])
        if found.converged[0]:
            last = found.pose[:, 0]
            out[:, i] = last
    return out
