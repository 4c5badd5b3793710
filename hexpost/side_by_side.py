"""One program under two schedules: what each does along the path and along the time, for one page.

The path is that of the moves, whatever each schedule rounds or smooths: a place on it is a share of a move. The path
parameter gives it, so that both are at one place when they are at the same share of the same move.
"""

from collections.abc import Callable

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.comparison import move_seconds
from hexpost.pipeline import Job, audit_of
from hexpost.report.both import Both, FeedAndUse, Side
from hexpost.report.model import Report
from hexpost.report.picture import COLUMNS, use_of
from hexpost.setpoints.model import Setpoints

Follow = Callable[[Job, Callable[[Setpoints], None]], Report]
"""Runs a job, hands its samples on and returns its report."""


class Along:
    """Follows the samples of a job of two; ``ticks`` is the last tick of the longer one, ``length`` (n,) of the moves.

    Lengths are parameter lengths, mm, the same for both jobs.
    """

    def __init__(self, job: Job, ticks: int, length: Array) -> None:
        path, moves = job.path, job.inputs.meaning.moves
        piece, on = path.end_of(np.arange(moves.count))
        self._job, self._charted = job, audit_of(job).charted
        self._ends: Array = np.concatenate([[0.0], path.s0[piece] + on])
        self._places: Array = np.concatenate([[0.0], np.cumsum(length)])
        self._ticks = ticks
        self._time, self._path = _Columns(), _Columns()
        self._first: Array = np.full(COLUMNS, np.inf)
        self._line: Ints = np.full(COLUMNS, -1)

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        poses = setpoints.poses
        share = np.interp(self._job.timing.motion(poses.tick).s, self._ends, self._places) / max(self._places[-1], 1e-9)
        feed = np.sqrt((poses.rate[:3] ** 2).sum(axis=0))
        use = use_of(setpoints, self._charted)
        self._time.add(poses.tick * COLUMNS // (self._ticks + 1), feed, use)
        column: Ints = np.minimum(share * COLUMNS, COLUMNS - 1).astype(np.int64)
        self._path.add(column, feed, use)
        new = np.flatnonzero(np.append(True, np.diff(column) != 0))
        at = new[~np.isfinite(self._first[column[new]])]
        self._first[column[at]], self._line[column[at]] = poses.tick[at], poses.line[at]

    def finish(self, report: Report) -> Side:
        """Return what was seen."""
        job, known = self._job, np.flatnonzero(np.isfinite(self._first))
        line = self._line[known[np.maximum(np.searchsorted(known, np.arange(COLUMNS), "right") - 1, 0)]]
        moves, timing = job.inputs.meaning.moves, job.timing
        lines, back = np.unique(moves.line, return_inverse=True)
        each: Array = np.bincount(back, move_seconds(moves, job.path, timing), len(lines)).astype(np.float64)
        return Side(
            report=report,
            time=self._time.course(whole=False),
            path=self._path.course(whole=True),
            reached=np.interp(np.arange(COLUMNS), known, self._first[known]) * timing.period,
            line=line,
            lines=lines.astype(np.int64),
            seconds=each,
        )


def side_by_side(one: Job, other: Job, follow: Follow) -> Both:
    """Return both jobs, as ``follow`` runs them."""
    ticks, length = max(one.timing.ticks, other.timing.ticks), one.path.length
    sides = []
    for job in (one, other):
        along = Along(job, ticks, length)
        sides.append(along.finish(follow(job, along.add)))
    return Both(
        sides=(sides[0], sides[1]), until=ticks * one.timing.period, length=float(length.sum()),
        program=one.inputs.program,
    )  # fmt: skip


class _Columns:
    """Extremes of feed and use in columns."""

    def __init__(self) -> None:
        self._low, self._high, self._use = (np.full(COLUMNS, x) for x in (np.inf, -np.inf, -np.inf))

    def add(self, column: Ints, feed: Array, use: Array) -> None:
        """Take samples (n,) in columns (n,), rising."""
        new = np.flatnonzero(np.append(True, np.diff(column) != 0))
        to = column[new]
        self._low[to] = np.minimum(self._low[to], np.minimum.reduceat(feed, new))
        self._high[to] = np.maximum(self._high[to], np.maximum.reduceat(feed, new))
        self._use[to] = np.maximum(self._use[to], np.maximum.reduceat(use, new))

    def course(self, *, whole: bool) -> FeedAndUse:
        """Return the columns; where no sample is, those beside it (``whole``), or nothing moves any more."""
        known = np.flatnonzero(np.isfinite(self._low))
        if not whole:
            rest = ~np.isfinite(self._low)
            return FeedAndUse(*(np.where(rest, 0.0, x) for x in (self._low, self._high, self._use)))
        near = known[np.clip(np.searchsorted(known, np.arange(COLUMNS)), 0, len(known) - 1)]
        return FeedAndUse(self._low[near], self._high[near], self._use[near])
