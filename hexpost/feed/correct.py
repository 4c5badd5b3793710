"""Corrections after the average: look at the samples that may be over a limit, lower the bounds that made them so."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, distinct
from hexpost.feed.gaps import TIE, Gaps, cleared
from hexpost.feed.minima import spread_min
from hexpost.feed.model import AT_CORNER, PathMotion, PathPlace, Timing
from hexpost.feed.stretches import Speeds, Stretches, causes, tagged
from hexpost.feed.weigh import TOLERANCE, Bad, PlanLimits, weigh
from hexpost.path.model import ToolPath

BLOCK, PORTION = 8192, 1 << 16
"""So many stretches of time are looked at together, and so many samples of them at most."""
STEP, STEP_FIRM = 0.5, 0.25
"""Doubtful stretches of time are looked at so often, in ticks; the second where the struts must keep their limits."""
PLACES = 0.5 - 0.5 * np.cos(np.pi * np.arange(9) / 8)
"""Where on each piece the struts are looked at, as shares of its length: at its ends, and the denser the nearer."""
UNSURE = 2e-3
"""A use of a limit so near to all of it, as a share, is settled at twentieths of a tick."""
FINE = np.arange(21) / 20
"""These, in ticks."""
NEAR = 0.98
"""Between two looks of which one uses more than this share of a limit there is another."""
EDGE = 0.01
"""Looks begin and end so far inside, in steps."""
REACH = 0.5
"""How far beyond its window a bad sample lowers ramps, in windows."""
SAME = 1e-9
"""Relative difference of a speed squared that counts as a change."""
TIE_NEAR, TIE_FAR = 1e-9, 1e-12
"""Places so near to each other, in mm and as a share of the way so far, are one."""


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

    def ticks(self) -> Iterator[Array]:
        """Yield the whole ticks in the ranges, some at a time."""
        low = np.ceil(self.lo)
        last = np.cumsum(np.maximum(np.floor(self.hi) - low + 1, 0).astype(np.int64))
        for first in range(0, int(last[-1]) if len(last) else 0, PORTION):
            number = np.arange(first, min(first + PORTION, int(last[-1])))
            which = np.searchsorted(last, number, "right")
            yield low[which] + number - np.concatenate([[0], last])[which]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """Where the limits are looked at, shape (n,), in the order of time."""

    motion: PathMotion
    place: PathPlace


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
    a, b = 0, len(timing.t)
    if where is not None:
        ends = (where.lo.min(initial=np.inf) - timing.window.max(), where.hi.max(initial=-np.inf))
        a, b = (int(k) for k in np.searchsorted(timing.t, np.array(ends) * timing.period))
    now: Array = timing.t[a:b] / timing.period
    later = now + timing.window[np.searchsorted(timing.first, np.arange(a, b), "right") - 1]
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
    begin, end = (
        timing.t[np.minimum(np.searchsorted(timing.s, _before(s)), len(timing.t) - 1)] / timing.period
        for s in (new.s[k], new.s[k + 1])
    )
    lo, hi = begin - reach - TIE, np.maximum.accumulate(end + reach) + TIE
    fresh = np.flatnonzero(lo[1:] > hi[:-1]) + 1
    return Ranges(lo=np.insert(lo[fresh], 0, lo[:1]), hi=np.append(hi[fresh - 1], hi[-1:]))


def _before(s: Array) -> Array:
    """Return places (n,) so little before ``s`` (n,) that they are one."""
    return s - (TIE_NEAR + TIE_FAR * s)


def _beyond(s: Array) -> Array:
    """Return places (n,) so little beyond ``s`` (n,) that they are one."""
    return s + (TIE_NEAR + TIE_FAR * s)


def correct(
    st: Stretches,
    timing: Timing,
    path: ToolPath,
    limits: PlanLimits,
    where: Ranges | None,
    *,
    power: float = 1.0,
    ramps: bool = False,
) -> Corrected | None:
    """Return stretches with lower bounds where samples break limits of tip, tilt or struts; ``None`` when none does.

    Factors of caps apply under the bad samples, those of ramps within their windows; ``power`` on top of both.
    ``ramps``: these alone give way, as a cap that is lowered on a chain of many bends begins a ramp at the next bend,
    so that corrections of caps may travel along it without an end.
    """
    f_cap, f_ramp = np.ones(len(st.cap)), np.ones(len(st.cap))
    worst, cause, hold = np.ones(len(timing.end)), causes(st.cap), st.hold.copy()
    for motion, found in weighed(timing, path, limits, where):
        bad = found.by_ramps() if ramps else found
        span = motion.span[bad.motion]
        np.maximum.at(worst, span, bad.over)
        first, last = st.first[span], st.first[span + 1] - 1
        under = np.clip(np.searchsorted(st.s, motion.s[bad.motion], "right") - 1, first, last)
        np.minimum.at(f_cap, under, bad.cap**power)
        order = np.argsort(bad.over)
        order = order[bad.cap[order] < 1]
        cause[under[order]] = bad.cause[order] | (cause[under[order]] & AT_CORNER)
        t, T = motion.tick[bad.motion] * timing.period, timing.window[span] * timing.period
        tie = TIE * timing.period
        i = np.maximum(np.searchsorted(timing.t, t - (1 + REACH) * T + tie, "right") - 1, 0)
        j = np.minimum(np.searchsorted(timing.t, t + REACH * T - tie), len(timing.t) - 1)
        lo = np.clip(np.searchsorted(st.s, _beyond(timing.s[i]), "right") - 1, first, under)
        hi = np.clip(np.searchsorted(st.s, _before(timing.s[j])), under, last)
        a, b = int(lo.min()), int(hi.max()) + 1
        factor = spread_min(bad.ramp**power, lo - a, hi - a, b - a)
        less = np.flatnonzero(factor < f_ramp[a:b])
        hold[less + a] = bad.cause[np.clip(np.searchsorted(under, less + a), 0, len(under) - 1)]
        f_ramp[less + a] = factor[less]
    if (worst == 1.0).all():
        return None
    lower = replace(st, cap=tagged(st.cap * f_cap, cause), up=st.up * f_ramp, down=st.down * f_ramp, hold=hold)
    return Corrected(st=lower, worst=worst)


def over_struts(timing: Timing, path: ToolPath, limits: PlanLimits, which: Flags, where: Ranges) -> Flags:
    """Return which of the spans ``which`` (spans,) break a limit of the struts, at a twentieth of a tick or at one.

    ``where``: one range of times for each of them, looked at only there; ``path`` may be the part of one span that is
    passed then. A look at whole ticks comes first: it finds most of what is broken.
    """
    out: Flags = np.zeros(len(which), dtype=bool)
    whole = replace(limits, struts=replace(limits.struts, aim=np.ones(len(limits.struts.aim))))

    def uses(motion: PathMotion, place: PathPlace) -> Array:
        _, over = weigh(motion, place, path, whole, tip=False)
        over[(motion.s < path.s0[0]) | (motion.s > path.s0[-1])] = 0.0
        return over

    def look_at(tick: Array) -> None:
        motion = timing.motion(tick)
        out[motion.span[uses(motion, timing.locate(path, motion)) > 1]] = True

    edge, bounds = edges(timing, where), limits.shares.struts
    for tick in where.ticks():
        if bounds is not None:
            tick = tick[~cleared(tick, edge, bounds, where.lo, timing=timing, path=path)]  # noqa: PLW2901
        if len(tick):
            look_at(tick)
    left = ~out[which]
    where = Ranges(lo=where.lo[left], hi=where.hi[left])
    for looks in _doubtful(edges(timing, where), timing, path, whole, where):
        span, over = looks.motion.span, uses(looks.motion, looks.place)
        out[span[over > 1 + UNSURE]] = True
        tick = distinct(np.floor(looks.motion.tick[(over > 1 - UNSURE) & ~out[span]]))
        for low in range(0, len(tick), BLOCK // 8):
            look_at((tick[low : low + BLOCK // 8, None] + FINE).ravel())
    return out & which


def weighed(
    timing: Timing, path: ToolPath, limits: PlanLimits, where: Ranges | None
) -> Iterator[tuple[PathMotion, Bad]]:
    """Yield what is over a limit; where the struts must keep theirs and come near one, half-way between looks, too."""
    firm = bool(limits.struts.aim.all())
    for looks in _doubtful(edges(timing, where), timing, path, limits, where):
        bad, over = weigh(looks.motion, looks.place, path, limits)
        if bad is not None:
            yield looks.motion, bad
        tick = looks.motion.tick
        near = firm & (np.maximum(over[1:], over[:-1]) > NEAR) & (np.diff(tick) <= 2 * STEP_FIRM)
        if near.any():
            middle: Array = np.add(tick[1:], tick[:-1])[near] / 2
            motion = timing.motion(middle)
            bad, _ = weigh(motion, timing.locate(path, motion), path, limits)
            if bad is not None:
                yield motion, bad


def _doubtful(
    edges: Array, timing: Timing, path: ToolPath, limits: PlanLimits, where: Ranges | None
) -> Iterator[Looks]:
    """Yield the looks, a portion at a time: those in stretches of time that bounds do not clear."""
    step = STEP_FIRM if limits.struts.aim.all() else STEP
    for begin in range(0, len(edges) - 1, BLOCK):
        edge = edges[begin : begin + BLOCK + 1]
        width = np.diff(edge)
        here = np.flatnonzero(_suspect(edge, timing, path, limits, where))
        last = np.cumsum(np.ceil(width[here] / step - TIE).astype(np.int64) + 1)
        for first in range(0, int(last[-1]) if len(last) else 0, PORTION):
            number = np.arange(first, min(first + PORTION, int(last[-1])))
            which = np.searchsorted(last, number, "right")
            count = np.diff(last, prepend=0)[which]
            inside = (number - last[which] + count + EDGE) / (count - 1 + 2 * EDGE)
            tick = edge[here[which]] + inside * width[here[which]]
            if step == STEP_FIRM:
                yield from _with_pieces(tick, timing, path)
            else:
                motion = timing.motion(tick)
                yield Looks(motion=motion, place=timing.locate(path, motion))


def _with_pieces(tick: Array, timing: Timing, path: ToolPath) -> Iterator[Looks]:
    """Yield looks at times in ticks, rising, with those at ``PLACES`` of the pieces that are passed between them.

    A corner may be passed in a small part of a tick, and its third derivative jumps where it begins and ends: it is
    looked at on both sides. Not so where a span ends: nothing moves there.
    """
    motion = timing.motion(tick)
    at, way, size = timing.locate(path, motion), np.diff(motion.s), np.diff(tick)
    felt = np.append((size <= 2 * STEP_FIRM) & (way > 0) & (np.diff(motion.span) == 0), False)
    low, high, more = int(at.piece[0]), int(at.piece[-1]) + 1, PORTION // len(PLACES)
    for first in range(low, high, more):
        piece = np.repeat(np.arange(first, min(first + more, high)), len(PLACES))
        u = (path.size[first : first + more, None] * PLACES).ravel()[: len(piece)]
        s = path.s0[piece] + u
        gap = np.searchsorted(motion.s, s, "right") - 1
        inside = (
            (gap >= 0) & felt[gap] & (at.piece[gap] <= piece) & (piece <= at.piece[np.minimum(gap + 1, len(tick) - 1)])
        )
        gap, piece, u, s = gap[inside], piece[inside], u[inside], s[inside]
        time = tick[gap] + (s - motion.s[gap]) / way[gap] * size[gap]
        own = (at.piece >= first) & (at.piece < first + more)
        time, piece, u = (np.concatenate(x) for x in ((tick[own], time), (at.piece[own], piece), (at.u[own], u)))
        order = np.argsort(time, kind="stable")
        if len(order):
            yield Looks(motion=timing.motion(time[order]), place=PathPlace(piece=piece[order], u=u[order]))


def _suspect(edge: Array, timing: Timing, path: ToolPath, limits: PlanLimits, where: Ranges | None) -> Flags:
    """Return which stretches of time between edges are not cleared by bounds."""
    gaps = Gaps.of(edge, timing, path)
    suspect = gaps.beyond(1 + TOLERANCE, limits.shares.over(gaps.low, gaps.first, gaps.last))
    if where is not None:
        suspect &= where.hold(0.5 * (edge[1:] + edge[:-1]))
    return suspect
