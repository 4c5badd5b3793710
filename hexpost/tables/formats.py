"""The formats of a setpoint table; each holds the same numbers, for all are made of the same whole numbers."""

from typing import Protocol

import numpy as np

from hexpost.errors import OutputError
from hexpost.tables.columns import TableColumns
from hexpost.tables.decimals import RowText
from hexpost.tables.quantise import MICROS, Encoded, Quantised
from hexpost.tables.whole import PartFile

_NPY_MAGIC = b"\x93NUMPY\x02\x00"
_NPY_HEAD = 4096
"""Bytes of the head of an ``.npy`` file, padded, so that the row count can be put in at the end."""


class Encoder(Protocol):
    """Turns rows into what a file holds, in any process and any order, and puts it into the file, in order."""

    def encode(self, rows: Quantised) -> Encoded:
        """Return what the file will hold of some rows."""

    def add(self, encoded: Encoded) -> None:
        """Append rows."""

    def end(self, rows: int) -> None:
        """Write what belongs at the end; ``rows`` is their number."""


class CsvEncoder:
    r"""Comma-separated text: one header line, no blanks, no comments, ``\\n`` after each line."""

    def __init__(self, part: PartFile, columns: TableColumns, period: float, size: int) -> None:
        self._part = part
        self._rows = RowText(columns, period, size)
        part.write((",".join(columns.names) + "\n").encode())

    def encode(self, rows: Quantised) -> Encoded:
        """Return the text of rows."""
        return [np.frombuffer(self._rows.text(rows), np.uint8)]

    def add(self, encoded: Encoded) -> None:
        """Append text."""
        self._part.write(encoded[0].data)

    def end(self, rows: int) -> None:
        """Do nothing: the text is complete after any row."""


class NpyEncoder:
    """NumPy records (format 2.0): float64 in the unit of the name, whole numbers int64, ``line`` int32.

    Each float is the one nearest to the decimal number of the CSV table, so that both read back as equal doubles.
    """

    def __init__(self, part: PartFile, columns: TableColumns, period: float, size: int) -> None:
        del period, size
        self._part = part
        self._columns = columns
        whole = {c.group.column(k + 1) for c in columns.chosen for k in c.rows if c.group.decimals == 0}
        kinds = ["<i4" if n == "line" else "<i8" if n in whole else "<f8" for n in columns.names]
        self._type = np.dtype(list(zip(columns.names, kinds, strict=True)))
        part.write(self._head(0))

    def encode(self, rows: Quantised) -> Encoded:
        """Return the records of rows."""
        out = np.empty(len(rows.line), dtype=self._type)
        if self._columns.time:
            np.divide(rows.micros, MICROS, out=out["time_s"])
        for c, whole in zip(self._columns.chosen, rows.whole, strict=True):
            for k, row in zip(c.rows, whole, strict=True):
                place = out[c.group.column(k + 1)]
                if c.group.decimals == 0:
                    place[...] = row
                    continue
                np.divide(row, 10.0**c.group.decimals, out=place)
                np.add(place, 0.0, out=place)
        if self._columns.line:
            out["line"] = rows.line
        return [out.view(np.uint8)]

    def add(self, encoded: Encoded) -> None:
        """Append records."""
        self._part.write(encoded[0].data)

    def end(self, rows: int) -> None:
        """Put the row count into the head."""
        self._part.rewrite(self._head(rows))

    def _head(self, rows: int) -> bytes:
        text = repr({"descr": self._type.descr, "fortran_order": False, "shape": (rows,)})
        body = text.encode().ljust(_NPY_HEAD - len(_NPY_MAGIC) - 5) + b"\n"
        return _NPY_MAGIC + len(body).to_bytes(4, "little") + body


def encoder(kind: str, part: PartFile, columns: TableColumns, period: float, size: int) -> Encoder:
    """Return the encoder of ``csv``, ``npy`` or ``parquet``, at most ``size`` rows at a time.

    Raises
    ------
    OutputError
        Parquet is asked for and pyarrow is not installed.
    """
    if kind == "csv":
        return CsvEncoder(part, columns, period, size)
    if kind == "npy":
        return NpyEncoder(part, columns, period, size)
    try:
        from hexpost.tables.parquet import ParquetEncoder
    except ImportError as e:
        raise OutputError(
            "table format parquet needs the package pyarrow\n"
            "    hint: install hexpost[parquet], or choose --table csv or npy"
        ) from e
    return ParquetEncoder(part, columns, period)
