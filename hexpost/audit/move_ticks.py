"""When the tool is on chosen moves, read from the samples as they pass."""

import numpy as np

from hexpost.arrays import Ints
from hexpost.setpoints.model import Poses


class MoveTicks:
    """The ticks of the first and the last sample on each of ``moves`` (m,), rising and without repeats.

    A move too short for a sample gets the next sample that there is.
    """

    def __init__(self, moves: Ints) -> None:
        self._moves = moves
        self._first = np.full(len(moves), -1, dtype=np.int64)
        self._last = np.zeros(len(moves), dtype=np.int64)
        self._next = 0
        self._tick = 0

    def add(self, poses: Poses) -> None:
        """Take the samples of a batch."""
        if self._next == len(self._moves):
            return
        self._tick = int(poses.tick[-1])
        end = int(np.searchsorted(self._moves, poses.move[-1], "right"))
        here = slice(self._next, end)
        left = np.searchsorted(poses.move, self._moves[here], "left")
        right = np.searchsorted(poses.move, self._moves[here], "right")
        first = poses.tick[left]
        self._first[here] = np.where(self._first[here] < 0, first, self._first[here])
        self._last[here] = poses.tick[np.maximum(right - 1, left)]
        self._next = int(np.searchsorted(self._moves, poses.move[-1], "left"))

    def of(self, moves: Ints) -> tuple[Ints, Ints]:
        """Return the first and the last tick (k,) of ``moves`` (k,), each one of those chosen."""
        at = np.searchsorted(self._moves, moves)
        first = np.where(self._first < 0, self._tick, self._first)
        return first[at], np.maximum(self._last, first)[at]
