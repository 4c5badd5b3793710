"""Setpoints to whole numbers of the table's resolution, once, so that every format holds the same numbers."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array, Ints, Lines
from hexpost.errors import OutputError
from hexpost.setpoints.model import Setpoints
from hexpost.tables.columns import TableColumns

MICROS = 1_000_000
MOST = 9e15
"""Whole numbers beyond 2**53 are no longer exact as float64; nothing that a machine does comes near."""

Encoded = list[npt.NDArray[Any]]
"""Rows as a file holds them: bytes, or columns of whole numbers; arrays of their own."""


@dataclass(frozen=True, slots=True, eq=False)
class Quantised:
    """Rows of a table as whole numbers; the arrays belong to the quantiser: use them before its next call.

    ``micros`` (n,) microseconds, rising; ``whole``, for each chosen group, (m, n) in units of its last decimal (whole
    numbers that float64 holds exactly), and ``low`` and ``high`` its extremes; ``line`` (n,).
    """

    micros: Ints
    whole: tuple[Array, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    line: Lines


class Quantiser:
    """Turns slices of at most ``size`` samples into whole numbers, in work arrays made once.

    Rounding is to the nearest whole number of the last decimal, ties to even, after one multiplication.
    """

    def __init__(self, columns: TableColumns, period: float, size: int) -> None:
        self._columns = columns
        self._micros = round(period * MICROS)
        self._whole = [np.empty((len(c.rows), size)) for c in columns.chosen]

    def rows(self, setpoints: Setpoints, first: int, end: int) -> Quantised:
        """Return samples ``first`` to ``end`` (not included) of a batch.

        Raises
        ------
        OutputError
            A setpoint is not a number, or beyond what a table can hold.
        """
        poses = setpoints.poses
        n = end - first
        low, high = [], []
        for c, work in zip(self._columns.chosen, self._whole, strict=True):
            values = c.group.values(setpoints)
            part = values[:, first:end] if len(c.rows) == len(values) else values[c.rows, first:end]
            whole = work[:, :n]
            np.multiply(part, 10.0**c.group.decimals, out=whole)
            np.rint(whole, out=whole)
            low.append(float(whole.min()))
            high.append(float(whole.max()))
            if not (low[-1] > -MOST and high[-1] < MOST):
                self._refuse(c.group.name, c.rows, whole, poses.line[first:end])
        return Quantised(
            poses.tick[first:end] * self._micros,
            tuple(k[:, :n] for k in self._whole),
            tuple(low),
            tuple(high),
            poses.line[first:end],
        )

    @staticmethod
    def _refuse(name: str, rows: tuple[int, ...], whole: Array, line: Lines) -> None:
        row, at = (int(i[0]) for i in np.nonzero(~(np.abs(whole) < MOST)))
        raise OutputError(
            f"setpoint table: {name} of strut {rows[row] + 1} in program line {line[at]} is not a number that a "
            "table can hold\n    hint: please report this with the program and the machine file"
        )
