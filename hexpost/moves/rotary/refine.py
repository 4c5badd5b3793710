"""Moves cut into short pieces whose ends lie on the way that is meant, where a straight move would leave it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Columns, Ints, among
from hexpost.moves.model import FEED_INVERSE
from hexpost.moves.motion.steps import Spread, Steps
from hexpost.units import RAD_PER_DEG

OFF_TIP = 1e-3
"""Millimetres that the tip may be off its way between the ends of pieces."""
OFF_TOOL = 0.002 * RAD_PER_DEG
"""Radians that A B C may be off their way between the ends of pieces."""
COARSE = 5.0 * RAD_PER_DEG
"""Radians of rotary words that a piece has at most."""
MOST_PIECES = 100_000
"""Pieces of one move beyond which its turns cannot be meant."""

MOST_IN_ALL = 10_000_000
"""Pieces of a program in all."""

Way = Callable[[Ints, Array], Array]
"""Poses (6, m) of moves (m,) at shares (m,) of their way."""


@dataclass(frozen=True, slots=True, eq=False)
class Pieces(Columns):
    """Moves (k,) that are cut: their place, into how many (k,), and the ends (6, sum of counts) of all pieces.

    From the move ``full`` on they are not cut, for there would be too many pieces (k: there are not).
    """

    move: Ints
    count: Ints
    end: Array
    full: int = 0


def pieces(move: Ints, turned: Array, way: Way, most: int) -> Pieces:
    """Return how moves ``move`` (k,) are cut that turn by ``turned`` (k,) rad; ``way`` counts them from 0.

    There are at most ``most`` pieces, beside one for each move. The deviation of a straight piece falls with the
    square of the number of pieces.
    """
    count = np.clip(np.ceil(turned / COARSE), 1, MOST_PIECES).astype(np.int64)
    full = _held(count, most)
    which, share = _shares(count)
    width = 1.0 / count[which]
    ends = [way(which, share - width * back) for back in (1.0, 0.5, 0.0)]
    off = np.abs(ends[1] - (ends[0] + ends[2]) / 2.0)
    worst = np.maximum(np.sqrt((off[:3] ** 2).sum(axis=0)) / OFF_TIP, np.sqrt((off[3:] ** 2).sum(axis=0)) / OFF_TOOL)
    first = np.cumsum(count) - count
    finer = np.ceil(np.sqrt(np.maximum.reduceat(worst, first))) if len(move) else np.empty(0)
    count = np.minimum(count * np.maximum(finer, 1.0), MOST_PIECES).astype(np.int64)
    full = min(full, _held(count, most))
    which, share = _shares(count)
    return Pieces(move, count, way(which, share), full)


def refined(steps: Steps, spread: Spread, cut: Pieces) -> tuple[Steps, Spread]:
    """Return moves with those of ``cut`` in pieces, and where the moves of before went; arcs among them become lines.

    A move under inverse time gives every piece the same time, others keep their feed.
    """
    count = len(steps.line)
    times = np.ones(count, dtype=np.int64)
    times[cut.move] = cut.count
    source = np.repeat(np.arange(count), times)
    last = np.cumsum(times) - 1
    first = last - times + 1
    start, end, feed, exact = steps.start[:, source], steps.end[:, source], steps.feed[source], steps.exact[source]
    inside = np.zeros(len(source), dtype=np.bool_)
    inside[np.delete(np.arange(len(source)), last)] = True
    place = np.repeat(first[cut.move] - (np.cumsum(cut.count) - cut.count), cut.count) + np.arange(cut.end.shape[1])
    inner = inside[place]
    end[:, place[inner]] = cut.end[:, inner]
    start[:, place[inner] + 1] = cut.end[:, inner]
    exact[inside] = False
    timed = np.repeat(steps.feed_mode[cut.move] == FEED_INVERSE, cut.count)
    feed[place] *= np.where(timed, np.repeat(cut.count, cut.count), 1)
    t = steps.turns
    kept = ~among(t.move, cut.move)
    turns = t.take(kept, move=last[t.move[kept]])
    out = steps.take(source, start=start, end=end, feed=feed, exact=exact, turns=turns)
    if not len(spread.first):
        return out, Spread(first, last)
    ahead = np.append(first, len(source))
    return out, Spread(ahead[spread.first], ahead[spread.last + 1] - 1)


def _held(count: Ints, most: int) -> int:
    """Set the counts (k,) to 1 from where their sum passes ``most``; return that place (k: it does not)."""
    full = int(np.searchsorted(np.cumsum(count), most, "right"))
    count[full:] = 1
    return full


def _shares(count: Ints) -> tuple[Ints, Array]:
    """Return, for each piece (m,) of moves in ``count`` (k,) pieces, its move and the share of the way at its end."""
    which = np.repeat(np.arange(len(count)), count)
    number = np.arange(1, len(which) + 1) - np.repeat(np.cumsum(count) - count, count)
    return which, number / count[which]
