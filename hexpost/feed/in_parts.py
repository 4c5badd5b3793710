"""A very long span in parts that are planned side by side, each from rest to rest, and joined where they agree.

A stop is felt no farther than brakes and averages reach. Neighbours overlap; where both are the same for an average
long, the schedule goes over from one to the next. The parts are those of the span, whoever plans them: the bytes are
the same on any number of workers.
"""

from contextlib import closing
from dataclasses import replace
from itertools import pairwise

import numpy as np

from hexpost.feed.known import Passed, agreed, as_known
from hexpost.feed.lookahead import Span, in_windows
from hexpost.feed.model import Timing, TooLongError
from hexpost.feed.ramps import Rests
from hexpost.shelf import LONG
from hexpost.workers.ordered import ordered

PART, OVERLAP = 65_536, 2_048
"""Most pieces of a part, and so many more on both sides of a cut."""


def in_parts(span: Span, *, most_ticks: float, workers: int = 1) -> Timing | None:
    """Return the timing of a path of one span as ``in_windows`` does, its parts planned on so many workers.

    Raises
    ------
    TooLongError
        The job takes more than ``most_ticks``.
    """
    count = span.path.count
    parts = -(-count // PART)
    if parts < 2 or count > LONG:
        return in_windows(span, most_ticks=most_ticks)
    span, none = span.averaged(), np.zeros(0, dtype=np.int64)
    cuts = [count * k // parts for k in range(parts + 1)]
    ends = [(max(a - OVERLAP, 0), min(b + OVERLAP, count)) for a, b in pairwise(cuts)]

    def planned(k: int) -> Timing | None:
        part = replace(span, path=span.path.pieces(*ends[k]), rests=Rests(span=none, ticks=none, line=none))
        return in_windows(part if k == 0 else replace(part, opened=None), most_ticks=most_ticks)

    with closing(ordered(iter(range(parts)), planned, min(workers, parts))) as found:
        timings = list(found)
    timing = _joined(span, cuts, ends, timings)
    if timing is None:
        return in_windows(span, most_ticks=most_ticks)
    if timing.ticks > most_ticks:
        raise TooLongError(timing.ticks)
    return timing


def _joined(span: Span, cuts: list[int], ends: list[tuple[int, int]], timings: list[Timing | None]) -> Timing | None:
    """Return the timing of a span of which parts, which go from one of ``ends`` to the other, were planned."""
    passed, path = [], span.path
    for (a, b), timing in zip(ends, timings, strict=True):
        if timing is None:
            return None
        passed.append(Passed.of(path.pieces(a, b), timing))
    assert span.window is not None
    number, piece, period = np.zeros(path.count, dtype=np.int64), np.arange(path.count), span.machine.period
    for k, cut in enumerate(cuts[1:-1]):
        at = np.arange(max(cut - OVERLAP, ends[k + 1][0]), min(cut + OVERLAP, ends[k][1]))
        (one, other), (a, b) = passed[k : k + 2], (ends[k][0], ends[k + 1][0])
        same = one.same(at - a, other, at - b, period)
        opens = np.concatenate([[True], ~same[:-1]])
        good = at[agreed(one.seconds(at - a), opens) >= float(span.window[0]) * period]
        if not len(good):
            return None
        over = int(good[np.abs(good - cut).argmin()])
        number[over:], piece[over:] = k + 1, np.arange(over, path.count) - b
    return as_known(path, number, piece, passed, window=span.window, rests=span.rests, period=period)
