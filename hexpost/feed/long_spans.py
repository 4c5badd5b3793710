"""A long span under the struts: as programmed where that keeps them and can hardly be beaten, else planned for them."""

from contextlib import closing
from dataclasses import replace

import numpy as np

from hexpost.feed.bounds import HUGE
from hexpost.feed.correct import Ranges, over_struts
from hexpost.feed.in_parts import in_parts
from hexpost.feed.lookahead import WINDOW, Span
from hexpost.feed.model import Timing
from hexpost.feed.ramps import durations
from hexpost.feed.task import AS_PROGRAMMED, STRUT_LIMITED
from hexpost.feed.windows import split
from hexpost.path.model import open_ended
from hexpost.shelf import let_go
from hexpost.workers.ordered import ordered

TRIES_APART = 2
"""A schedule that takes so many times as long as is allowed is given up: none is much faster."""
NEAR = 1.008
"""A schedule as programmed that keeps the struts stands where it takes at most so many times what theirs must take."""


def fastest_in_windows(span: Span, *, most_ticks: float, workers: int = 1) -> Timing | None:
    """Return the timing of a long span as ``in_parts`` does: as programmed where that keeps the struts, too.

    A schedule under the struts is made only where it might be shorter by more than a share ``NEAR`` says.

    Raises
    ------
    TooLongError
        The job takes far more than ``most_ticks``.
    """
    if span.mode != STRUT_LIMITED:
        return in_parts(span, most_ticks=most_ticks, workers=workers)
    programmed = in_parts(replace(span, mode=AS_PROGRAMMED), most_ticks=TRIES_APART * most_ticks, workers=workers)
    least = None if programmed is None else _least_within_struts(span, programmed, workers)
    if programmed and least and float(programmed.end[0] - programmed.start[0]) <= NEAR * least:
        return programmed
    timing = in_parts(span, most_ticks=TRIES_APART * most_ticks, workers=workers)
    return programmed if programmed and least and timing and programmed.ticks <= timing.ticks else timing


def _least_within_struts(span: Span, timing: Timing, workers: int = 1) -> float | None:
    """Return the ticks that no plan of a long span under the struts goes below, if a timing keeps their limits.

    Looked at in windows, on so many workers. The bounds with which the struts would be planned, before corrections, say
    how long, with the average of the timing: it was the best for fewer limits.
    """
    low = range(0, span.path.count, WINDOW)
    total = 0.0
    with closing(ordered(iter(low), lambda k: _within(span, timing, k), min(workers, len(low)))) as found:
        for seconds in found:
            if seconds is None:
                return None
            total += seconds
    return total / span.machine.period + float(timing.window[0])


def _within(span: Span, timing: Timing, low: int) -> float | None:
    """Return the least seconds for a window of pieces from ``low`` on, if a timing keeps the struts there."""
    s0, period, high = span.path.s0, span.machine.period, min(low + WINDOW, span.path.count)
    task, st = span.task(low, high, 0.0, np.inf)
    k = np.searchsorted(timing.s, [s0[low], s0[high]]) - [1, 0]
    begin, end = timing.t[np.clip(k, 0, len(timing.t) - 1)] / period
    where = Ranges(lo=np.array([begin]), hi=np.array([end + timing.window[0]]))
    if over_struts(timing, task.path, task.limits, np.ones(1, dtype=bool), where).any():
        return None
    seconds = timing.window.astype(np.float64) * period
    st = split(st, open_ended(task.path.kind[st.piece]), seconds).ramped(seconds)
    up, down = st.up.copy(), st.down.copy()
    up[: low > 0] = HUGE  # no rest between windows
    down[len(down) - (high < span.path.count) :] = HUGE
    out = float(durations(replace(st, up=up, down=down).solved(seconds)).sum())
    let_go()
    return out
