"""Elements too short for the cutter, and bent by no more than rounding, made one with their neighbours."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.moves.compensation.contour import Contour, cross
from hexpost.moves.compensation.corners import SLACK, Beside, beside, room
from hexpost.moves.model import FEED_TIP
from hexpost.moves.motion.steps import Steps

MOST_ROUNDS = 40
"""Each round makes half of what is too short one with its neighbour: long before this nothing is left to do."""


@dataclass(frozen=True, slots=True, eq=False)
class Merged:
    """The elements that are left, the tool's path beside them, and moves (m,) made one with element ``into`` (m,)."""

    element: Contour
    path: Beside
    gone: Ints
    into: Ints


def merged(c: Contour, steps: Steps) -> Merged:
    """Return the elements of ``c`` with the tool beside them; those that it cannot touch are merged where they may be.

    The vertices of a dense contour are rounded, and beside an inside bend of short lines the tool would have to turn
    back and forth. Two lines become one as long as no vertex is more than ``SLACK`` off it, and their depth, angles
    and feed are the same. The line that comes of them is the move of the later one.
    """
    path = beside(c)
    joint = _mergeable(c, steps)
    seam = _Seam(c)
    gone: list[Ints] = []
    for _ in range(MOST_ROUNDS):
        tight = (room(path, c) < -SLACK) | path.lost | np.append(path.lost[1:], False)
        if not tight.any():
            break
        first = _chosen(seam, tight, joint)
        if not first.size:
            break
        gone.append(c.move[first])
        c, joint = _joined(c, first, joint)
        seam.join(first)
        path = beside(c)
    moves = np.concatenate([np.empty(0, np.int64), *gone])
    return Merged(c, path, moves, np.searchsorted(c.move, moves))


def _mergeable(c: Contour, steps: Steps) -> Flags:
    """Return which elements (k,) are lines that may become one with the next."""
    m = c.move
    same = steps.start[3:, m] == steps.end[3:, m]
    level = same.all(axis=0) & (steps.start[c.axis[2], m] == steps.end[c.axis[2], m])
    plain = ~c.round & level & (steps.feed_mode[m] == FEED_TIP)
    out: Flags = np.zeros(c.count, dtype=np.bool_)
    out[:-1] = plain[1:] & plain[:-1] & (m[1:] == m[:-1] + 1) & ~steps.exact[m[:-1]]
    out[:-1] &= steps.feed[m[1:]] == steps.feed[m[:-1]]
    return out


class _Seam:
    """The vertices (2, v) of the contour as it was, and which of them each element runs past."""

    def __init__(self, c: Contour) -> None:
        self.vertices = np.concatenate((c.start, c.end[:, -1:]), axis=1)
        self.first = np.arange(c.count + 1)

    def bend(self, first: Ints) -> Array:
        """Return how far (m,) vertices lie off the lines that make elements ``first`` one with the next."""
        begin, end = self.first[first], self.first[first + 2]
        counts = end - begin
        offset = np.cumsum(counts) - counts
        vertex = np.arange(counts.sum()) - np.repeat(offset - begin, counts)
        chord = self.vertices[:, end] - self.vertices[:, begin]
        size = np.hypot(*chord)
        past = self.vertices[:, vertex] - self.vertices[:, np.repeat(begin, counts)]
        aside = np.abs(cross(np.repeat(chord, counts, axis=1), past))
        worst = np.maximum.reduceat(aside, offset) if len(first) else np.empty(0)
        return np.where(size > SLACK, worst / np.maximum(size, SLACK), np.inf)

    def join(self, first: Ints) -> None:
        """Make elements ``first`` (m,) one with the next."""
        self.first = np.delete(self.first, first + 1)


def _chosen(seam: _Seam, tight: Flags, joint: Flags) -> Ints:
    """Return elements (m,) to be made one with the next, no two of them neighbours: the better side of tight ones."""
    first = np.flatnonzero(joint & (tight | np.append(tight[1:], False)))
    bend = np.full(len(tight), np.inf)
    bend[first] = seam.bend(first)
    before = np.append(np.inf, bend[:-1])
    ahead = tight & (bend <= before) & (bend <= SLACK)
    back = tight & (before < bend) & (before <= SLACK)
    run = np.flatnonzero(ahead | np.append(back[1:], False))
    begins = np.flatnonzero(np.diff(run, prepend=-2) > 1)
    number = np.arange(len(run)) - np.repeat(begins, np.diff(begins, append=len(run)))
    out: Ints = run[number % 2 == 0]
    return out


def _joined(c: Contour, first: Ints, joint: Flags) -> tuple[Contour, Flags]:
    """Return the elements with each of ``first`` (m,) in one with the next, and which of them may still be merged."""
    start, leave, arrive = c.start.copy(), c.leave.copy(), c.arrive.copy()
    start[:, first + 1] = c.start[:, first]
    way = c.end[:, first + 1] - c.start[:, first]
    leave[:, first + 1] = arrive[:, first + 1] = way / np.hypot(*way)
    kept = np.ones(c.count, dtype=np.bool_)
    kept[first] = False
    return replace(c, start=start, leave=leave, arrive=arrive).take(kept), joint[kept]
