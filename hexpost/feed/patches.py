"""A path of which much was planned before, in other paths: only what lies about the changes is planned again.

A stop is felt as far as the tool brakes and averages reach, and no farther. So the pieces about every change are
planned from rest to rest, with some room to both sides; where the result is, for an average long, what is known
already, the schedule goes over from one to the other. Each sample then is one that was looked at before, as it depends
on the speeds of one average alone. Where no such places are found there is no patch: the whole is to be planned.
"""

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among, in_ranges
from hexpost.feed.known import Passed, Sources, agreed, as_known
from hexpost.feed.lookahead import StuckError, from_rest_to_rest
from hexpost.feed.model import Timing, TooLongError
from hexpost.feed.ramps import Rests
from hexpost.feed.task import AS_PROGRAMMED
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ToolPath

ROOM = (0.3, 1.2)
"""Seconds on both sides of a change that are planned with it: so much at first, then more where that is too little."""
MOST = 0.6
"""Where so much of the path must be planned again, as a share of its pieces, all of it is."""


def patched(
    path: ToolPath,
    known: list[tuple[ToolPath, Timing]],
    moves: Moves,
    machine: Machine,
    rests: Rests,
    *,
    most_ticks: float = np.inf,
) -> Timing | None:
    """Return the timing as programmed of a path with the spans of ``known`` ones, or ``None`` where it is not found.

    Raises
    ------
    TooLongError
        The job takes more than ``most_ticks``.
    """
    passed = [Passed.of(*one) for one in known]
    sources = Sources.of(path, known, passed)
    span, window = np.repeat(np.arange(len(sources.window)), np.diff(path.span_first)), sources.window.copy()
    for room in ROOM:
        low, high = _zones(path, sources, span, room)
        if not 0 < (high - low).sum() <= MOST * path.count:
            return None
        zones, at = path.some(low, high), in_ranges(low, high)
        average = window[span[low]]
        try:
            task, speeds = from_rest_to_rest(zones, average, moves, machine, AS_PROGRAMMED)
        except StuckError:
            return None
        fresh, old = Passed.new(zones, speeds, task.programmed), np.zeros(len(at), dtype=np.bool_)
        for k, one in enumerate(passed):
            here = np.flatnonzero(sources.number[at] == k)
            old[here] = fresh.same(here, one, sources.piece[at[here]], task.period)
        window[span[low]] = average
        long = average.astype(np.float64) * task.period
        mine = _replaced(zones, fresh, old, sources.run[at], long, path=path, low=low)
        if mine is not None:
            sources = sources.with_others(at[mine], len(passed), np.flatnonzero(mine))
            timing = as_known(
                path, sources.number, sources.piece, [*passed, fresh], window=window, rests=rests, period=task.period
            )
            if timing.ticks > most_ticks:
                raise TooLongError(timing.ticks)
            return timing
    return None


def _zones(path: ToolPath, sources: Sources, span: Ints, room: float) -> tuple[Ints, Ints]:
    """Return the pieces from which and to which (left out) there is planning, with ``room`` [s] about each change."""
    new = np.flatnonzero(np.diff(sources.run, prepend=0) != 0)
    new = new[~among(new, path.span_first)]
    none = np.flatnonzero(sources.number < 0)
    begin, end = np.concatenate([new, none]), np.concatenate([new, none + 1])
    own = span[np.concatenate([new, none])]
    order = np.argsort(begin, kind="stable")
    begin, end, own = begin[order], end[order], own[order]
    low = np.searchsorted(sources.time, sources.time[begin] - room, "right") - 1
    high = np.searchsorted(sources.time, sources.time[end] + room)
    low, high = np.maximum(low, path.span_first[own]), np.minimum(high, path.span_first[own + 1])
    high = np.maximum.accumulate(high)
    if not len(low):
        return low, high
    first = np.concatenate([[True], (low[1:] > high[:-1]) | (own[1:] != own[:-1])])
    return low[first], high[np.append(np.flatnonzero(first)[1:], len(low)) - 1]


def _replaced(
    zones: ToolPath, fresh: Passed, old: Flags, run: Ints, average: Array, *, path: ToolPath, low: Ints
) -> Flags | None:
    """Return which pieces (n,) of zones (z,) take the place of known ones, ``None`` where a zone does not go over.

    It does at the start of a piece before which all were passed as they are known (``old``), for an average [s] (z,),
    in the first or the last of its ``run`` (n,); where a zone begins or ends with its span, it need not. ``low`` (z,):
    the first pieces of zones.
    """
    first, last = zones.span_first[:-1], zones.span_first[1:] - 1
    zone = np.repeat(np.arange(len(first)), np.diff(zones.span_first))
    number = np.arange(zones.count)
    opens = np.concatenate([[True], ~old[:-1] | (run[1:] != run[:-1])])
    opens[first] = True
    over = agreed(fresh.seconds(number), opens) >= average[zone]
    size = np.diff(zones.span_first)
    begin = np.maximum.reduceat(np.where(over & (run == run[first][zone]), number, -1), first)
    end = np.minimum.reduceat(np.where(over & (run == run[last][zone]), number, zones.count + 1), first)
    begin = np.where(among(low, path.span_first), first, begin)
    end = np.where(among(low + size, path.span_first), last + 1, end)
    if (begin < first).any() or (end > last + 1).any():
        return None
    out: Flags = (number >= begin[zone]) & (number < end[zone])
    return out
