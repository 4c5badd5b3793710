"""How far rows are: on which of the moves of a line that holds several, as fixed cycles do; and on their arcs."""

from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.verify.corners import Zones
from hexpost.verify.route import Stretch

_BLURRED = 1e-3
"""A chord shorter than this, mm, may be one of decimals."""
_TURNED = 2.0
_APART = 10.0
"""A tool that rests is at the very end of its move: to be off it counts so many times as much as a way too long."""
_LEAST = 1e-300


def travelled(s: Stretch, q: Array, rate: Array, period: float) -> Array:
    """Return the way (n,) in mm, from the first row on, that the tool has gone at rows with q and rates (6, n).

    In a tick it is the chord, as that of a circular arc whose tangents turn as the rates do, however long the period;
    where decimals blur the chord, or the tool turns further, the mean speed.
    """
    weight = np.array([1.0] * 3 + [s.rho] * 3)[:, None]
    step, v = np.diff(q * weight), rate * weight
    chord, speed = np.sqrt((step**2).sum(axis=0)), np.sqrt((v**2).sum(axis=0))
    mean = (speed[1:] + speed[:-1]) * (period / 2.0)
    both = speed[1:] * speed[:-1]
    turned = np.arccos(np.clip((v[:, 1:] * v[:, :-1]).sum(axis=0) / np.maximum(both, _LEAST), -1.0, 1.0))
    half = np.where(both > 0.0, 0.5 * np.minimum(turned, _TURNED), 0.0)
    way = np.where((chord < _BLURRED) | (turned * (both > 0.0) > _TURNED), mean, chord / np.sinc(half / pi))
    return np.append(0.0, np.cumsum(way))


def walked(
    where: tuple[Stretch, Zones],
    q: Array,
    moves: tuple[Ints, Ints],
    gone: Array,
    *,
    rest: Flags,
    known: float | None,
) -> Ints:
    """Return the moves (n,) of rows whose lines hold several, from ``moves[0]`` to ``moves[1]``: by the way ``gone``.

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
    origin = gone[np.where(stood, begin - 1, begin)]
    if known is not None:
        place = s.way[first[0]] + known * s.length[first[0]]
        anchor[0], origin[0] = place, gone[0]
    way = np.repeat(anchor - origin, size) + gone
    low = _after_halts((s, stop), moves, (q, way), rest)
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


def _after_halts(where: tuple[Stretch, Flags], moves: tuple[Ints, Ints], at: tuple[Array, Array], rest: Flags) -> Ints:
    """Return the first moves (n,) that are left to each row after the stops at which the tool has rested.

    A tool that rests is at the end of the move that ends there; the ways (n,) of ``at``, q and ways, are mended.
    """
    s, stop = where
    first, last = moves
    q, way = at
    low = first.copy()
    halts = np.flatnonzero(stop)
    ends = np.append(0, np.cumsum(stop))
    some = np.flatnonzero(rest & (ends[last + 1] > ends[first]))
    some = some[way[some] > s.way[first[some]] + 1e-6]
    if not len(some):
        return low
    begin, end = ends[first[some]], ends[last[some] + 1] - 1
    right = np.searchsorted(s.way[halts + 1], way[some])
    best, cost = right, np.full(len(some), np.inf)
    for aside in (0, -1, 1, -2):
        near = np.clip(right + aside, begin, end)
        move = halts[near]
        off = s.off(q[:, some], np.ones(len(some)), move)
        far = np.sqrt((off[:3] ** 2).sum(axis=0)) + s.rho * np.sqrt((off[3:] ** 2).sum(axis=0))
        cost_here = np.abs(way[some] - s.way[move + 1]) + _APART * far
        best, cost = np.where(cost_here < cost, near, best), np.minimum(cost, cost_here)
    move = halts[best]
    given = np.zeros(len(way), dtype=np.int64)
    given[some] = some
    np.maximum.accumulate(given, out=given)
    shift, passed = np.zeros(len(way)), np.full(len(way), -1)
    shift[some], passed[some] = s.way[move + 1] - way[some], move
    ours = (passed[given] >= first) & (passed[given] <= last)
    way += np.where(ours, shift[given], 0.0)
    low[ours] = passed[given][ours] + ~rest[ours]
    return np.minimum(low, last)


def on_arcs(
    where: tuple[Stretch, Zones],
    motion: tuple[Array, Array],
    move: Ints,
    share: Array,
    *,
    at_end: Flags,
    known: float | None,
    period: float,
) -> None:
    """Put the shares of rows on arcs into ``share``: turns follow from row to row by the rates, from the start.

    A tool that rests, and not for its first row, is ``at_end`` (n,) of an arc that ends at rest, if it was no row
    on it before: a circle may take a single period. Where it turns far in one, whole turns beyond the arc are none.
    """
    s = where[0]
    if not len(s.arcs.move):
        return
    on = np.flatnonzero(s.curved[move] >= 0)
    if not len(on):
        return
    angle, speed = s.turned(motion[0][:, on], motion[1][:, on], move[on])
    sweep = np.abs(s.arcs.sweep[s.curved[move[on]]])
    h = period
    new = np.append(True, (on[1:] != on[:-1] + 1) | (move[on[1:]] != move[on[:-1]]))
    step = np.append(angle[0], angle[1:] - angle[:-1])
    expected = np.append(0.0, (speed[1:] + speed[:-1]) * (h / 2.0))
    step[new], expected[new] = angle[new], speed[new] * (h / 2.0)
    whole = new & at_end[on] & where[1].stop[move[on]]
    expected[whole] = sweep[whole]
    if known is not None and on[0] == 0:
        expected[0] = known * sweep[0]
    step -= 2.0 * pi * np.round((step - expected) / (2.0 * pi))
    total = np.cumsum(step)
    begin = np.flatnonzero(new)
    size = np.diff(np.append(begin, len(on)))
    total -= np.repeat(total[begin] - step[begin], size)
    coarse = np.repeat(np.maximum.reduceat(np.abs(expected), begin) > pi / 2.0, size)
    beyond = np.maximum(np.round((total - sweep) / (2.0 * pi)), 0.0) - np.maximum(np.round(-total / (2.0 * pi)), 0.0)
    total -= np.where(coarse, beyond, 0.0) * (2.0 * pi)
    share[on] = total / np.maximum(sweep, 1e-300)
    for _ in range(2):  # a steep helix hardly turns
        share[on] = s.nearer(motion[0][:, on], share[on], move[on])


def past_arcs(where: tuple[Stretch, Zones], q: Array, move: Ints, share: Array, last: Ints) -> Ints:
    """Return the rows (m,) that are beyond their arc, further than a corner reaches, and nearer to the move after it.

    In a long tick whose chord spans more than an arc the way is found too short; a line may go on to ``last`` (n,).
    """
    s, z = where
    on = np.flatnonzero((s.curved[move] >= 0) & (move < last) & ~z.stop[move])
    on = on[(share[on] - 1.0) * s.length[move[on]] > z.beyond[1][move[on]] + _BLURRED]
    after = move[on] + 1
    ends = np.ones(len(on)), np.clip(s.share(q[:, on], after), 0.0, 1.0)
    off = [np.sqrt((s.off(q[:, on], u, k)[:3] ** 2).sum(axis=0)) for u, k in zip(ends, (move[on], after), strict=True)]
    out: Ints = on[off[1] < off[0]]
    return out
