"""Where the tip really is while each strut is behind its setpoint: the forecast along a stream of samples.

The tip is compared with the nearest place of its path, not with its setpoint: a lag that all struts share is late, not
wrong. What the struts miss at that place is small, and the inverse Jacobian there makes the place of the tip of it;
where it is not, forward kinematics do.
Kept are the samples of the longest delay, whatever the job's length.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.kinematics.forward import forward
from hexpost.kinematics.inverses import SHIFTS, TURNS, moved
from hexpost.kinematics.nearest import beside, nearest, squares
from hexpost.kinematics.servo import Lags, Loop
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.model import Setpoints

DELAYS, FEWEST = 8.0, 8
"""So many times the longest delay of a strut is kept, and so many samples at least."""
MOST_KEPT = 200_000
"""More samples are not kept: with loops so slow, a tip that is later still is off by what it is late."""
DONE = 0.02
"""A last step of Newton's method of no more of a tick: what is left of it is its square."""
PARTS = np.arange(-16, 17) / 16.0
"""Places, in ticks, from which the best is taken where Newton's method leads nowhere: beside a rest, at a corner."""
HALVES = 24
"""So often the stretch about it is halved."""
FAR = 1e-4
"""Struts that miss a sample by more over the period, mm s, have their pose found by forward kinematics.

Of an inverse Jacobian the square of what is missed is off, and more where those it lies between are far apart.
"""
LATE = 1e-4
"""A tip nearer to a place where it stands is not sought elsewhere, mm."""
STILL = 1e-6
"""Tip speed below which there is no way to be late along, mm/s."""
WEIGHT = 1e-4
"""Struts count so much beside the tip where the nearest place is sought: it decides where the tip stands."""

