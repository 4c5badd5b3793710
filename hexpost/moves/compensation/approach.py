"""Moves that bring the tool to its contour and away from it, and what they must not cut."""

from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.moves.compensation.contour import Contour, dot, normal
from hexpost.moves.compensation.corners import SLACK
from hexpost.moves.frames.book import SAME
from hexpost.moves.model import Frame
from hexpost.moves.motion.steps import Steps

STATIONS = 65
"""Places of an approach at which its distance from the contour is looked at."""
NEAR, FAR = 4, 4096
"""Moves that are looked at at once for the one that leaves a contour: at first, and at most."""


def gouges(c: Contour, touch: Array, far: Array, *, leaving: bool) -> Flags:
    """Return which straight ways between ``far`` and ``touch`` (2, k) cut into the element of ``c`` that they touch.

    Each way touches the start of its element, or with ``leaving`` the end. Only the inside of an element counts:
    beyond its end nothing is known of the part.
    """
    point, into = (c.end, -c.arrive) if leaving else (c.start, c.leave)
    to_tool = normal(c.arrive if leaving else c.leave, c.side)
    share = np.linspace(0.0, 1.0, STATIONS)[:, None, None]
    way = touch + (far - touch) * share
    off = way - point
    along = off[:, 0] * into[0] + off[:, 1] * into[1]
    aside = off[:, 0] * to_tool[0] + off[:, 1] * to_tool[1]
    length = np.hypot(*(c.end - c.start))
    straight = (along > SLACK) & (along < length - SLACK) & (aside < c.radius - SLACK)
    spoke, now = point - c.centre, way - c.centre[None]
    size = np.hypot(*spoke)
    angle = np.arctan2(spoke[0] * now[:, 1] - spoke[1] * now[:, 0], spoke[0] * now[:, 0] + spoke[1] * now[:, 1])
    angle = angle * np.where(c.turn < 0.0, -1.0, 1.0) * (-1.0 if leaving else 1.0) % (2.0 * pi)
    outward = np.where(dot(to_tool, spoke) > 0.0, 1.0, -1.0)
    clear = (np.hypot(now[:, 0], now[:, 1]) - size) * outward
    least = SLACK / np.maximum(size, SLACK)
    bent = (angle > least) & (angle < np.abs(c.turn) - least) & (clear < c.radius - SLACK)
    out: Flags = np.where(c.round, bent, straight).any(axis=0)
    return out


class Departure:
    """Carries the tool on beside its contour, after compensation is off, until a move in the plane takes it away."""

    def __init__(self, steps: Steps, frames: tuple[Frame, ...]) -> None:
        self.steps = steps
        self._turns = np.stack([f.base_from_work[:3, :3] for f in frames])
        self._ends = np.zeros(len(steps.line), dtype=np.bool_)
        self._ends[steps.turns.move] = True  # a full circle ends where it begins

    def until(self, moves: Ints) -> None:
        """Note moves at which a departure ends in any case: those that enter a contour."""
        self._ends[moves] = True

    def carry(self, last: int, aside: Array, axis: Ints) -> int:
        """Shift the moves after ``last`` up to the first one in the plane; return that one, or n where none is.

        ``aside`` (2,) leads from the programmed point to the tool in the plane of ``axis`` (3,), both in the frame of
        move ``last``. Of the move in the plane only the start is shifted.
        """
        steps, count = self.steps, len(self.steps.line)
        base = self._turns[steps.frame[last]]
        shift = base[:, axis[:2]] @ aside
        begin, ahead = last + 1, NEAR
        while begin < count:
            moves = slice(begin, min(begin + ahead, count))
            way = steps.end[:3, moves] - steps.start[:3, moves]
            turns = self._turns[steps.frame[moves]]
            there = np.einsum("nij,jn->in", turns, way)
            found = (np.abs(base[:, axis[:2]].T @ there) > SAME).any(axis=0) | self._ends[moves]
            first = int(found.argmax()) if found.any() else len(found)
            shifts = np.einsum("nij,i->jn", turns, shift)
            steps.end[:3, begin : begin + first] += shifts[:, :first]
            steps.start[:3, begin : begin + first + 1] += shifts[:, : first + 1]
            if first < len(found):
                return begin + first
            begin, ahead = begin + ahead, min(4 * ahead, FAR)
        return count
