"""The setpoint table: batches of setpoints in, one file out, in any of the formats."""

from hexpost.setpoints.model import Setpoints
from hexpost.tables.columns import TableColumns, followed, notices
from hexpost.tables.decimals import time_decimals
from hexpost.tables.formats import encoder
from hexpost.tables.quantise import MICROS, Encoded, Quantiser
from hexpost.tables.whole import PartFile

CHUNK = 4096
"""Rows that are quantised and put into text at a time: the work arrays stay in the processor's cache."""


Piece = tuple[int, Encoded]
"""Some rows as the file holds them, with their number."""


class SetpointTable:
    """A setpoint table being written into ``part``; ``finish`` completes it, the caller then names the file.

    Pieces can be made in any process and any order; they are added in the order of time.
    """

    def __init__(self, part: PartFile, kind: str, columns: TableColumns, period: float) -> None:
        self.part = part
        self._quantiser = Quantiser(columns, period, CHUNK)
        self._encoder = encoder(kind, part, columns, period, CHUNK)
        self._rows = 0

    def pieces(self, setpoints: Setpoints, each: int = 0) -> list[Piece]:
        """Return a batch as pieces; none reaches over a row of the job whose number is a multiple of ``each``.

        Raises
        ------
        OutputError
            A setpoint cannot be held.
        """
        out, first, n = [], 0, setpoints.length.shape[1]
        while first < n:
            left = each - int(setpoints.poses.tick[first]) % each if each else n
            end = first + min(CHUNK, n - first, left)
            out.append((end - first, self._encoder.encode(self._quantiser.rows(setpoints, first, end))))
            first = end
        return out

    def add(self, piece: Piece) -> None:
        """Append a piece.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        rows, encoded = piece
        self._encoder.add(encoded)
        self._rows += rows

    def write(self, setpoints: Setpoints) -> None:
        """Append a batch; batches come in the order of time."""
        for piece in self.pieces(setpoints):
            self.add(piece)

    def finish(self) -> int:
        """Complete the file and return how many rows it has."""
        self._encoder.end(self._rows)
        return self._rows


def open_table(part: PartFile, kind: str, columns: TableColumns, period: float) -> SetpointTable:
    """Return a table of ``kind`` (``csv``, ``npy`` or ``parquet``) that writes into ``part``; ``period`` in s.

    Raises
    ------
    OutputError
        Parquet is asked for and pyarrow is not installed.
    """
    return SetpointTable(part, kind, columns, period)


def table_name(kind: str, *, runnable: bool, proven: bool = True, number: int = 0) -> str:
    """Return the file name of a setpoint table; one that breaks a limit, or that nobody proved, says so in its name.

    ``number``, from 1, is that of the file where a table has several.
    """
    which = f".{number:04d}" if number else ""
    return f"setpoints{which}{'' if proven else '.not-proven'}{'' if runnable else '.not-runnable'}.{kind}"


def reading_name(stride: int) -> str:
    """Return the file name of the table for reading by eye; no controller should take it for setpoints."""
    return f"reading-every-{stride}.csv"


def describe(columns: TableColumns, period: float, rows: int, *, geared: bool = False) -> dict[str, object]:
    """Return what the manifest says about a table: rows, period, and each column's name, unit and resolution.

    What the drives follow, too (with ``geared`` screws, commands), and what the choice of columns gives up.
    """
    micros = round(period * MICROS)
    steps = {c.group.column(k + 1): c.group.decimals for c in columns.chosen for k in c.rows}
    steps |= {"time_s": time_decimals(micros), "line": 0}
    return {
        "rows": rows,
        "period_us": micros,
        "drives_follow": followed(columns, geared=geared),
        "notices": notices(columns, geared=geared),
        "columns": [
            {"name": n, "unit": u, "decimals": steps[n]} for n, u in zip(columns.names, columns.units, strict=True)
        ],
    }
