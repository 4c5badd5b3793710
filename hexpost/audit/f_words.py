"""The F words that advised feeds are written as, in the units and the feed mode of their lines."""

import numpy as np

from hexpost.arrays import Array, Ints, Lines, among
from hexpost.audit.model import F_UNITS, Runs
from hexpost.machine.model import Machine
from hexpost.moves.model import F_INVERSE, F_PER_MINUTE, F_PER_REVOLUTION, FEED_INVERSE, Interpretation, Moves
from hexpost.units import DEG_PER_RAD

METRIC = 1.0
"""Scale of a program in millimetres."""


def add_f_words(runs: Runs, meaning: Interpretation, machine: Machine) -> None:
    """Write into ``runs`` (m,) how their advised feeds are written as F words; nothing where runs of a line differ."""
    at = np.flatnonzero(np.isfinite(runs["feed"]) | np.isfinite(runs["margin_feed"]))
    if not at.size:
        return
    lines, turning = runs["line"][at], runs["turning"][at]
    found = meaning.written.of_lines(meaning.moves, lines)
    timed, metric = found.mode == F_INVERSE, found.scale == METRIC
    share = np.where(timed, 1.0 / inverse_time_ways(meaning.moves, lines, machine), found.per_speed)
    minute, turn = found.mode == F_PER_MINUTE, (found.mode == F_PER_REVOLUTION) & ~turning
    named = {
        "1/min": timed,
        "deg/min": minute & turning,
        "mm/min": minute & metric,
        "inch/min": minute,
        "mm/rev": turn & metric,
        "inch/rev": turn,
    }
    unit = np.select(list(named.values()), [F_UNITS.index(name) for name in named], 0)
    known = np.isfinite(share) & (share > 0.0) & (unit > 0)
    runs["f_share"][at], runs["f_unit"][at] = np.where(known, share, np.nan), np.where(known, unit, 0)


def inverse_time_ways(moves: Moves, lines: Lines, machine: Machine) -> Array:
    """Return how long (k,) the blocks of ``lines`` are that run under inverse time, mm; pure rotations in degrees.

    The longest one where a line runs several times, nan where none does. An arc counts as its radius where F is
    the feed over it.
    """
    at = np.flatnonzero(moves.feed_mode == FEED_INVERSE)
    at = at[among(moves.line[at], lines)]
    way = moves.end[:, at] - moves.start[:, at]
    tip = np.sqrt((way[:3] ** 2).sum(axis=0))
    arc = np.flatnonzero(among(moves.arcs.move, at))
    place = np.searchsorted(at, moves.arcs.move[arc])
    tip[place] = _arc_ways(moves, arc, by_radius=machine.words.inverse_time_arc == "radius")
    size = np.where(tip > 0.0, tip, np.sqrt((way[3:] ** 2).sum(axis=0)) * DEG_PER_RAD)
    block = np.cumsum(np.diff(at, prepend=-2) > 1) * (int(moves.line.max(initial=0)) + 1) + moves.line[at]
    _, first, back = np.unique(block, return_index=True, return_inverse=True)
    whole = np.bincount(back, size, len(first))
    out = np.zeros(int(lines.max(initial=0)) + 1)
    np.maximum.at(out, moves.line[at[first]], whole)
    return np.where(out[lines] > 0.0, out[lines], np.nan)


def _arc_ways(moves: Moves, arc: Ints, *, by_radius: bool) -> Array:
    """Return the length (k,) of arcs and helices, or their radius, mm."""
    move, axis = moves.arcs.move[arc], moves.arcs.axis[arc].astype(np.int64)
    arm = moves.start[:3, move] - moves.arcs.centre[:, arc]
    rise = (moves.end - moves.start)[:3, move][axis, np.arange(len(arc))]
    arm[axis, np.arange(len(arc))] = 0.0
    radius = np.sqrt((arm**2).sum(axis=0))
    out: Array = radius if by_radius else np.hypot(radius * moves.arcs.turn[arc], rise)
    return out
