"""Setpoint tables that hold a part of the rows each: files of so many rows, and every n-th row for reading by eye."""

from collections.abc import Callable, Sequence

from hexpost.errors import OutputError
from hexpost.setpoints.model import Setpoints
from hexpost.tables.columns import TableColumns
from hexpost.tables.table import Piece, SetpointTable, open_table
from hexpost.tables.whole import PartFile

MOST_FILES = 500
"""Files of a table: each stays open until the verdict, and with it their names, is known."""


class SplitTable:
    """A setpoint table in files of ``rows_per_file`` rows (0: all in one); ``part`` makes a file from its stem.

    ``rows`` is how many there will be.

    Raises
    ------
    OutputError
        There would be too many files, or what ``open_table`` raises.
    """

    def __init__(
        self, part: Callable[[str], PartFile], kind: str, columns: TableColumns, period: float, *, rows: int, each: int
    ) -> None:
        if each and rows > each * MOST_FILES:
            least = -(-rows // MOST_FILES)
            raise OutputError(
                f"--rows-per-file {each} makes {-(-rows // each):,} files; at most {MOST_FILES} are written\n"
                f"    hint: write --rows-per-file {least} or more: there are {rows:,} rows"
            )
        self._part, self._kind, self._columns, self._period, self._each = part, kind, columns, period, each
        self._done: list[tuple[PartFile, int]] = []
        self._table = self._open()
        self._room = each

    def pieces(self, setpoints: Setpoints) -> list[Piece]:
        """Return a batch as pieces, each of one file; in any process and any order."""
        return self._table.pieces(setpoints, self._each)

    def add(self, pieces: Sequence[Piece]) -> None:
        """Append the pieces of a batch; batches come in the order of time."""
        for piece in pieces:
            if self._each and not self._room:
                self._close()
                self._table, self._room = self._open(), self._each
            self._table.add(piece)
            self._room -= piece[0]

    def finish(self) -> list[tuple[PartFile, int]]:
        """Complete the files and return them, in the order of time, with how many rows each has."""
        self._close()
        return self._done

    def _open(self) -> SetpointTable:
        stem = f"setpoints.{len(self._done) + 1:04d}" if self._each else "setpoints"
        return open_table(self._part(stem), self._kind, self._columns, self._period)

    def _close(self) -> None:
        self._done.append((self._table.part, self._table.finish()))
        self._table.part.settle()


class EveryNth:
    """A table with the rows whose number is a multiple of ``stride``, and the last one."""

    def __init__(self, table: SetpointTable, stride: int) -> None:
        self.part = table.part
        self._table, self._stride = table, stride
        self._last: Setpoints | None = None

    def write(self, setpoints: Setpoints) -> None:
        """Look at the next batch."""
        tick = setpoints.poses.tick
        n = len(tick)
        if n:
            chosen = slice(int(-tick[0] % self._stride), n, self._stride)
            self._table.write(setpoints.take(chosen))
            self._last = setpoints.take(slice(n - 1, n)) if tick[-1] % self._stride else None

    def finish(self) -> int:
        """Complete the file and return how many rows it has."""
        if self._last is not None:
            self._table.write(self._last)
        return self._table.finish()
