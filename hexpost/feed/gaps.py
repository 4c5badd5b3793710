"""Stretches of time in which the jerk along the path is constant: what bounds of the pieces passed say of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.minima import range_min
from hexpost.feed.model import Timing
from hexpost.path.model import ToolPath

CLEAR = 0.9
"""Where bounds say that the struts use no more of a limit than this, as a share, whole ticks are not looked at."""
BRIEF = 1e-3
"""A jerk that lasts less than this share of a period is not felt at a setpoint."""
TIE = 1e-6
"""Times that differ by less, in ticks, are one: else rounding, which is another one later in a job, would decide."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gaps:
    """Stretches of time between edges, shape (n,): sizes in ticks; the pieces passed, ``low`` + ``first`` to ``last``.

    Between two edges the jerk along the path is constant, its acceleration largest at one end; the derivatives of
    the pose are at most the largest of the pieces passed. Between edges farther apart than the window the
    acceleration is constant, so that the speed is largest at an end.
    """

    width: Array
    low: int
    first: Ints
    last: Ints
    speed: Array
    acceleration: Array
    jerk: Array

    @classmethod
    def of(cls, edge: Array, timing: Timing, path: ToolPath) -> "Gaps":
        """Return the stretches between edges (n + 1,), and the largest of what moves along the path in them."""
        width = np.diff(edge)
        motion = timing.motion(edge)
        k = timing.locate(path, motion).piece
        a = np.abs(motion.acceleration)
        a = np.maximum(a[1:], a[:-1])
        window = timing.window[motion.span]
        brief = np.where(width <= np.maximum(window[1:], window[:-1]) + TIE, width, 0.0)
        v = np.maximum(motion.speed[1:], motion.speed[:-1]) + 0.25 * timing.period * brief * a
        jerk = np.abs(np.diff(motion.acceleration)) / (timing.period * np.maximum(width, BRIEF))
        low = int(k[0])
        first, last = k[:-1] - low, np.maximum(k[1:], k[:-1]) - low
        return cls(width=width, low=low, first=first, last=last, speed=v, acceleration=a, jerk=jerk)

    def beyond(self, most: float, bounds: Sequence[Array]) -> Flags:
        """Return which (n,) may use more than ``most`` of a limit; ``bounds`` there, six (n,) as ``Norms.over``."""
        (a1, a2, j1, j2, j3, speed), v, a = bounds, self.speed, self.acceleration
        vv = v * v
        out: Flags = (j1 * self.jerk + j3 * (vv * v) + j2 * (3.0 * v * a) > most) | (a1 * a + a2 * vv > most)
        return (out | (v > speed * most)) & (self.width > BRIEF)


def cleared(tick: Array, edge: Array, bounds: Array, begin: Array, *, timing: Timing, path: ToolPath) -> Flags:
    """Return at which of rising whole ticks (n,) the struts are far below all their limits, by bounds alone.

    ``edge`` (m,): times in ticks between which the jerk is constant, but where a range ends, which begin at ``begin``
    (r,); ``bounds`` (6, p) as ``Norms.struts``.
    """
    a, b = (int(k) for k in np.searchsorted(edge, (tick[0], tick[-1])))
    edge = edge[max(a - 1, 0) : b + 1]
    if len(edge) < 2:
        return np.zeros(len(tick), dtype=bool)
    gaps = Gaps.of(edge, timing, path)
    *most, speed = bounds[:, gaps.low : gaps.low + int(gaps.last.max()) + 1]
    there = [*(-range_min(-x, gaps.first, gaps.last) for x in most), range_min(speed, gaps.first, gaps.last)]
    own = np.searchsorted(begin, edge, "right")
    clear = ~gaps.beyond(CLEAR, there) & (gaps.width > BRIEF) & (own[1:] == own[:-1])
    before, after = (np.searchsorted(edge, tick + tie, "right") - 1 for tie in (-TIE, TIE))
    top = len(clear) - 1
    out: Flags = (before >= 0) & (after <= top) & clear[np.clip(before, 0, top)] & clear[np.clip(after, 0, top)]
    return out
