"""Where and when a report says that the worst of a limit was: the rows about that time must show it, in that line."""

from collections.abc import Mapping
from math import ceil, floor
from typing import Any

import numpy as np

from hexpost.arrays import Array
from hexpost.verify.rows import Rows
from hexpost.verify.told import Told, Which

LIMITS = ("stroke", "speed", "acceleration", "jerk", "deceleration")
"""Limits of lengths and what follows from them: their places are looked at."""


class WorstPlace:
    """The rows about the time that a report gives: a worst value is at one, or in the tick between two, or ends one."""

    def __init__(self, said: Mapping[str, Any], period: float) -> None:
        row = float(said["time_s"]) / period
        self._first, self._last = floor(row + 1e-3) - 1, ceil(row - 1e-3) + 1
        self._line = said["line"] or 0
        self._most, self._lines = -np.inf, set[int]()

    def note(self, use: Array, rows: Rows, first: int) -> None:
        """Take how much (n,) rows of a batch use of the limit, from row ``first`` of it on."""
        start = rows.first + first
        near = slice(max(self._first - start, 0), max(self._last - start + 1, 0))
        if near.start < len(use) and near.stop > 0:
            self._most = max(self._most, float(use[near].max()))
            self._lines.update(rows.line[first : first + len(use)][near].tolist())

    def fault(self, worst: float, room: float) -> str:
        """Return what speaks against the place: the ``worst`` use is not there, to within ``room``; else nothing.

        Of several places that are equally bad to within the decimals of the table, any is right.
        """
        if self._line not in self._lines:
            return f"the report says line {self._line}, whose rows are not at the time that it gives"
        if not self._most >= worst - room:
            return f"the rows at the time that the report gives come to {self._most:.6f}, the worst is {worst:.6f}"
        return ""


def places(report: Mapping[str, Any] | None, period: float) -> dict[Which, WorstPlace]:
    """Return the places of a report, where there is one, by limit and strut."""
    if report is None:
        return {}
    worst = Told(report).worst.items()
    return {which: WorstPlace(said, period) for which, said in worst if which[0] in LIMITS and which[1]}