_PLACE, _RATE, _SHIFTS, _FEEDS, _LINE = slice(0, 9), slice(9, 18), slice(18, 36), 36, 37
_BEND, _TURN = slice(38, 44), slice(44, 47)
"""What is kept of a sample: x y z of the tip and weighted lengths, and their derivatives; inverse Jacobians; ..."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lagged:
    """Of n samples: ``late`` [mm] is the tip's distance from its setpoint, ``across`` [mm] from its path.

    ``turned`` [rad]: by how much the tool is behind its attitude. ``feeds``: the tip is in a feed move. ``line`` is the
    line where the tip is, not that of the setpoint. ``error`` (3, n): of the tip, square to its way, in the axes of the
    work.
    """

    late: Array
    across: Array
    turned: Array
    feeds: Flags
    line: Ints
    error: Array
    read: Array
    """How far (3,) the tip is off between rows, at most, by how the table is read: see ``Forecast``; mm."""


class Lagging:
    """Takes batches in order; ``feeds`` (moves + 1,) says which moves cut, the last entry is that before the first."""

    def __init__(self, loops: Sequence[Loop], period: float, poses: Attitudes, feeds: Flags) -> None:
        self._lags = Lags(loops, period)
        self._period, self._poses, self._feeds = period, poses, feeds
        longest = max(max(loop.delay, 1.0 / loop.gain) for loop in loops)
        self._kept = min(max(ceil(DELAYS * longest / period), FEWEST), MOST_KEPT)
        self._late = round(max(loop.delay for loop in loops) / period)
        self._past: Array | None = None
        self._frame = -1

    def of(self, setpoints: Setpoints) -> Lagged:
        """Return what becomes of the next batch."""
        lag, first = self._lags.of(setpoints.speed, setpoints.acceleration), self._kept
        known = self._columns(setpoints)
        if self._past is None or self._frame != setpoints.poses.frame:
            self._frame = setpoints.poses.frame
            self._past = np.repeat(known[:, first : first + 1], first, axis=1)
            self._past[_RATE], self._past[_BEND] = 0.0, 0.0
        known[:, :first], now = self._past, known[:, first:]
        self._past = known[:, -first:].copy()
        place = now[_PLACE].copy()
        place[3:] -= WEIGHT * lag
        late = np.arange(first, first + lag.shape[1]) - self._late
        near = beside(known[_PLACE][3:], place[3:], first, self._kept, late)
        row = np.rint(near).astype(np.int64)
        here = known[: _SHIFTS.stop].take(row, axis=1)  # a pose that is hardly missed
        missing = (place[3:] - here[_PLACE][3:]) / WEIGHT
        place[:3] = here[:3] + moved(here[_SHIFTS], missing)
        far = np.flatnonzero(np.abs(missing).max(axis=0) > FAR / self._period)
        if len(far):
            guess = np.concatenate([here[:3, far], known[_TURN, row[far]]])
            found = forward(self._poses.struts(setpoints), place[3:, far] / WEIGHT, guess)
            place[:3, far[found.converged]] = found.pose[:3, found.converged]
        here, off = self._between(known, place, nearest(known[_PLACE], place, first, self._kept, near), first)
        return Lagged(
            late=_size(place[:3] - now[_PLACE][:3]), across=_size(off[:3]),
            turned=_size(moved(self._poses.inverses(setpoints)[TURNS], lag)),
            feeds=here[0] > 0.0, line=here[1].astype(np.int64), error=off[:3],
            read=self._read(known[:, first - 1 :]),
        )  # fmt: skip

    def _between(self, known: Array, place: Array, near: Array, first: int) -> tuple[Array, Array]:
        """Return moves and lines (2, n) at the nearest places of the path, and what is missing square to it (9, n).

        Between samples the path is as a table is read, a cubic by places and rates (C. Hermite, 1878; from memory). It
        ends at the sample of now.
        """
        now = np.arange(first, first + len(near))
        at, low, high = near, np.maximum(near - 1.0, 0.0), np.minimum(near + 1.0, now)
        at = np.clip(at + self._missing(known, place, at, now)[2], low, high)
        off, way, step = self._missing(known, place, at, now)
        more = np.flatnonzero(np.abs(step) > DONE)
        if len(more):
            at[more] = np.clip(at[more] + step[more], low[more], high[more])
            off[:, more], way[:, more], step[more] = self._missing(known, place[:, more], at[more], now[more])
        lost = np.flatnonzero((np.abs(step) > DONE) | ((step == 0.0) & (squares(off[:3]) > LATE**2)))
        if len(lost):
            at[lost] = self._sought(known, place[:, lost], near[lost], now[lost])
            off, way, step = self._missing(known, place, at, now)
        i = np.minimum(at.astype(np.int64), now)
        return known[_FEEDS : _LINE + 1].take(i, axis=1), off - way * np.where(np.abs(step) > DONE, 0.0, step)

    def _sought(self, known: Array, place: Array, near: Array, now: Ints) -> Array:
        """Return the nearest places (n,) of the path about those given: the best of some, and halves about it."""
        tried = np.clip(near + PARTS[:, None], 0.0, now)
        sizes = [squares(self._missing(known, place, at, now)[0]) for at in tried]
        best = tried[np.argmin(sizes, axis=0), np.arange(len(now))]
        width = PARTS[-1] - PARTS[-2]
        low, high = np.maximum(best - width, 0.0), np.minimum(best + width, now)
        for _ in range(HALVES):
            middle = (low + high) / 2.0
            on = self._missing(known, place, middle, now)[2] > 0.0
            low, high = np.where(on, middle, low), np.where(on, high, middle)
        found = (low + high) / 2.0
        nearer = squares(self._missing(known, place, found, now)[0]) < np.min(sizes, axis=0)
        return np.asarray(np.where(nearer, found, best))

    def _missing(self, known: Array, place: Array, at: Array, now: Ints) -> tuple[Array, Array, Array]:
        """Return what places (9, n) are off the path at ``at`` (n,), its way there a tick, and how far to go on."""
        i = np.minimum(at.astype(np.int64), now - 1)
        t, (here, there) = at - i, (known[: _RATE.stop].take(k, axis=1) for k in (i, i + 1))
        begin, end = self._period * here[_RATE], self._period * there[_RATE]
        gap, bend = there[_PLACE] - here[_PLACE] - begin, end - begin
        two, three = 3.0 * gap - bend, bend - 2.0 * gap
        off = place - (here[_PLACE] + t * (begin + t * (two + t * three)))
        way = begin + t * (2.0 * two + 3.0 * t * three)
        square = squares(way)
        square[square <= (STILL * self._period) ** 2] = np.inf
        return off, way, np.einsum("in,in->n", off, way) / square

    def _read(self, known: Array) -> Array:
        """Return how far (3,) the tip is off between rows at most: held, straight, cubic; ``known`` with one before.

        Against the quintic through lengths, speeds and accelerations at both ends, in the middle of a tick: of
        straight lines 5 h (v0 - v1) / 32 + h2 (a0 + a1) / 64 is missing, of cubics h (v0 - v1) / 32 + the same.
        """
        h = self._period
        length, speed, pull = (x / WEIGHT for x in (known[_PLACE][3:], known[_RATE][3:], known[_BEND]))
        slower = -np.diff(speed, axis=1) * (h / 32.0)
        pulls = (pull[:, 1:] + pull[:, :-1]) * (h * h / 64.0)
        ways = (np.diff(length, axis=1), 5.0 * slower + pulls, slower + pulls)
        return np.array([_size(moved(known[_SHIFTS, 1:], x)).max() for x in ways])

    def _columns(self, setpoints: Setpoints) -> Array:
        """Return what is kept of each sample, (47, kept + n); the columns of those before are left free."""
        poses = setpoints.poses
        whole: Array = np.empty((_TURN.stop, self._kept + len(poses.tick)))
        out = whole[:, self._kept :]
        sides = ((_PLACE, poses.pose, setpoints.length), (_RATE, poses.rate, setpoints.speed))
        for rows, tip, struts in sides:
            out[rows][:3] = tip[:3]
            np.multiply(struts, WEIGHT, out=out[rows][3:])
        np.multiply(setpoints.acceleration, WEIGHT, out=out[_BEND])
        out[_FEEDS], out[_LINE] = self._feeds[poses.move], poses.line
        out[_SHIFTS], out[_TURN] = self._poses.inverses(setpoints)[SHIFTS], poses.pose[3:]
        return whole


def _size(vectors: Array) -> Array:
    """Return the lengths (n,) of vectors (3, n)."""
    return np.sqrt(squares(vectors))
