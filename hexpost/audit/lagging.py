"""Where the tip really is while each strut is behind its setpoint: the forecast along a stream of samples.

The tip is compared with the nearest place of its path, not with its setpoint: a lag that all struts share is late, not
wrong. What the struts miss at that place is small, and the inverse Jacobian there makes the place of the tip of it.
Kept are the samples of the longest delay, whatever the job's length.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.audit.inverses import inverse_rows, moved
from hexpost.kinematics.nearest import nearest
from hexpost.kinematics.servo import Lags, Loop
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.model import Setpoints

DELAYS, FEWEST = 8.0, 8
"""So many times the longest delay of a strut is kept, and so many samples at least."""
MOST_KEPT = 200_000
"""More samples are not kept: with loops so slow, a tip that is later still is off by what it is late."""
ROUNDS = 2
"""Steps of Newton's method from the nearest place of straight lines to that of cubics."""
STILL = 1e-6
"""Tip speed below which there is no way to be late along, mm/s."""
WEIGHT = 1e-4
"""Struts count so much beside the tip where the nearest place is sought: it decides where the tip stands."""

_PLACE, _RATE, _BEND, _FEEDS, _LINE, _INVERSE = slice(0, 9), slice(9, 18), slice(18, 27), 27, 28, slice(29, 65)
"""What is kept of a sample: x y z of the tip and weighted lengths, their first and second derivatives, ..."""


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
        now = self._columns(setpoints)
        lag = self._lags.of(setpoints.speed, setpoints.acceleration)
        if self._past is None or self._frame != setpoints.poses.frame:
            self._frame = setpoints.poses.frame
            self._past = np.repeat(now[:, :1], self._kept, axis=1)
            self._past[_RATE], self._past[_BEND] = 0.0, 0.0
        known, first = np.concatenate([self._past, now], axis=1), self._past.shape[1]
        self._past = known[:, -self._kept :]
        place = now[_PLACE].copy()
        place[3:] -= WEIGHT * lag
        late = np.arange(first, first + lag.shape[1]) - self._late
        near = nearest(known[_PLACE][3:], place[3:], first, self._kept, late)
        here = known.take(np.rint(near).astype(np.int64), axis=1)  # a pose that is hardly missed
        place[:3] = here[:3] + moved(here[_INVERSE], (place[3:] - here[3:9]) / WEIGHT)[:3]
        here, off = self._between(known, place, nearest(known[_PLACE], place, first, self._kept, near), first)
        return Lagged(
            late=_size(place[:3] - now[_PLACE][:3]), across=_size(off[:3]), turned=_size(moved(now[_INVERSE], lag)[3:]),
            feeds=here[0] > 0.0, line=here[1].astype(np.int64), error=off[:3],
            read=self._read(known[:, first - 1 :]),
        )  # fmt: skip

    def _between(self, known: Array, place: Array, near: Array, first: int) -> tuple[Array, Array]:
        """Return moves and lines (2, n) at the nearest places of the path, and what is missing square to it (9, n).

        Between samples the path is a cubic; beyond the last one it goes on as it is.
        """
        h, now = self._period, np.arange(first, first + len(near))
        low, high = np.maximum(near - 1.0, 0.0), near + 1.0
        at = near
        for k in range(ROUNDS + 1):
            i = np.minimum(at.astype(np.int64), now)
            t = (at - i) * h
            here = known[: _BEND.stop].take(i, axis=1)
            j = (known[_BEND].take(np.minimum(i + 1, now), axis=1) - here[_BEND]) / h
            off = place - (here[_PLACE] + t * (here[_RATE] + t * (here[_BEND] / 2.0 + t * j / 6.0)))
            way = here[_RATE] + t * (here[_BEND] + t * j / 2.0)
            square = _square(way)
            step = np.einsum("in,in->n", off, way) / np.where(square > STILL**2, square, np.inf)
            if k < ROUNDS:
                at = np.clip(at + step / h, low, high)
        return known[_FEEDS : _LINE + 1].take(i, axis=1), off - way * step

    def _read(self, known: Array) -> Array:
        """Return how far (3,) the tip is off between rows at most: held, straight, cubic; ``known`` with one before.

        Against the quintic through lengths, speeds and accelerations at both ends, in the middle of a tick: of
        straight lines 5 h (v0 - v1) / 32 + h2 (a0 + a1) / 64 is missing, of cubics h (v0 - v1) / 32 + the same.
        """
        h, (length, speed, pull) = self._period, (known[rows][3:] / WEIGHT for rows in (_PLACE, _RATE, _BEND))
        slower = -np.diff(speed, axis=1) * (h / 32.0)
        pulls = (pull[:, 1:] + pull[:, :-1]) * (h * h / 64.0)
        ways = (np.diff(length, axis=1), 5.0 * slower + pulls, slower + pulls)
        return np.array([_size(moved(known[_INVERSE, 1:], x)[:3]).max() for x in ways])

    def _columns(self, setpoints: Setpoints) -> Array:
        """Return what is kept of each sample, (65, n)."""
        poses = setpoints.poses
        n = len(poses.tick)
        out: Array = np.empty((65, n))
        sides = (
            (_PLACE, poses.pose, setpoints.length),
            (_RATE, poses.rate, setpoints.speed),
            (_BEND, poses.acceleration, setpoints.acceleration),
        )
        for rows, tip, struts in sides:
            out[rows][:3], out[rows][3:] = tip[:3], WEIGHT * struts
        out[_FEEDS], out[_LINE] = self._feeds[poses.move], poses.line
        out[_INVERSE] = inverse_rows(self._poses.struts(setpoints), poses.pose)
        return out


def _size(vectors: Array) -> Array:
    """Return the lengths (n,) of vectors (3, n)."""
    return np.sqrt(_square(vectors))


def _square(vectors: Array) -> Array:
    """Return the squared lengths (n,) of vectors (k, n)."""
    out: Array = np.einsum("in,in->n", vectors, vectors)
    return out
