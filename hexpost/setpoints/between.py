"""What a motion does between its samples: bounds from the schedule, and looks at fractions of a tick."""

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.feed.model import PathMotion, Timing
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ROUND, ToolPath
from hexpost.setpoints.model import Poses, TickBounds, YawProfile
from hexpost.setpoints.sample import poses_at, turned

EVEN = 0.05
"""Turn of the direction of travel within a tick, rad, up to which it counts as even."""
EXACT = 1e-6
"""A change of jerk so near to a tick, in ticks, is at it."""


class Between:
    """A scheduled motion between its samples."""

    def __init__(
        self, timing: Timing, path: ToolPath, moves: Moves, machine: Machine, yaw: YawProfile | None = None
    ) -> None:
        self._timing, self._path, self._moves, self._yaw = timing, path, moves, yaw
        self._period, self._order = timing.period, machine.tilt_order

    def looks(self, tick: Array, frame: int) -> Poses:
        """Return poses at rising times in ticks (m,), all in one frame."""
        poses = poses_at(self._timing, self._path, self._moves, tick, frame)
        return turned(poses, self._moves.frames, self._yaw, self._order)

    def bounds(self, tick: Ints) -> TickBounds:
        """Return bounds for the ticks that end at consecutive samples (n,).

        The acceleration along the path is made of straight parts, so that it is largest at one of their ends; its jerk
        is constant in each. The derivatives of the pose are at most the largest of the pieces passed.
        """
        timing, path, n = self._timing, self._path, len(tick)
        begin = int(tick[0]) - 1
        time = np.concatenate([np.arange(begin, begin + n + 1), self._edges(begin, begin + n)])
        order = np.argsort(time, kind="stable")
        motion = timing.motion(time[order])
        own = (np.floor(time[order][:-1] + EXACT) - begin).astype(np.int64)
        first = np.flatnonzero(np.diff(own, prepend=-1))
        v, a, j = _within(motion, first, self._period)
        piece = timing.locate(path, motion).piece[order <= n]
        low, count = piece[:-1], np.diff(piece) + 1
        begins = np.cumsum(count) - count
        passed = np.arange(int(count.sum())) - np.repeat(begins - low + piece[0], count)
        norms = path.pieces(int(piece[0]), int(piece[-1]) + 1).norms_max()
        norms = np.maximum.reduceat(norms[:, :, passed], begins, axis=2)
        tip, tilt = (
            np.stack([q[0] * v, q[1] * v * v + q[0] * a, q[2] * v**3 + 3.0 * q[1] * v * a + q[0] * j]) for q in norms
        )
        even = (np.diff(first, append=len(own)) == 1) & (count == 1) & (path.kind[low] <= ROUND)
        even &= norms[0, 1] * v * self._period <= EVEN * norms[0, 0]
        if self._yaw is not None:
            tilt += self._yaw.largest()[:, None]
            even[:] = False
        return TickBounds(tip=tip, tilt=tilt, even=even)

    def _edges(self, low: int, high: int) -> Array:
        """Return the times in ticks from ``low`` to ``high`` at which the jerk along the path may change (k,)."""
        timing = self._timing
        most = int(timing.window.max(initial=0))
        a, b = np.searchsorted(timing.t, np.array([low - most, high]) * self._period)
        now: Array = timing.t[a:b] / self._period
        later = now + timing.window[np.searchsorted(timing.first, np.arange(a, b), "right") - 1]
        edge = np.concatenate([now, later])
        out: Array = edge[(edge > low) & (edge < high) & (np.abs(edge - np.rint(edge)) > EXACT)]
        return out


def _within(motion: PathMotion, first: Ints, period: float) -> tuple[Array, Array, Array]:
    """Return the largest speed, acceleration and jerk (n,) along the path within ticks, which begin at ``first``."""
    size = np.maximum(np.diff(motion.tick), EXACT) * period
    jerk = np.maximum.reduceat(np.abs(np.diff(motion.acceleration)) / size, first)
    a, v = np.abs(motion.acceleration), motion.speed
    a = np.maximum.reduceat(np.maximum(a[:-1], a[1:]), first)
    return np.maximum.reduceat(np.maximum(v[:-1], v[1:]), first) + 0.5 * period * a, a, jerk
