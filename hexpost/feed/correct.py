"""Corrections after the average: look at the samples that may be over a limit, lower the bounds that made them so."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.feed.minima import spread_min
from hexpost.feed.model import AT_CORNER, Timing
from hexpost.feed.stretches import Speeds, Stretches, causes, tagged
from hexpost.feed.weigh import TOLERANCE, PlanLimits, weigh
from hexpost.path.model import ToolPath

BLOCK, PORTION = 8192, 1 << 16
"""So many stretches of time are looked at together, and so many samples of them at most."""
STEP, STEP_FIRM = 0.5, 0.25
"""Doubtful stretches of time are looked at so often, in ticks; the second where the struts must keep their limits."""
EDGE = 0.01
"""Looks begin and end so far inside, in steps."""
BRIEF = 1e-3
"""A jerk that lasts less than this share of a period is not felt at a setpoint."""
REACH = 0.5
"""How far beyond its window a bad sample lowers ramps, in windows."""
SAME = 1e-9
"""Relative difference of a speed squared that counts as a change."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranges:
    """Times to look at, in ticks: ranges from ``lo`` to ``hi``, rising and apart, shape (r,)."""

    lo: Array
    hi: Array

    def hold(self, tick: Array) -> Flags:
        """Return which times lie in one of the ranges."""
        k = np.searchsorted(self.lo, tick, "right") - 1
        out: Flags = (k >= 0) & (tick <= self.hi[np.maximum(k, 0)])
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corrected:
    """Stretches with lower bounds, and how far the worst sample of each span is over a limit (spans,): 1 if none."""

    st: Stretches
    worst: Array


def edges(timing: Timing, where: Ranges | None) -> Array:
    """Return the times in ticks, rising, at which the jerk along the path may change; in between it is constant.

    The jerk is (u(t) - u(t - T)) / T with u constant in intervals, so it changes only where an interval begins and
    a window T after that: nothing between the ticks is missed. ``where``: only there; ``None``: everywhere.
    """
    now: Array = timing.t / timing.period
    later = now + np.repeat(timing.window, np.diff(timing.first))
    if where is not None:
        now, later = now[where.hold(now)], later[where.hold(later)]
    edge = np.concatenate([now, later])
    edge.sort(kind="stable")
    return edge


def changed(before: Speeds, now: Speeds, timing: Timing) -> Ranges:
    """Return the times that a change of bounds touches: one window about every stretch where the speed differs.

    A ramp carries a change far along, so where the speed is another counts as well as where a bound was lowered.
    """
    old, new = before.st, now.st
    far = np.abs(now.x - before.x) > SAME * before.x
    lower = (old.cap != new.cap) | (before.cap != now.cap) | (old.up != new.up) | (old.down != new.down)
    k = np.flatnonzero(lower | far[1:] | far[:-1])
    reach = (1 + REACH) * timing.window[new.span[k]]
    begin = timing.t[np.minimum(np.searchsorted(timing.s, new.s[k]), len(timing.t) - 1)] / timing.period
    end = timing.t[np.minimum(np.searchsorted(timing.s, new.s[k + 1]), len(timing.t) - 1)] / timing.period
    lo, hi = begin - reach, np.maximum.accumulate(end + reach)
    fresh = np.flatnonzero(lo[1:] > hi[:-1]) + 1
    return Ranges(lo=np.insert(lo[fresh], 0, lo[:1]), hi=np.append(hi[fresh - 1], hi[-1:]))


