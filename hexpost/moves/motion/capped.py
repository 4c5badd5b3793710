"""Feeds held at most at what is asked for lines of a program."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, distinct
from hexpost.errors import Fault
from hexpost.kinematics.travel import travel
from hexpost.machine.feed_caps import FeedCap
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, Modal, Moves, Written
from hexpost.shelf import column, windows


def capped(
    moves: Moves, written: Written, caps: Sequence[FeedCap], faults: list[Fault], name: str
) -> tuple[Moves, Written]:
    """Return moves with their feeds held, and the F words that would say so.

    The tip's speed is held, of feeds a minute, a revolution and an inverse time. Rapids and pure rotations, which have
    no speed of the tip, stay. Caps without a feed move, and taps that would lose their pitch, are ``faults``.
    """
    if not caps:
        return moves, written
    feed: Array = column((moves.count,), np.float64)
    share: Array = column((moves.count,), np.float64)
    met, taps = np.zeros(len(caps), dtype=bool), np.zeros(len(caps), dtype=np.int64)
    for part in windows(moves.count):
        most = np.full(part.stop - part.start, np.inf)
        line, mode = moves.line[part], moves.feed_mode[part]
        way = _way(moves, part)
        for k, cap in enumerate(caps):
            at = np.flatnonzero((line >= cap.first) & (line <= cap.last) & (mode != FEED_RAPID) & (way > 0.0))
            most[at] = np.minimum(most[at], np.where(mode[at] == FEED_INVERSE, cap.feed / way[at], cap.feed))
            met[k] |= bool(at.size)
            slow = at[moves.feed[part][at] > most[at]]
            tapped = slow[written.tapping.at(part.start + slow) != 0.0]
            taps[k] = taps[k] or (line[tapped[0]] if tapped.size else 0)
        feed[part] = np.minimum(moves.feed[part], most)
        with np.errstate(invalid="ignore"):
            share[part] = np.where(feed[part] < moves.feed[part], feed[part] / moves.feed[part], 1.0)
    for k, cap in enumerate(caps):
        if not met[k]:
            what, hint = f"no feed move in these lines (at most {cap.text})", "are these lines of this program?"
            faults.append(Fault(file=name, line=cap.first, what=what, code="cap-of-nothing", hint=hint))
        elif taps[k]:
            what = f"a tap, which would lose its pitch at another feed (at most {cap.text})"
            hint = "lower S and F of the tap together in the program, and leave its line out"
            faults.append(Fault(file=name, line=int(taps[k]), what=what, code="cap-of-tap", hint=hint))
    return replace(moves, feed=feed), replace(written, feed=_lowered(written.feed, share))


def _way(moves: Moves, part: slice) -> Array:
    """Return how far the tip goes in some moves (n,), mm."""
    a, b = (int(k) for k in np.searchsorted(moves.arcs.move, (part.start, part.stop)))
    ends, arcs = (moves.start[:3, part], moves.end[:3, part]), moves.arcs
    return travel(ends, arcs.move[a:b] - part.start, arcs.centre[:, a:b], arcs.axis[a:b], arcs.turn[a:b])


def _lowered(feed: Modal, share: Array) -> Modal:
    """Return the F in force where each move has a ``share`` (n,) of its feed."""
    new = [np.flatnonzero(share[part][1:] != share[part][:-1]) + part.start + 1 for part in windows(len(share))]
    edges = [np.array([part.start]) for part in windows(len(share))]
    first = distinct(np.concatenate([feed.first, *new, *edges]))
    first = first[first < max(len(share), 1)]
    return Modal(first, feed.at(first) * share[first] if len(share) else feed.at(first))
