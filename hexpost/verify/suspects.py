"""What may have happened to a table that is not on the path: exchanged struts, another machine, another program."""

from itertools import combinations

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.verify.follow import Follower
from hexpost.verify.pose import Tracker
from hexpost.verify.rows import Rows

_ROWS = 200
"""Rows, from the first of a block that is off the path, on which exchanged struts are tried."""


class Suspects:
    """Tries, once, whether two struts were exchanged; else tells whether the job starts where it should."""

    def __init__(self, machine: Machine, follower: Follower, period: float) -> None:
        self._machine, self._follower, self._period = machine, follower, period
        self._text: str | None = None

    def look(self, rows: Rows, group: Ints, start: tuple[Array, Array]) -> None:
        """Try to explain why the new rows of a block are off the path."""
        if self._text is not None:
            return
        self._text = "the table does not belong to this program with these machine, tools and setup files"
        for i, j in combinations(range(6), 2):
            order = list(range(6))
            order[i], order[j] = j, i
            if self._fits(rows, group, start, order):
                self._text = f"struts {i + 1} and {j + 1} are exchanged in the table"
                return

    def told(self) -> tuple[str, ...]:
        """Return the explanation, if one was needed."""
        return () if self._text is None else (self._text,)

    def _fits(self, rows: Rows, group: Ints, start: tuple[Array, Array], order: list[int]) -> bool:
        new = rows.length[order][:, rows.new]
        moving = np.flatnonzero(np.abs(rows.speed[:, rows.new]).max(axis=0) > 0.0)
        if rows.first + rows.old > 0 or not len(moving):
            return False
        end = min(int(moving[0]) + _ROWS, new.shape[1])
        poses = Tracker(self._machine, start[0], start[1], self._period).follow(new[:, :end])
        if poses.lost.any():
            return False
        at = np.arange(moving[0], end)
        off, _ = self._follower.route.distance(poses.t[at], poses.r[at], self._follower.first_move(group[at]))
        return bool(np.median(off) < 1e-3)
