"""Inside a stretch: ramp, cruise, ramp, exactly; and all stretches laid on the ticks of the control period."""

from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from hexpost.arrays import Array, Columns, Ints
from hexpost.feed.model import Pauses, Timing, whole_ticks
from hexpost.feed.stretches import Speeds, causes

Value = TypeVar("Value", bound=np.generic)

BLOCK = 16384
"""Stretches whose ramps are looked at together."""
NOTHING = 1e-12
"""Ramps and cruises below this share of their stretch are left out."""
EVEN = 1e-4
"""A stretch whose top speed is above that at its edges by less than this share has no ramps: one change, edge to edge.

It takes at most half that share longer; caps differ by so little from piece to piece at a constant feed.
"""
TINY = 1e-300
"""Keeps divisions of nothing by nothing in range."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ramps:
    """Per stretch, shape (n,): lengths of ramps up and down; speeds at start, behind and before ramps, at end."""

    up: Array
    down: Array
    start: Array
    enter: Array
    leave: Array
    end: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Rests(Columns):
    """Dwells, shape (d,): span after which each comes (-1: before the first), ticks, line of the program.

    ``begin``: the tick at which the first span starts, or the dwells before it; ``phase``: time in s from its tick to
    where the first span begins.
    """

    span: Ints
    ticks: Ints
    line: Ints
    begin: int = 0
    phase: float = 0.0


def ramps(speeds: Speeds, which: slice = slice(None)) -> Ramps:
    """Return the ramps of stretches (all, or some in a row): as fast as bounds allow between the speeds at edges."""
    st, x = speeds.st, speeds.x
    a, b, size = x[:-1][which], x[1:][which], st.size[which]
    up, down = np.maximum(st.up[which], TINY), np.maximum(st.down[which], TINY)
    both = up + down
    top = np.minimum(speeds.cap[which], (a * down + b * up + 2 * up * down * size) / both)
    top = np.maximum(top, np.maximum(a, b))
    rise, fall = (top - a) / (2 * up), (top - b) / (2 * down)
    fit = np.minimum(size / np.maximum(rise + fall, TINY), 1.0)  # rounding of the running sums
    rise *= fit
    fall *= fit
    start, end, top = np.sqrt(a), np.sqrt(b), np.sqrt(top)
    even = np.minimum(start, end) > (1 - EVEN) * top
    rise[even] = fall[even] = 0.0
    enter, leave = np.where(even, start, top), np.where(even, end, top)
    return Ramps(up=rise, down=fall, start=start, enter=enter, leave=leave, end=end)


def durations(speeds: Speeds) -> Array:
    """Return the time each stretch takes, shape (n,), before the average over the window."""
    r = ramps(speeds)
    cruise = np.maximum(speeds.st.size - r.up - r.down, 0.0)
    return (
        2 * r.up / np.maximum(r.start + r.enter, TINY)
        + 2 * cruise / np.maximum(r.enter + r.leave, TINY)
        + 2 * r.down / np.maximum(r.leave + r.end, TINY)
    )


def lay(speeds: Speeds, window: Ints, rests: Rests, period: float, programmed: Array) -> Timing:
    """Return the timing: every span starts on a tick and rests at its end on one; dwells lie between spans.

    ``window`` (spans,) in ticks; ``period`` in s; ``programmed`` (pieces,) is handed on.
    """
    st, found = speeds.st, intervals(speeds)
    first = np.concatenate([[0], np.cumsum(found.pop())])[st.first]
    return laid(found, first, st.s[st.first[1:]], window=window, rests=rests, period=period, programmed=programmed)


def laid(
    found: list[Any], first: Ints, s_end: Array, *, window: Ints, rests: Rests, period: float, programmed: Array
) -> Timing:
    """Return the timing of ``found`` intervals s, v, u, duration, cause (m,), which are used up.

    ``first`` (spans + 1,): first interval of each span, ``s_end`` (spans,) where it ends; others as in ``lay``.
    """
    spans = len(first) - 1
    cause, h, u, v, place = (found.pop() for _ in range(5))
    time = np.concatenate([[0.0], h])
    del h
    np.cumsum(time, out=time)
    length = np.diff(time[first])
    length[:1] += rests.phase
    need = whole_ticks(length, period) + window
    pause = np.bincount(rests.span + 1, weights=rests.ticks, minlength=spans + 1).astype(np.int64)
    start = rests.begin + pause[0] + np.concatenate([[0], np.cumsum(need + pause[1:])])
    end = start[:-1] + need
    t, each = time[:-1], np.diff(first)
    t -= np.repeat(time[first[:-1]], each)
    begin = start[:-1] * period
    begin[:1] += rests.phase
    t += np.repeat(begin, each)
    return Timing(
        period=period,
        t=np.insert(t, first[1:], start[:-1] * period + length),
        s=np.insert(place, first[1:], s_end),
        v=np.insert(v, first[1:], 0.0),
        u=np.insert(u, first[1:], 0.0),
        cause=np.insert(cause, first[1:], np.zeros(spans, dtype=np.uint8)),
        first=first + np.arange(spans + 1),
        start=start,
        end=end,
        s_end=s_end,
        window=window,
        pauses=dwelt(rests, np.concatenate([[rests.begin], end])),
        programmed=programmed,
    )


def intervals(speeds: Speeds, low: int = 0, high: int | None = None) -> list[Any]:
    """Return the intervals of stretches (all, or from ``low`` to ``high``, left out): s, v, u, duration, cause (m,).

    And how many each stretch has (n,).
    """
    st = speeds.st
    parts: list[list[NDArray[Any]]] = [[] for _ in range(6)]
    high = len(st.size) if high is None else high
    for begin in range(low, max(high, low + 1), BLOCK):
        part = slice(begin, min(begin + BLOCK, high))
        r, whole, s, end = ramps(speeds, part), st.size[part], st.s[:-1][part], st.s[1:][part]
        size = _in_turn(r.up, whole - r.up - r.down, r.down)
        keep = size > np.repeat(NOTHING * whole, 3)
        at = np.flatnonzero(keep)
        v = _in_turn(r.start, r.enter, r.leave).take(at)
        w = _in_turn(r.enter, r.leave, r.end).take(at)
        h = 2 * size.take(at) / np.maximum(v + w, TINY)
        hold = st.hold[part]
        columns = (
            _in_turn(s, s + r.up, end - r.down).take(at),
            v,
            (w - v) / h,
            h,
            _in_turn(hold, causes(speeds.cap[part]), hold).take(at),
            keep.view(np.uint8).reshape(-1, 3).sum(axis=1, dtype=np.int64),
        )
        for column, new in zip(parts, columns, strict=True):
            column.append(new)
    out: list[Any] = []
    while parts:
        out.append(np.concatenate(parts.pop(0)))
    return out


def _in_turn(*columns: NDArray[Value]) -> NDArray[Value]:
    """Return columns (n,) of three one after the other for each stretch, shape (3 n,)."""
    return np.stack(columns, axis=1).reshape(-1)


def dwelt(rests: Rests, end: Ints) -> Pauses:
    """Return the dwells in ticks; ``end`` (spans + 1,): tick at which the tool comes to rest (at first: starts)."""
    total = np.concatenate([[0], np.cumsum(rests.ticks)])
    new = np.searchsorted(rests.span, rests.span)  # first dwell of the same span
    begin = end[rests.span + 1] + total[:-1] - total[new]
    return Pauses(start=begin, end=begin + rests.ticks, line=rests.line.astype(np.int32))
