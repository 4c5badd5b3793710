"""Rows of a line that holds several moves, as fixed cycles do: which of them each is on, by the way travelled."""

from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.verify.corners import Zones
from hexpost.verify.route import Stretch


def walked(
    where: tuple[Stretch, Zones],
    q: Array,
    moves: tuple[Ints, Ints],
    travelled: Array,
    *,
    rest: Flags,
    known: float | None,
) -> Ints:
    """Return the moves (n,) of rows whose lines hold several, from ``moves[0]`` to ``moves[1]``: by the way travelled.

    Where the tool rests, it is at the end of a move that ends at rest: there the way is known again exactly.
    """
    s, stop = where[0], where[1].stop
    first, last = moves
    begin = np.flatnonzero(np.append(True, (first[1:] != first[:-1]) | (last[1:] != last[:-1])))
    size = np.diff(np.append(begin, len(first)))
    share = np.clip(_begun(s, q[:, begin], first[begin]), 0.0, 1.0)
    anchor = s.way[first[begin]] + share * s.length[first[begin]]
    stood = (begin > 0) & rest[begin - 1]
    anchor = np.where(stood, s.way[first[begin]], anchor)
    origin = travelled[np.where(stood, begin - 1, begin)]
    if known is not None:
        place = s.way[first[0]] + known * s.length[first[0]]
        anchor[0], origin[0] = place, travelled[0]
    way = np.repeat(anchor - origin, size) + travelled
    low = _after_halts((s, stop), moves, way, rest)
    move = np.searchsorted(s.way[1:], way - 1e-9)
    ends = np.append(np.flatnonzero(stop), s.count)
    high = np.minimum(ends[np.searchsorted(ends, np.minimum(low, s.count))], last)
    move = np.clip(move, np.minimum(low, high), high)
    for _ in range(8):
        share = s.share(q, move)
        straight = s.curved[move] < 0
        over, under = (share - 1.0) * s.length[move], -share * s.length[move]
        up, down = straight & (over > 1e-6) & (move < last), straight & (under > 1e-6) & (move > first)
        up &= move < high
        down &= move > low
        if not (up.any() or down.any()):
            break
        move = move + up - (down & ~up)
    return move


def _begun(s: Stretch, q: Array, move: Ints) -> Array:
    """Return the shares (n,) of moves that have just begun."""
    share = s.share(q, move)
    on = np.flatnonzero(s.curved[move] >= 0)
    if len(on):
        angle, _ = s.turned(q[:, on], np.zeros((6, len(on))), move[on])
        angle -= 2.0 * pi * np.round(angle / (2.0 * pi))
        share[on] = s.nearer(q[:, on], angle / np.abs(s.arcs.sweep[s.curved[move[on]]]), move[on])
    return share


def _after_halts(where: tuple[Stretch, Flags], moves: tuple[Ints, Ints], way: Array, rest: Flags) -> Ints:
    """Return the first moves (n,) that are left to each row after the stops at which the tool has rested; mend ``way``.

    A tool that rests is at the end of the move that ends there.
    """
    s, stop = where
    first, last = moves
    low = first.copy()
    halts = np.flatnonzero(stop)
    at = np.flatnonzero(rest & (last > first))
    at = at[way[at] > s.way[first[at]] + 1e-6]
    if not len(at) or not len(halts):
        return low
    places = s.way[halts + 1]
    right = np.clip(np.searchsorted(places, way[at]), 0, len(halts) - 1)
    left = np.maximum(right - 1, 0)
    near = np.where(way[at] - places[left] < places[right] - way[at], left, right)
    given = np.zeros(len(way), dtype=np.int64)
    given[at] = at
    np.maximum.accumulate(given, out=given)
    shift, passed = np.zeros(len(way)), np.full(len(way), -1)
    shift[at], passed[at] = places[near] - way[at], halts[near]
    ours = (passed[given] >= first) & (passed[given] <= last)
    way += np.where(ours, shift[given], 0.0)
    low[ours] = passed[given][ours] + ~rest[ours]
    return np.minimum(low, last)
