"""The feeds of a program as its F words say them: what is in force in each block, and which blocks may be lowered."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.moves.model import FEED_TILT, FEED_TIP, Moves
from hexpost.program.model import Program
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

MM_PER_INCH = 25.4
TAPPING = (74, 84)
"""Cycles whose feed belongs to the thread: never touched."""
MOTIONS = (0, 1, 2, 3, *range(73, 90))
FEED_MODES, PER_MINUTE = (93, 94, 95), 94
UNITS, INCH = (20, 21), 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Feeds:
    """Lines that move at a feed per minute, rising, shape (k,); ``feed`` the least F over all their moves.

    ``scale``: what a feed in mm/min (or deg/min) is divided by to make an F word.
    ``free``: may be lowered (no tapping).
    """

    line: Ints
    feed: Array
    scale: Array
    free: Flags


def feeds_of(program: Program, moves: Moves) -> Feeds:
    """Return the feeds in force, line by line; of a line that runs several times, the least."""
    mode = modal(program, FEED_MODES, PER_MINUTE)
    inch = modal(program, UNITS, 0) == INCH
    tapping = np.isin(modal(program, MOTIONS, 0), TAPPING)
    at = np.flatnonzero(np.isin(moves.feed_mode, (FEED_TIP, FEED_TILT)))
    at = at[mode[moves.line[at] - 1] == PER_MINUTE]
    turning = moves.feed_mode[at] == FEED_TILT
    scale = np.where(inch[moves.line[at] - 1] & ~turning, MM_PER_INCH, 1.0)
    feed = moves.feed[at] * SECONDS_PER_MINUTE * np.where(turning, DEG_PER_RAD, 1.0) / scale
    line, back = np.unique(moves.line[at], return_inverse=True)
    least = np.full(len(line), np.inf)
    np.minimum.at(least, back, feed)
    of_line = np.ones(len(line))
    of_line[back] = scale
    return Feeds(line=line.astype(np.int64), feed=least, scale=of_line, free=~tapping[line - 1])


def modal(program: Program, codes: tuple[int, ...], before: int) -> Ints:
    """Return the G code out of ``codes`` in force in each line, shape (lines,), in the order of the text."""
    at = np.flatnonzero((program.letter == ord("G")) & np.isin(program.value, codes))
    out = np.full(program.lines, -1, dtype=np.int64)
    out[program.line[at] - 1] = program.value[at].astype(np.int64)
    last = np.maximum.accumulate(np.where(out >= 0, np.arange(program.lines), -1))
    return np.where(last >= 0, out[last], before)
