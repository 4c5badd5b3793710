"""A long span under the struts: as programmed where that keeps them and can hardly be beaten, else planned for them."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Ints
from hexpost.feed.bounds import HUGE
from hexpost.feed.correct import Ranges, over_struts
from hexpost.feed.lookahead import WINDOW, Span, in_windows
from hexpost.feed.model import Timing
from hexpost.feed.ramps import durations
from hexpost.feed.task import AS_PROGRAMMED, STRUT_LIMITED
from hexpost.feed.windows import choose, split
from hexpost.path.model import open_ended
from hexpost.shelf import let_go

TRIES_APART = 2
"""A schedule that takes so many times as long as is allowed is given up: none is much faster."""
NEAR = 1.01
"""A schedule as programmed that keeps the struts stands where it takes at most so many times what theirs must take."""


def fastest_in_windows(span: Span, *, most_ticks: float) -> Timing | None:
    """Return the timing of a long span as ``in_windows`` does: as programmed where that keeps the struts, too.

    A schedule under the struts is made only where it might be shorter by more than a share ``NEAR`` says.

    Raises
    ------
    TooLongError
        The job takes far more than ``most_ticks``.
    """
    if span.mode != STRUT_LIMITED:
        return in_windows(span, most_ticks=most_ticks)
    programmed = in_windows(replace(span, mode=AS_PROGRAMMED), most_ticks=TRIES_APART * most_ticks)
    least = None if programmed is None else _least_within_struts(span, programmed)
    if programmed and least and float(programmed.end[0] - programmed.start[0]) <= NEAR * least:
        return programmed
    timing = in_windows(span, most_ticks=TRIES_APART * most_ticks)
    return programmed if programmed and least and timing and programmed.ticks <= timing.ticks else timing


def _least_within_struts(span: Span, timing: Timing) -> float | None:
    """Return the ticks that no plan of a long span under the struts goes below, if a timing keeps their limits.

    Looked at in windows. The bounds with which the struts would be planned, before corrections, say how long.
    """
    count, s0, total, period = span.path.count, span.path.s0, 0.0, span.machine.period
    none: Ints = np.zeros(0, dtype=np.int64)
    seconds = np.zeros(0)
    for low in range(0, count, WINDOW):
        high = min(low + WINDOW, count)
        task, st = span.task(low, high, 0.0, np.inf)
        k = np.searchsorted(timing.s, [s0[low], s0[high]]) - [1, 0]
        begin, end = timing.t[np.clip(k, 0, len(timing.t) - 1)] / period
        where = Ranges(lo=np.array([begin]), hi=np.array([end + timing.window[0]]))
        if over_struts(timing, task.path, task.limits, np.ones(1, dtype=bool), where).any():
            return None
        whole = open_ended(task.path.kind[st.piece])
        if not len(seconds):
            seconds = choose(st, whole, none, period).astype(np.float64) * period
        st = split(st, whole, seconds).ramped(seconds)
        up, down = st.up.copy(), st.down.copy()
        up[0], down[-1] = (
            (up[0] if low == 0 else HUGE),
            (down[-1] if high == count else HUGE),
        )  # no rest between windows
        total += float(durations(replace(st, up=up, down=down).solved(seconds)).sum())
        let_go()
    return (total + float(seconds[0])) / period
