"""Where six lengths put the platform: found row by row, each certified, most of them without iteration.

Every 32 rows a knot is solved by Newton's method. Between knots the coordinates are interpolated as a function of the
lengths (not of time: jerk and rounding do no harm): a cubic Hermite along the chord, the inverse of the derivatives
across it. One step follows, from the residual of the plain equation. What it leaves is bounded by the residual r, the
change d of the derivatives over the interval and the second derivatives: r (d2 + bend r). Where that is above
``FIT``, further steps; every so many rows the residual is taken again, which puts the bound to the test.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.verify.struts import StrutLengths

KNOT = 32
"""Rows from knot to knot."""
_COARSE = 16
"""Knots from one that is found from the one before it to the next; those between start from interpolation."""
FIT = 1e-9
"""Residual of a length, mm, with which a pose counts as found."""
_CLOSE = 1e-6
"""Newton's step from such a residual leaves its square times the second derivatives."""
_SAMPLE = 16
_NUDGE = 0.05
"""A joint is moved by so many mm to see how lengths change."""
_REFINED, _SURE, EXACT = 5, 1e-6, 1e-9
"""Rounds of that, and the share of the speeds that may be left before the last."""
_COARSE_CHANGE = 1.5e-2
"""Relative change of derivatives over an interval, above which interpolating them is too coarse for rates."""
_ROUNDS = 25
_TURN = 0.3
"""A step of Newton's method turns by at most so many rad."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundPoses:
    """Coordinates ``q`` (6, n) of rows; ``found`` (n,); ``gains`` of length errors (6, n): what 1 mm may do to each."""

    q: Array
    found: Flags
    gains: Array
    pair: Array
    share: Array
    change: Array
    struts: StrutLengths

    def mapped(self, values: Array) -> Array:
        """Return what the inverse of the derivatives, interpolated between knots, makes of values (6, n) of struts."""
        n = values.shape[1]
        return _through(self.pair, self.share, _padded(values, self.share.shape[0] * KNOT))[:, :n]

    def rates(self, speeds: Array, *, exact: bool = False) -> Array:
        """Return the rates (6, n) of q that belong to speeds (6, n) of the struts, to some 1e-6 of themselves.

        Where an interval is bent sharply, as at a corner, to some 1e-4, unless ``exact``.
        """
        out = self.mapped(speeds)
        some = np.flatnonzero((self.change > _COARSE_CHANGE) | exact)
        if len(some):
            self.refine(out, speeds, some, sure=_SURE if not exact else EXACT)
        return out

    def refine(self, rates: Array, speeds: Array, some: Ints, sure: float = _SURE) -> None:
        """Make ``rates`` (6, n) exact in intervals ``some`` (m,).

        What the rates leave of the speeds is mapped again: how lengths change along them is had from lengths a little
        before and after.
        """
        at = np.minimum((some[:, None] * KNOT + np.arange(KNOT)).ravel(), rates.shape[1] - 1)
        q, rate, wanted = self.q[:, at], rates[:, at], speeds[:, at]
        enough = sure * float(np.abs(wanted).max())
        for _ in range(_REFINED):
            size = np.abs(rate[:3]).max(axis=0) + self.struts.lever * np.abs(rate[3:]).max(axis=0)
            size = np.maximum(size, 1e-3) / _NUDGE
            ahead, behind = self.struts.lengths(q + rate / size), self.struts.lengths(q - rate / size)
            left = wanted - (ahead - behind) * (0.5 * size)
            rate = rate + _through(self.pair[some], self.share[some], left)
            if not np.abs(left).max() > enough:
                break
        rates[:, at] = rate


def newton(struts: StrutLengths, lengths: Array, guess: Array) -> tuple[Array, Array, Flags]:
    """Return q (6, n) of lengths (6, n), each from its guess, the inverse derivatives (n, 6, 6), and which were found.

    The derivatives are those of one step before.
    """
    q = guess.copy()
    inverse = np.zeros((q.shape[1], 6, 6))
    open_ = np.arange(q.shape[1])
    found = np.zeros(len(open_), dtype=bool)
    for _ in range(_ROUNDS):
        have, slopes = struts.slopes(q[:, open_])
        rest = lengths[:, open_] - have
        try:
            inverse[open_] = np.linalg.inv(slopes)
        except np.linalg.LinAlgError:
            break
        step = np.einsum("nij,jn->in", inverse[open_], rest)
        step *= _TURN / np.maximum(np.abs(step[3:]).max(axis=0), _TURN)
        q[:, open_] += step
        done = (np.abs(rest).max(axis=0) < _CLOSE) & np.isfinite(step).all(axis=0)
        found[open_[done]] = True
        open_ = open_[~done]
        if not len(open_):
            break
    return q, inverse, found


class Tracker:
    """Follows the coordinates of one frame along rows, from a guess of the first."""

    def __init__(self, struts: StrutLengths, lengths: Array, guess: Array) -> None:
        self.struts = struts
        self._length = lengths[:, None].copy()
        self._q, self._inverse, found = newton(struts, self._length, guess[:, None])
        self.lost = not found.all()
        self._slopes = struts.slopes(self._q)[1]
        self._rows = 0

    def follow(self, lengths: Array) -> FoundPoses:
        """Return the poses of the next rows (6, n)."""
        n = lengths.shape[1]
        m = -(-n // KNOT)
        every = _padded(lengths, m * KNOT)
        knots = np.concatenate([self._length, every[:, KNOT - 1 :: KNOT]], axis=1)
        qk, gk, jk, sure = self._knots(knots)
        q, pair, share = _between(knots, qk, gk, every, KNOT)
        rest = every - self.struts.lengths(q)
        size = np.abs(rest).max(axis=0)
        q += _through(pair, share, rest)
        turned = np.abs(jk[:-1] @ gk[1:] - np.eye(6)).sum(axis=2).max(axis=1) ** 2
        left, found = self._certified(q, every, size, gk, turned)
        found &= np.repeat(sure[1:] & sure[:-1], KNOT)
        if not found.all():
            self._further(q, every, (pair, share, qk), left, found)
        ends = np.abs(gk).sum(axis=2)
        gains = np.repeat(np.maximum(ends[1:], ends[:-1]), KNOT, axis=0)[:n].T
        self._length, self._q, self._inverse, self._slopes = knots[:, -1:], qk[:, -1:], gk[-1:], jk[-1:]
        self.lost = not found[n - 1]
        self._rows += n
        change = np.sqrt(turned)
        return FoundPoses(
            q=q[:, :n], found=found[:n], gains=gains, pair=pair, share=share, change=change, struts=self.struts
        )

    def _knots(self, lengths: Array) -> tuple[Array, Array, Array, Flags]:
        """Return q (6, m), inverse derivatives and derivatives (m, 6, 6) at knots, the first known; which are sure."""
        m = lengths.shape[1] - 1
        coarse = np.minimum(np.arange(1, -(-m // _COARSE) + 1) * _COARSE, m)
        far = lengths[:, coarse]
        guess = self._q + self._inverse[0] @ (far - self._length)
        qc, gc, found = newton(self.struts, far, guess)
        if not found.all():
            return self._marched(lengths)
        qc, gc = np.concatenate([self._q, qc], axis=1), np.concatenate([self._inverse, gc])
        every = _padded(lengths[:, 1:], len(coarse) * _COARSE)
        q, pair, share = _between(lengths[:, np.append(0, coarse)], qc, gc, every, _COARSE)
        for _ in range(8):
            rest = every - self.struts.lengths(q)
            q += _through(pair, share, rest)
            if np.abs(rest).max() < 1e-5:
                break
        else:
            return self._marched(lengths)
        return self._finished(lengths, q[:, :m])

    def _marched(self, lengths: Array) -> tuple[Array, Array, Array, Flags]:
        """Return the same, each knot found from the one before it; those that are not are held."""
        q, sure = self._q, [True]
        out = []
        for k in range(1, lengths.shape[1]):
            new, _, found = newton(self.struts, lengths[:, k : k + 1], q)
            q = new if found.all() else q
            sure.append(bool(found.all()))
            out.append(q)
        q, g, j, _ = self._finished(lengths, np.concatenate(out, axis=1))
        return q, g, j, np.array(sure)

    def _finished(self, lengths: Array, q: Array) -> tuple[Array, Array, Array, Flags]:
        have, slopes = self.struts.slopes(q)
        try:
            inverse = np.asarray(np.linalg.inv(slopes), dtype=np.float64)
        except np.linalg.LinAlgError:
            inverse = np.asarray(np.linalg.pinv(slopes), dtype=np.float64)
        q = q + np.einsum("nij,jn->in", inverse, lengths[:, 1:] - have)
        sure = np.ones(lengths.shape[1], dtype=bool)
        return (
            np.concatenate([self._q, q], axis=1),
            np.concatenate([self._inverse, inverse]),
            np.concatenate([self._slopes, slopes]),
            sure,
        )

    def _certified(self, q: Array, lengths: Array, size: Array, gk: Array, turned: Array) -> tuple[Array, Flags]:
        """Return a bound (n,) of the residuals of q that one step from residuals ``size`` leaves, and which are small.

        The second derivative of a length by a step that moves a joint by D and turns the platform by w is at most
        D2 / l + lever w2.
        """
        ends = np.abs(gk).sum(axis=2)
        gain = 1.2 * np.maximum(ends[1:], ends[:-1])
        moved, turn = np.sqrt((gain[:, :3] ** 2).sum(axis=1)), np.sqrt(2.0 * (gain[:, 3:] ** 2).sum(axis=1))
        lever = self.struts.lever
        bend = 0.5 * ((moved + lever * turn) ** 2 / lengths.min() + lever * turn**2)
        left = size.reshape(-1, KNOT)
        left = (left * (turned[:, None] + bend[:, None] * left)).ravel()
        some = slice(self._rows % _SAMPLE, None, _SAMPLE)
        told = left[some].copy()
        left[some] = np.abs(lengths[:, some] - self.struts.lengths(q[:, some])).max(axis=0)
        found = left <= FIT
        found[some] &= left[some] <= told + 1e-11
        return left, found

    def _further(self, q: Array, lengths: Array, kept: tuple[Array, Array, Array], left: Array, found: Flags) -> None:
        """Take further steps where a pose is not found yet, at last by Newton's method; changes q and found."""
        pair, share, qk = kept
        for _ in range(6):
            bad = np.flatnonzero(~found.reshape(-1, KNOT).all(axis=1))
            at = (bad[:, None] * KNOT + np.arange(KNOT)).ravel()
            rest = lengths[:, at] - self.struts.lengths(q[:, at])
            left[at] = np.abs(rest).max(axis=0)
            found[at] = left[at] <= FIT
            if found[at].all():
                return
            q[:, at] += _through(pair[bad], share[bad], rest)
        at = np.flatnonzero(~found)
        near = np.where(np.isfinite(q[:, at]).all(axis=0), q[:, at], qk[:, at // KNOT])
        q[:, at], _, found[at] = newton(self.struts, lengths[:, at], near)


def _padded(values: Array, n: int) -> Array:
    """Return values (6, m) with the last column repeated up to n columns."""
    short = n - values.shape[1]
    return values if not short else np.concatenate([values, np.repeat(values[:, -1:], short, axis=1)], axis=1)


def _between(lk: Array, qk: Array, gk: Array, lengths: Array, k: int) -> tuple[Array, Array, Array]:
    """Return q (6, m k) between knots (6, m + 1), the pairs of inverse derivatives (m, 6, 12), and shares (m, 1, k)."""
    m = gk.shape[0] - 1
    d = np.empty((m, 6, k))
    d[...] = lengths.reshape(6, m, k).transpose(1, 0, 2)
    d -= lk[:, :-1].T[:, :, None]
    chord = np.ascontiguousarray((lk[:, 1:] - lk[:, :-1]).T)
    unit = chord / np.maximum((chord * chord).sum(axis=1), 1e-12)[:, None]
    s = unit[:, None, :] @ d
    np.clip(s, -0.25, 1.25, out=s)
    pair = np.empty((m, 6, 14))
    pair[:, :, 0], pair[:, :, 1] = qk[:, :-1].T, qk[:, 1:].T
    pair[:, :, 2:8], pair[:, :, 8:] = gk[:-1], gk[1:]
    basis = np.empty((m, 14, k))
    square = s * s
    end = square * (3.0 - 2.0 * s)
    leave_end = square * (s - 1.0)
    leave_start = leave_end - square + s
    basis[:, 1:2] = end
    np.subtract(1.0, end, out=basis[:, 0:1])
    d -= chord[:, :, None] @ s
    second, first = basis[:, 8:], basis[:, 2:8]
    np.multiply(d, s, out=second)
    np.subtract(d, second, out=first)
    first += chord[:, :, None] @ leave_start
    second += chord[:, :, None] @ leave_end
    q = np.empty((6, m, k))
    q[...] = (pair @ basis).transpose(1, 0, 2)
    return q.reshape(6, m * k), pair[:, :, 2:], s


def _through(pair: Array, share: Array, values: Array) -> Array:
    """Return interpolated inverse derivatives times values (6, m k)."""
    m, k = share.shape[0], share.shape[2]
    w = np.empty((m, 12, k))
    x = values.reshape(6, m, k).transpose(1, 0, 2)
    np.multiply(x, share, out=w[:, 6:])
    np.subtract(x, w[:, 6:], out=w[:, :6])
    out = np.empty((6, m, k))
    out[...] = (pair @ w).transpose(1, 0, 2)
    return out.reshape(6, m * k)
