"""Inside a stretch: ramp, cruise, ramp, exactly; and all stretches laid on the ticks of the control period."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hexpost.arrays import Array, Ints
from hexpost.feed.model import Pauses, Timing, whole_ticks
from hexpost.feed.stretches import Speeds, causes

Value = TypeVar("Value", bound=np.generic)

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
class Rests:
    """Dwells, shape (d,): span after which each comes (-1: before the first), ticks, line of the program."""

    span: Ints
    ticks: Ints
    line: Ints


def ramps(speeds: Speeds) -> Ramps:
    """Return the ramps of each stretch: as fast as its bounds allow between the speeds at its edges."""
    st, x = speeds.st, speeds.x
    a, b = x[:-1], x[1:]
    up, down = np.maximum(st.up, TINY), np.maximum(st.down, TINY)
    both = up + down
    top = np.minimum(speeds.cap, (a * down + b * up + 2 * up * down * st.size) / both)
    top = np.maximum(top, np.maximum(a, b))
    rise, fall = (top - a) / (2 * up), (top - b) / (2 * down)
    fit = np.minimum(st.size / np.maximum(rise + fall, TINY), 1.0)  # rounding of the running sums
    rise *= fit
    fall *= fit
    v, top = np.sqrt(x), np.sqrt(top)
    start, end = v[:-1], v[1:]
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
    st = speeds.st
    r = ramps(speeds)
    spans = len(st.first) - 1
    size = _in_turn(r.up, st.size - r.up - r.down, r.down)
    keep = size > np.repeat(NOTHING * st.size, 3)
    at = np.flatnonzero(keep)
    place = _in_turn(st.s[:-1], st.s[:-1] + r.up, st.s[1:] - r.down).take(at)
    v = _in_turn(r.start, r.enter, r.leave).take(at)
    w = _in_turn(r.enter, r.leave, r.end).take(at)
    h = 2 * size.take(at) / np.maximum(v + w, TINY)
    u = (w - v) / h
    cause = _in_turn(st.hold, causes(speeds.cap), st.hold).take(at)
    edge = np.concatenate([[0], np.cumsum(keep.view(np.uint8).reshape(-1, 3).sum(axis=1, dtype=np.int64))])
    first = edge[st.first]
    time = np.concatenate([[0.0], np.cumsum(h)])
    length = np.diff(time[first])
    need = whole_ticks(length, period) + window
    pause = np.bincount(rests.span + 1, weights=rests.ticks, minlength=spans + 1).astype(np.int64)
    start = pause[0] + np.concatenate([[0], np.cumsum(need + pause[1:])])
    end = start[:-1] + need
    which = np.repeat(np.arange(spans), np.diff(first))
    t = time[:-1] - time[first[which]] + start[which] * period
    s_end = st.s[st.first[1:]]
    columns = _with_rests(first[1:], (t, place, v, u), (start[:-1] * period + length, s_end))
    return Timing(
        period=period,
        t=columns[0],
        s=columns[1],
        v=columns[2],
        u=columns[3],
        cause=np.insert(cause, first[1:], np.zeros(spans, dtype=np.uint8)),
        first=first + np.arange(spans + 1),
        start=start,
        end=end,
        s_end=s_end,
        window=window,
        pauses=_pauses(rests, np.concatenate([[0], end])),
        programmed=programmed,
    )


def _in_turn(*columns: NDArray[Value]) -> NDArray[Value]:
    """Return columns (n,) of three one after the other for each stretch, shape (3 n,)."""
    return np.stack(columns, axis=1).reshape(-1)


def _with_rests(at: Ints, columns: tuple[Array, ...], rest: tuple[Array, Array]) -> list[Array]:
    """Return t, s, v, u with an interval at rest, at time and parameter ``rest``, put in at the end of each span."""
    nothing = np.zeros(len(at))
    return [np.insert(c, at, r) for c, r in zip(columns, (*rest, nothing, nothing), strict=True)]


def _pauses(rests: Rests, end: Ints) -> Pauses:
    """Return the dwells in ticks; ``end`` (spans + 1,): tick at which the tool comes to rest (0 at first)."""
    total = np.concatenate([[0], np.cumsum(rests.ticks)])
    new = np.searchsorted(rests.span, rests.span)  # first dwell of the same span
    begin = end[rests.span + 1] + total[:-1] - total[new]
    return Pauses(start=begin, end=begin + rests.ticks, line=rests.line.astype(np.int32))