def correct(
    st: Stretches, timing: Timing, path: ToolPath, limits: PlanLimits, where: Ranges | None, *, power: float = 1.0
) -> Corrected | None:
    """Return stretches with lower bounds where samples break limits of tip, tilt or struts; ``None`` when none does.

    Factors of caps apply under the bad samples, those of ramps within their windows; ``power`` on top of both.
    """
    f_cap, f_ramp = np.ones(len(st.cap)), np.ones(len(st.cap))
    worst, cause, hold = np.ones(len(timing.end)), causes(st.cap), st.hold.copy()
    edge = edges(timing, where)
    for tick in _doubtful(edge, timing, path, limits, where):
        motion = timing.motion(tick)
        place = timing.locate(path, motion)
        bad = weigh(motion, place, path, limits)
        if bad is None:
            continue
        span = motion.span[bad.motion]
        np.maximum.at(worst, span, bad.over)
        first, last = st.first[span], st.first[span + 1] - 1
        under = np.clip(np.searchsorted(st.s, motion.s[bad.motion], "right") - 1, first, last)
        np.minimum.at(f_cap, under, bad.cap**power)
        order = np.argsort(bad.over)
        order = order[bad.cap[order] < 1]
        cause[under[order]] = bad.cause[order] | (cause[under[order]] & AT_CORNER)
        t, T = tick[bad.motion] * timing.period, timing.window[span] * timing.period
        i = np.maximum(np.searchsorted(timing.t, t - (1 + REACH) * T, "right") - 1, 0)
        j = np.minimum(np.searchsorted(timing.t, t + REACH * T), len(timing.t) - 1)
        lo = np.clip(np.searchsorted(st.s, timing.s[i], "right") - 1, first, under)
        hi = np.clip(np.searchsorted(st.s, timing.s[j]), under, last)
        a, b = int(lo.min()), int(hi.max()) + 1
        factor = spread_min(bad.ramp**power, lo - a, hi - a, b - a)
        less = np.flatnonzero(factor < f_ramp[a:b])
        hold[less + a] = bad.cause[np.clip(np.searchsorted(under, less + a), 0, len(under) - 1)]
        f_ramp[less + a] = factor[less]
    if (worst == 1.0).all():
        return None
    lower = replace(st, cap=tagged(st.cap * f_cap, cause), up=st.up * f_ramp, down=st.down * f_ramp, hold=hold)
    return Corrected(st=lower, worst=worst)


def _doubtful(
    edges: Array, timing: Timing, path: ToolPath, limits: PlanLimits, where: Ranges | None
) -> Iterator[Array]:
    """Yield the times in ticks to look at, a portion at a time: those in stretches of time that bounds do not clear."""
    step = STEP_FIRM if limits.struts.aim.all() else STEP
    for begin in range(0, len(edges) - 1, BLOCK):
        edge = edges[begin : begin + BLOCK + 1]
        width = np.diff(edge)
        here = np.flatnonzero(_suspect(edge, timing, path, limits, where))
        last = np.cumsum(np.ceil(width[here] / step).astype(np.int64) + 1)
        for first in range(0, int(last[-1]) if len(last) else 0, PORTION):
            number = np.arange(first, min(first + PORTION, int(last[-1])))
            which = np.searchsorted(last, number, "right")
            count = np.diff(last, prepend=0)[which]
            inside = (number - last[which] + count + EDGE) / (count - 1 + 2 * EDGE)
            yield edge[here[which]] + inside * width[here[which]]


def _suspect(edge: Array, timing: Timing, path: ToolPath, limits: PlanLimits, where: Ranges | None) -> Flags:
    """Return which stretches of time between edges are not cleared by bounds.

    Between two edges the jerk along the path is constant, its acceleration largest at one end; the derivatives of
    the pose are at most the largest of the pieces passed. Between edges farther apart than the window the
    acceleration is constant, so that the speed is largest at an end.
    """
    width = np.diff(edge)
    motion = timing.motion(edge)
    k = timing.locate(path, motion).piece
    a = np.abs(motion.acceleration)
    a = np.maximum(a[1:], a[:-1])
    window = timing.window[motion.span]
    brief = np.where(width <= np.maximum(window[1:], window[:-1]), width, 0.0)
    v = np.maximum(motion.speed[1:], motion.speed[:-1]) + 0.25 * timing.period * brief * a
    jerk = np.abs(np.diff(motion.acceleration)) / (timing.period * np.maximum(width, BRIEF))
    low = int(k[0])
    a1, a2, j1, j2, j3, speed = limits.shares.over(low, k[:-1] - low, np.maximum(k[1:], k[:-1]) - low)
    most = 1 + TOLERANCE
    vv = v * v
    suspect = (j1 * jerk + j3 * (vv * v) + j2 * (3.0 * v * a) > most) | (a1 * a + a2 * vv > most) | (v > speed * most)
    suspect &= width > BRIEF
    if where is not None:
        suspect &= where.hold(0.5 * (edge[1:] + edge[:-1]))
    out: Flags = suspect
    return out
