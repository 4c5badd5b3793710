"""Rows of a Parquet table: decimals as the whole numbers that they are."""

from collections.abc import Callable, Iterator
from typing import Any, BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from hexpost.arrays import Ints
from hexpost.verify.columns import LINE, Layout
from hexpost.verify.fixed import RefusedTextError
from hexpost.verify.plain import PIECE

_BATCH = 8192
_MOST_GROUP_ROWS = 1 << 20
_MOST_BYTES_A_NUMBER = 40
_MOST_STRING, _MOST_PARTS = 1 << 20, 1 << 20
_TIME_DECIMALS = 6


def batches(file: BinaryIO, columns: Layout, digest: Callable[[Any], None]) -> Iterator[Ints]:
    """Yield the rows of a Parquet file as whole numbers (columns, n)."""
    while piece := file.read(PIECE):
        digest(piece)
    file.seek(0)
    try:
        table = pq.ParquetFile(
            file, thrift_string_size_limit=_MOST_STRING, thrift_container_size_limit=_MOST_PARTS, memory_map=False
        )
        _check(table, columns)
        scale = 10 ** (_TIME_DECIMALS - columns.decimals[0])  # here time has six decimals whatever the period
        for batch in table.iter_batches(batch_size=_BATCH):
            whole = np.array([_whole(c) for c in batch.columns])
            whole[0], rest = np.divmod(whole[0], scale)
            if rest.any():
                raise RefusedTextError(f"expected times of {columns.decimals[0]} decimals")
            yield whole
    except (pa.ArrowException, OSError) as error:
        raise RefusedTextError(f"expected a Parquet table, found what cannot be read: {error}") from error


def _check(table: Any, columns: Layout) -> None:  # noqa: ANN401 - pyarrow has no types
    schema = table.schema_arrow
    if schema.names != columns.names:
        raise RefusedTextError("expected the columns of the manifest, found others")
    for i, (kind, decimals) in enumerate(zip(schema.types, columns.decimals, strict=True)):
        if columns.names[i] == LINE:
            sound = pa.types.is_int32(kind)
        elif decimals == 0:
            sound = pa.types.is_int64(kind)
        else:
            sound = pa.types.is_decimal(kind) and kind.scale == (_TIME_DECIMALS if i == 0 else decimals)
        if not sound:
            raise RefusedTextError(f"{columns.names[i]}: expected decimals of the manifest, found {kind}")
    about = table.metadata
    for k in range(about.num_row_groups):
        group = about.row_group(k)
        most = group.num_rows * len(columns.names) * _MOST_BYTES_A_NUMBER + PIECE
        if group.num_rows > _MOST_GROUP_ROWS or group.total_byte_size > most:
            raise RefusedTextError("expected row groups of a bounded size")


def _whole(column: Any) -> Ints:  # noqa: ANN401
    """Return the whole numbers that a column of decimals or of lines holds."""
    if column.null_count:
        raise RefusedTextError("expected a number in every row")
    if pa.types.is_integer(column.type):
        return np.asarray(column.to_numpy(), dtype=np.int64)
    width = column.type.bit_width // 64
    words = np.frombuffer(column.buffers()[1], dtype="<i8").reshape(-1, width)[column.offset :][: len(column)]
    if width > 1 and (words[:, 1:] != (words[:, :1] >> 63)).any():
        raise RefusedTextError("expected numbers of at most 18 digits")
    return words[:, 0].astype(np.int64)
