"""Rolled corners put among the moves as arcs of their own, before the element behind the corner."""

import numpy as np

from hexpost.arrays import Array, Codes, Ints
from hexpost.moves.compensation.contour import Contour
from hexpost.moves.compensation.corners import Beside
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TIP, Arcs
from hexpost.moves.motion.steps import Spread, Steps


def inserted(out: Steps, element: Contour, path: Beside) -> tuple[Steps, Spread]:
    """Return the moves with an arc around the vertex before every rolled element, and where the moves went.

    The arc belongs to the block behind the corner: its line and feed (the feed of the block before it where that
    one is a rapid); under inverse time both share the time of the block by their lengths.
    """
    rolled = np.flatnonzero(path.rolled)
    before = element.move[rolled]
    count = len(out.line)
    last = np.arange(count) + np.searchsorted(before, np.arange(count), side="right")
    first = last.copy()
    first[before] -= 1
    source = np.repeat(np.arange(count), 1 + np.bincount(before, minlength=count))
    corner = first[before]
    start, end, feed, mode = out.start[:, source], out.end[:, source], out.feed[source], out.feed_mode[source]
    exact = out.exact[source]
    exact[corner] = False
    axis = element.axis[:, rolled]
    end[:, corner] = out.start[:, before]
    start[:, corner] = end[:, corner]
    for i in range(2):
        start[axis[i], corner] = path.end[i, rolled - 1]
    _share(feed, mode, corner, (element, path, rolled))
    turns = _turns(out.turns, last, corner, (element, path, rolled), out.start)
    whole = Steps(out.line[source], start, end, feed, mode, exact, out.frame[source], turns)
    return whole, Spread(first, last)


def _share(feed: Array, mode: Codes, corner: Ints, rolls: tuple[Contour, Beside, Ints]) -> None:
    """Set the feed of the arcs ``corner`` (r,) among all moves, each before the element it belongs to."""
    element, path, rolled = rolls
    way = np.hypot(*(path.end - path.start))
    way = np.where(element.round, np.abs(path.turn) * path.rho.mean(axis=0), way)
    arc = np.abs(path.roll[rolled]) * element.radius[rolled]
    whole = arc + way[rolled]
    timed = (mode[corner] == FEED_INVERSE) & (whole > 0.0)
    at, of_arc, of_rest = corner[timed], arc[timed], np.maximum(way[rolled], 1e-9)[timed]
    feed[at] *= whole[timed] / of_arc
    feed[at + 1] *= whole[timed] / of_rest
    rapid = (mode[corner] == FEED_RAPID) & (corner > 0)
    at = corner[rapid]
    slow = mode[at - 1] == FEED_TIP
    feed[at[slow]], mode[at[slow]] = feed[at[slow] - 1], FEED_TIP


def _turns(turns: Arcs, last: Ints, corner: Ints, rolls: tuple[Contour, Beside, Ints], start: Array) -> Arcs:
    """Return the arcs of all moves, the rolled corners among them."""
    element, path, rolled = rolls
    axis = element.axis[:, rolled]
    centre = np.zeros((3, len(rolled)))
    k = np.arange(len(rolled))
    for i in range(2):
        centre[axis[i], k] = element.start[i, rolled]
    centre[axis[2], k] = start[axis[2], element.move[rolled]]
    move = np.concatenate((last[turns.move], corner))
    order = np.argsort(move, kind="stable")
    return Arcs(
        move[order],
        np.concatenate((turns.centre, centre), axis=1)[:, order],
        np.concatenate((turns.axis, axis[2].astype(np.uint8)))[order],
        np.concatenate((turns.turn, path.roll[rolled]))[order],
    )
