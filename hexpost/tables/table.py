"""The setpoint table: blocks of setpoints in, one file out, in any of the formats."""

from dataclasses import dataclass

from hexpost.setpoints.model import Setpoints
from hexpost.tables.columns import Columns, followed
from hexpost.tables.decimals import time_decimals
from hexpost.tables.formats import encoder
from hexpost.tables.quantise import MICROS, Quantiser
from hexpost.tables.whole import PartFile

CHUNK = 4096
"""Rows that are quantised and put into text at a time: the work arrays stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Size:
    """How long a finished table is: rows, and the time of the last one in s."""

    rows: int
    last: float


class SetpointTable:
    """A setpoint table being written into ``part``; ``finish`` completes it, the caller then names the file."""

    def __init__(self, part: PartFile, kind: str, columns: Columns, period: float) -> None:
        self.part = part
        self._quantiser = Quantiser(columns, period, CHUNK)
        self._encoder = encoder(kind, part, columns, period, CHUNK)
        self._period = period
        self._rows = 0
        self._tick = -1

    def write(self, setpoints: Setpoints) -> None:
        """Append a block; blocks come in the order of time.

        Raises
        ------
        OutputError
            The file cannot be written, or a setpoint cannot be held.
        """
        n = setpoints.length.shape[1]
        for first in range(0, n, CHUNK):
            self._encoder.add(self._quantiser.rows(setpoints, first, min(first + CHUNK, n)))
        if n:
            self._rows += n
            self._tick = int(setpoints.poses.tick[-1])

    def finish(self) -> Size:
        """Complete the file and return how long it is."""
        self._encoder.end(self._rows)
        return Size(self._rows, max(self._tick, 0) * self._period)


def open_table(part: PartFile, kind: str, columns: Columns, period: float) -> SetpointTable:
    """Return a table of ``kind`` (one of ``FORMATS``) that writes into ``part``; ``period`` in s.

    Raises
    ------
    OutputError
        Parquet is asked for and pyarrow is not installed.
    """
    return SetpointTable(part, kind, columns, period)


def table_name(kind: str, *, runnable: bool, number: int = 0) -> str:
    """Return the file name of a setpoint table; one that breaks a limit says so in its name.

    ``number``, from 1, is that of the file where a table has several.
    """
    which = f".{number:04d}" if number else ""
    return f"setpoints{which}{'' if runnable else '.not-runnable'}.{kind}"


def reading_name(stride: int) -> str:
    """Return the file name of the table for reading by eye; no controller should take it for setpoints."""
    return f"reading-every-{stride}.csv"


def describe(columns: Columns, period: float, rows: int) -> dict[str, object]:
    """Return what the manifest says about a table: rows, period, and each column's name, unit and resolution."""
    micros = round(period * MICROS)
    steps = {c.group.column(k + 1): c.group.decimals for c in columns.chosen for k in c.rows}
    steps |= {"time_s": time_decimals(micros), "line": 0}
    return {
        "rows": rows,
        "period_us": micros,
        "drives_follow": followed(columns),
        "columns": [
            {"name": n, "unit": u, "decimals": steps[n]} for n, u in zip(columns.names, columns.units, strict=True)
        ],
    }
