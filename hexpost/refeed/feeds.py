"""The F words of a program: what is in force at each line, where that word is, and which lines may be lowered."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among, distinct
from hexpost.moves.model import F_PER_MINUTE, FEED_RAPID, FIRST_FEED, SAME_WORD, Interpretation

ELSEWHERE = -1
"""Stands for a line whose F word is not that of a feed move: a rapid, or a block of its own."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineFeeds:
    """Lines that move at a feed per minute, rising, shape (k,); ``feed`` the least F in force over all their runs.

    ``per_speed``: F per mm/min (or deg/min). ``free``: may be lowered. ``mixed``: its runs need different F words, or
    one of them cuts nothing at a feed per minute, so that an F word here would rule what comes after that run.
    ``steady``: every run has the same F in force, and is not such a one. ``own``: the block has its F word itself.

    Where the F comes from an earlier block, shape (p,): line ``to`` (as its place) has it from line ``source`` (its
    place, or ``ELSEWHERE``), which runs right before it, and it is ``given``.
    """

    line: Ints
    feed: Array
    per_speed: Array
    free: Flags
    mixed: Flags
    steady: Flags
    own: Flags
    to: Ints
    source: Ints
    given: Array

    def words(self, new: Mapping[int, float]) -> dict[int, float]:
        """Return the F words to write, by line, so that each line runs at ``new`` [line], or as before.

        F is modal: a word is written only where what is in force is another feed than the line is to have. A line
        whose runs have different feeds is left as it is, unless it is lowered.
        """
        wanted = np.where(self.steady, self.feed, np.nan)
        if new:
            wanted[np.searchsorted(self.line, np.fromiter(new, np.int64))] = np.fromiter(new.values(), np.float64)
        fixed = np.isfinite(wanted)
        now = self._given(wanted)
        other = distinct(self.to[fixed[self.to] & ~_same(now, wanted[self.to])])
        write = self.own & fixed & ~_same(np.where(self.steady, self.feed, 0.0), wanted)
        write[other[~self.own[other]]] = True
        return dict(zip(self.line[write].tolist(), wanted[write].tolist(), strict=True))

    def _given(self, wanted: Array) -> Array:
        """Return what each ``to`` (p,) has from its ``source``; 0 where that is not one feed any more."""
        fixed = np.append(np.isfinite(wanted), False)
        at_source = np.append(np.nan_to_num(wanted), 0.0)[self.source]
        now = np.where(fixed[self.source], at_source, self.given)
        loose = np.flatnonzero(~fixed[self.to])
        while True:
            touched = np.zeros(len(self.line) + 1, dtype=np.bool_)
            touched[self.to[loose[~_same(now[loose], self.given[loose])]]] = True
            gone = touched[self.source] & (now > 0.0)
            if not gone.any():
                return now
            now[gone] = 0.0


def feeds_of(meaning: Interpretation) -> LineFeeds:
    """Return the feeds in force, line by line; of a line that runs several times, the least."""
    moves, written = meaning.moves, meaning.written
    at = np.flatnonzero(moves.feed_mode != FEED_RAPID)
    minute = written.mode.at(at) == F_PER_MINUTE
    elsewise = distinct(moves.line[at[~minute]])
    at = at[minute]
    line, back = np.unique(moves.line[at], return_inverse=True)
    word, share = written.feed.at(at), written.per_speed(moves, at)
    least, most = _ends(word, back, len(line))
    low, high = _ends(np.nan_to_num(share), back, len(line))
    elsewise = among(line, elsewise) | _idle(meaning, moves.line[at], line)
    mixed = (high > low * (1.0 + SAME_WORD)) | elsewise
    tapping, own = (
        np.bincount(back, which, len(line)) > 0.0 for which in (np.abs(written.tapping.at(at)), _own(meaning, at))
    )
    to, source, given = _sources(meaning, at, line, back)
    return LineFeeds(
        line=line.astype(np.int64),
        feed=least,
        per_speed=high,
        free=~tapping & ~mixed & (high > 0.0),
        mixed=mixed,
        steady=(most <= least * (1.0 + SAME_WORD)) & ~elsewise,
        own=own,
        to=to,
        source=source,
        given=given,
    )


def _idle(meaning: Interpretation, run: Ints, line: Ints) -> Flags:
    """Return which lines (k,) run more often than they come by in ``run`` (m,), the lines of feed moves in order."""
    if not len(meaning.runs):
        return np.zeros(len(line), dtype=np.bool_)
    begun = run[np.flatnonzero(np.diff(run, prepend=-1))]
    return np.bincount(np.searchsorted(line, begun), minlength=len(line)) < meaning.runs[line]


def _own(meaning: Interpretation, at: Ints) -> Flags:
    """Return which feed moves ``at`` (m,) have their F word in their own block."""
    out: Flags = meaning.written.line.at(at) == 0
    return out


def _sources(meaning: Interpretation, at: Ints, line: Ints, back: Ints) -> tuple[Ints, Ints, Array]:
    """Return who has its feed from whom, and which (see ``LineFeeds``), every such pair once."""
    run = meaning.written.line.run(at)
    far = meaning.written.line.value[run].astype(np.int64)
    place = np.minimum(np.searchsorted(line, far), max(len(line) - 1, 0))
    source = np.where(line[place] == far, place, ELSEWHERE)
    near = np.flatnonzero(run[1:] == run[:-1]) + 1
    source[near] = back[near - 1]
    which = np.flatnonzero((far != 0) & (source != back))
    given = meaning.written.feed.at(at[which])
    given[(far[which] == FIRST_FEED) & (source[which] == ELSEWHERE)] = 0.0  # it ends once there is any F
    pairs = np.stack((back[which], source[which], given))
    to, source_of, given = np.unique(pairs, axis=1)
    return to.astype(np.int64), source_of.astype(np.int64), given


def _ends(values: Array, back: Ints, count: int) -> tuple[Array, Array]:
    """Return the least and the largest of the values (m,) of each of ``count`` lines."""
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, back, values)
    np.maximum.at(most, back, values)
    return least, most


def _same(a: Array, b: Array) -> Flags:
    """Return which feeds (k,) are one."""
    out: Flags = np.abs(a - b) <= SAME_WORD * b
    return out
