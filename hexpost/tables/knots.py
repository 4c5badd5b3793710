"""Compact motion: knots (time, length, speed) whose cubics stay beside every setpoint, one row in some twenty.

Between two knots each length is the one cubic with the lengths a, b and the speeds at both (C. Hermite, 1878): with
t from 0 to 1 and v, w the speeds times the time between, a + t (v + t (3 (b - a) - 2 v - w + t (2 (a - b) + v + w))).
From each knot the next one is as far as the cubics stay within what is allowed at all rows between, and never beyond a
row that must be a knot.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.setpoints.model import Setpoints
from hexpost.tables.decimals import exact, time_decimals
from hexpost.tables.quantise import MICROS
from hexpost.tables.whole import PartFile

KNOTS_FILE = "knots.csv"
STRUTS = range(1, 7)
COLUMNS = (
    ("time_s", "s"), ("sample", "1"), *((f"length_{k}_mm", "mm") for k in STRUTS),
    *((f"speed_{k}_mm_s", "mm/s") for k in STRUTS),
)  # fmt: skip
DECIMALS = 6
FARTHEST = 1024
"""Rows from one knot to the next, at most."""
MARGIN = 1e-9
"""The cubics of whoever reads the knots may differ by this from these, mm."""


@dataclass(slots=True)
class _Pending:
    """Rows since the last knot: the first number, lengths and speeds (6, n) as the table holds them."""

    first: int
    length: Array
    speed: Array


class KnotTable:
    """Takes all samples in the order of time and writes the knots into ``part``; ``must`` are rows that are knots."""

    def __init__(self, part: PartFile, period: float, within: float, must: Iterable[int]) -> None:
        self.part, self._period, self._within = part, period, within - MARGIN
        self._micros = round(period * MICROS)
        self._must = distinct(np.array([0, *must], dtype=np.int64))
        self._rows = _Pending(0, np.empty((6, 0)), np.empty((6, 0)))
        self.knots: list[int] = []
        self._seen = 0
        part.write((",".join(name for name, _ in COLUMNS) + "\n").encode())

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        now = [np.rint(x * 10.0**DECIMALS) / 10.0**DECIMALS for x in (setpoints.length, setpoints.speed)]
        rows = self._rows
        rows.length = np.concatenate([rows.length, now[0]], axis=1)
        rows.speed = np.concatenate([rows.speed, now[1]], axis=1)
        self._seen += now[0].shape[1]
        self._advance(last=False)

    def finish(self) -> int:
        """Write the last knots and return how many there are."""
        self._advance(last=True)
        self.part.settle()
        return len(self.knots)

    def number_of(self, rows: Ints) -> Ints:
        """Return the numbers, from 0, of the knots at rows (n,) that are knots."""
        return np.searchsorted(np.array(self.knots, dtype=np.int64), rows)

    def _advance(self, *, last: bool) -> None:
        """Place knots as long as enough rows are known to tell how far each cubic reaches."""
        rows = self._rows
        if not self.knots and rows.length.shape[1]:
            self._knot()
        while (there := rows.length.shape[1]) > 1 and (last or there > FARTHEST):
            next_must = self._must[np.searchsorted(self._must, rows.first, "right") :]
            most = min(there - 1, FARTHEST, *(int(x) - rows.first for x in next_must[:1]))
            step = self._farthest(most)
            rows.first += step
            rows.length, rows.speed = rows.length[:, step:], rows.speed[:, step:]
            self._knot()

    def _farthest(self, most: int) -> int:
        """Return how many rows on the next knot is: steps are doubled while cubics hold, then halved between."""
        good, step = 1, 2
        while step < most and self._holds(step):
            good, step = step, 2 * step
        bad = min(step, most)
        if step >= most and self._holds(most):
            return most
        while bad - good > 1:
            middle = (good + bad) // 2
            if self._holds(middle):
                good = middle
            else:
                bad = middle
        return good

    def _holds(self, step: int) -> bool:
        """Return whether the cubics to so many rows on stay within at all rows between."""
        rows = self._rows
        t = np.arange(1, step) / step
        h = step * self._period
        a, b = rows.length[:, :1], rows.length[:, step : step + 1]
        v, w = rows.speed[:, :1] * h, rows.speed[:, step : step + 1] * h
        cubic = a + t * (v + t * (3.0 * (b - a) - 2.0 * v - w + t * (2.0 * (a - b) + v + w)))
        return bool(np.abs(cubic - rows.length[:, 1:step]).max(initial=0.0) <= self._within)

    def _knot(self) -> None:
        """Write the first of the rows as a knot."""
        rows, row = self._rows, self._rows.first
        time = time_decimals(self._micros)
        texts = [exact(row * self._micros // 10 ** (6 - time), time), str(row)]
        for x in (rows.length, rows.speed):
            texts += [exact(int(k), DECIMALS) for k in np.rint(x[:, 0] * 10.0**DECIMALS).tolist()]
        self.part.write((",".join(texts) + "\n").encode())
        self.knots.append(row)
