"""What may have happened to a table that is not on the path: exchanged struts, another machine, another program."""

from itertools import combinations

import numpy as np

from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.verify.pose import Tracker
from hexpost.verify.route import Stretch
from hexpost.verify.rows import Rows
from hexpost.verify.struts import StrutLengths

_ROWS = 200
"""Rows, from the first that moves, on which exchanged struts are tried."""
_NEAR_MM = 1e-3


class Suspects:
    """Tries, once, whether two struts were exchanged; else tells whether the job starts where it should."""

    def __init__(self, machine: Machine, moves: Moves) -> None:
        self._machine, self._moves = machine, moves
        self._text: str | None = None

    def look(self, rows: Rows) -> None:
        """Try to explain why the new rows of a batch are off the path."""
        if self._text is not None:
            return
        self._text = "the table does not belong to this program with these machine, tools and setup files"
        if rows.first + rows.old > 0 or not self._moves.count:
            return
        for i, j in combinations(range(6), 2):
            order = list(range(6))
            order[i], order[j] = j, i
            if self._fits(rows, order):
                self._text = f"struts {i + 1} and {j + 1} are exchanged in the table"
                return

    def told(self) -> tuple[str, ...]:
        """Return the explanation, if one was needed."""
        return () if self._text is None else (self._text,)

    def _fits(self, rows: Rows, order: list[int]) -> bool:
        moves, frame = self._moves, int(self._moves.frame[0])
        moving = np.flatnonzero(rows.speed.any(axis=0))
        if not len(moving):
            return False
        end = min(int(moving[0]) + _ROWS, len(rows.line))
        tracker = Tracker(StrutLengths(self._machine, moves.frames[frame]), rows.length[order][:, 0], moves.start[:, 0])
        poses = tracker.follow(rows.length[order][:, :end])
        first = Stretch(moves, 0, 1, self._machine.tool_tip)
        if not poses.found.all() or first.curved[0] >= 0:
            return False
        at = np.zeros(end, dtype=np.int64)
        off = first.off(poses.q, np.clip(first.share(poses.q, at), 0.0, 1.0), at)
        own = (rows.line[:end] == moves.line[0]) & (np.arange(end) >= moving[0])
        return bool(own.any() and np.median(np.sqrt((off[:3, own] ** 2).sum(axis=0))) < _NEAR_MM)
