"""How far a program leads its tool: least and most place of each axis in work coordinates."""

from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.moves.model import HOME, Interpretation, Moves
from hexpost.moves.needs.columns import WordColumns
from hexpost.moves.needs.model import AXES
from hexpost.shelf import windows
from hexpost.units import DEG_PER_RAD

SAME = 1e-9
"""An axis that changes by less stays where it is."""

ELSEWHERE = (4, 28, 30, 53, 74, 92)
"""G codes in whose blocks axis words are no places in work coordinates."""


def extents(meaning: Interpretation, words: WordColumns, per_unit: float = 1.0) -> dict[str, tuple[float, float]]:
    """Return the least and the most place of each axis that moves: mm over ``per_unit``, degrees.

    Ends of moves and the bends of arcs, in work coordinates; moves in machine coordinates and reference returns are
    left out, and so are the places where these end. A place that blocks named without moving there counts where a move
    begins at it. A B C count from where they are at first. The radius of an arc changes evenly from start to end.
    """
    moves = meaning.moves
    frames = np.array([f.offset != "G53" for f in moves.frames], dtype=np.bool_)
    named = _named(words)
    first = np.array([np.flatnonzero(row)[0] if row.any() else words.program.lines + 1 for row in named])
    low, high = np.full(6, np.inf), np.full(6, -np.inf)
    strange = [False] * 6
    for w in windows(moves.count):
        new = moves.frame[np.maximum(np.arange(w.start, w.stop) - 1, 0)] != moves.frame[w]
        inside = frames[moves.frame[w]] & (meaning.written.led.at(np.arange(w.start, w.stop)) != HOME)
        start, end = moves.start[:, w], moves.end[:, w]
        row = moves.line[w] - words.program.line0
        for i in range(6):
            changed = np.abs(end[i] - start[i]) > SAME
            here = inside & (changed | named[i, row])
            _take(low, high, i, end[i, here])
            begun = inside & changed
            if i < 3:
                away, strange[i] = _strange(here, new, ~inside & changed, before=strange[i])
                begun &= ~away & (row > first[i])
            _take(low, high, i, start[i, begun])
    bends = np.flatnonzero(frames[moves.frame[moves.arcs.move]])
    for w in windows(len(bends)):
        for i, values in _bends(moves, bends[w]):
            _take(low, high, i, values)
    scale = np.array([1.0 / per_unit] * 3 + [DEG_PER_RAD] * 3)
    ends = np.round(np.stack((low, high), axis=1) * scale[:, None], 9) + 0.0
    return {x: (float(ends[i, 0]), float(ends[i, 1])) for i, x in enumerate(AXES) if low[i] <= high[i]}


def _strange(here: Flags, new: Flags, away: Flags, *, before: bool) -> tuple[Flags, bool]:
    """Return which moves (k,) of a window begin where no word of their work frame put an axis; and so behind the last.

    ``here``: the axis gets a place in work coordinates; ``new``: the work frame is another one than ahead of the move;
    ``away``: the move leads the axis elsewhere. ``before``: how it is ahead of the window.
    """
    events = np.zeros(2 * len(here) + 1, dtype=np.int8)  # of each move: ahead of it, then by it
    events[0] = 2 if before else 1
    events[1::2][new], events[2::2][here], events[2::2][away] = 2, 1, 2
    last = np.maximum.accumulate(np.where(events > 0, np.arange(len(events)), 0))
    known: Flags = events[last] == 2
    return known[1::2], bool(known[-1])


def _take(low: Array, high: Array, i: int, values: Array) -> None:
    """Widen the extent of axis ``i``."""
    if values.size:
        low[i], high[i] = min(low[i], values.min()), max(high[i], values.max())


def _named(words: WordColumns) -> Flags:
    """Return which axes (6, lines + 1) the blocks name as places in work coordinates, by line in the program."""
    program = words.program
    out = np.zeros((6, program.lines + 1), dtype=np.bool_)
    elsewhere = words.on_lines_of(words.coded("G", *ELSEWHERE))
    for i, x in enumerate(AXES):
        out[i, program.line[words.named(x) & ~elsewhere] - program.line0] = True
    return out


def _bends(moves: Moves, arcs: Ints) -> list[tuple[int, Array]]:
    """Return the places where arcs (k,) turn back along an axis, with the axis.

    A point of an arc is centre + r (cos p, sin p), p from its start by its turn: it turns back along its first axis
    where p is a multiple of pi, along its second a quarter of a turn from there.
    """
    move, axis = moves.arcs.move[arcs], moves.arcs.axis[arcs].astype(np.int64)
    k, turn = np.arange(len(arcs)), moves.arcs.turn[arcs]
    first, second = (axis + 1) % 3, (axis + 2) % 3
    centre = moves.arcs.centre[:, arcs]
    arms = [(p[[first, second], k] - centre[[first, second], k]) for p in (moves.start[:, move], moves.end[:, move])]
    radius, ends = np.hypot(*arms[0]), np.hypot(*arms[1])
    phase = np.arctan2(arms[0][1], arms[0][0])
    out = []
    for quarter in range(4):
        ahead = np.where(turn >= 0.0, (quarter * pi / 2 - phase) % (2 * pi), -((phase - quarter * pi / 2) % (2 * pi)))
        met = np.abs(ahead) <= np.abs(turn)
        share = np.divide(ahead, turn, out=np.zeros_like(turn), where=turn != 0.0)
        reach = (radius + (ends - radius) * share) * (1.0 if quarter < 2 else -1.0)
        along = first if quarter % 2 == 0 else second
        for i in range(3):
            here = met & (along == i)
            out.append((i, centre[i, here] + reach[here]))
    return out
