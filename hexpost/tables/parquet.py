"""Setpoint tables as Parquet (optional extra): exact decimals, delta-encoded."""

import io
from typing import TYPE_CHECKING, cast

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from hexpost.arrays import Array, Ints
from hexpost.tables.columns import TableColumns
from hexpost.tables.quantise import Encoded, Quantised
from hexpost.tables.whole import PartFile

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

GROUP_ROWS = 1 << 17
"""Rows of a row group: what is held in memory at most."""
_DIGITS = 18


class ParquetEncoder:
    """Columns are ``decimal64(18, d)`` in the unit of the name, held as whole numbers, or int64; ``line`` is int32.

    DELTA_BINARY_PACKED and zstd level 6. The units of the columns stand in the file's key-value metadata.
    """

    def __init__(self, part: PartFile, columns: TableColumns, period: float) -> None:
        decimals = [6] * columns.time + [c.group.decimals for c in columns.chosen for _ in c.rows]
        types = [pa.decimal64(_DIGITS, d) if d else pa.int64() for d in decimals] + [pa.int32()] * columns.line
        units = dict(zip(columns.names, columns.units, strict=True))
        self._columns = columns
        self._schema = pa.schema(
            [
                pa.field(n, t, nullable=False, metadata={"unit": units[n]})
                for n, t in zip(columns.names, types, strict=True)
            ],
            metadata={"period_us": str(round(period * 1e6))},
        )
        self._held: list[list[Ints]] = [[] for _ in columns.names]
        self._rows = 0
        self._writer = pq.ParquetWriter(
            _Sink(part),
            self._schema,
            compression="zstd",
            compression_level=6,
            use_dictionary=False,
            column_encoding=dict.fromkeys(columns.names, "DELTA_BINARY_PACKED"),
            store_decimal_as_integer=True,
        )

    def encode(self, rows: Quantised) -> Encoded:
        """Return the columns of rows."""
        columns = [rows.micros] * self._columns.time
        columns += [_whole(row) for group in rows.whole for row in group]
        columns += [rows.line.astype(np.int64)] * self._columns.line
        return [*columns]

    def add(self, encoded: Encoded) -> None:
        """Append rows; full row groups go to the file."""
        for held, column in zip(self._held, encoded, strict=True):
            held.append(column)
        self._rows += len(encoded[0])
        if self._rows >= GROUP_ROWS:
            self._flush()

    def end(self, rows: int) -> None:
        """Write the last row group and the footer."""
        del rows
        if self._rows:
            self._flush()
        self._writer.close()

    def _flush(self) -> None:
        arrays = []
        for held, kind in zip(self._held, self._schema.types, strict=True):
            column = np.concatenate(held)
            if pa.types.is_decimal(kind):
                arrays.append(pa.Array.from_buffers(kind, len(column), [None, pa.py_buffer(column)]))
            else:
                arrays.append(pa.array(column, kind))
            held.clear()
        self._writer.write_batch(pa.RecordBatch.from_arrays(arrays, schema=self._schema))
        self._rows = 0


class _Sink(io.RawIOBase):
    """The part file as pyarrow wants to see it; closing this leaves the part open."""

    def __init__(self, part: PartFile) -> None:
        super().__init__()
        self._part = part

    def writable(self) -> bool:
        """Return that it is."""
        return True

    def write(self, data: "ReadableBuffer", /) -> int:
        """Append ``data``."""
        return self._part.write(bytes(data))


def _whole(row: Array) -> Ints:
    return cast("Ints", row.astype(np.int64))
