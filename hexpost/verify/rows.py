"""Rows of a setpoint table from its files, block by block, whatever their format."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.errors import HexpostError

BLOCK = 8192
BEFORE = 4
"""Rows of the block before that a block begins with, for differences across the border."""
_BYTES = 1 << 20
_ALLOWED = b"0123456789.-,\n"
STRUTS = range(1, 7)
TIME, LINE = "time_s", "line"
NEEDED = (
    TIME,
    *(f"length_{k}_mm" for k in STRUTS),
    *(f"speed_{k}_mm_s" for k in STRUTS),
    *(f"acceleration_{k}_mm_s2" for k in STRUTS),
    LINE,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Consecutive rows: ``first`` is the number of the first one; the first ``old`` rows were in the block before.

    ``micros`` (n,) time in microseconds; ``length``, ``speed``, ``acceleration`` (6, n); ``line`` (n,).
    """

    first: int
    old: int
    micros: Ints
    length: Array
    speed: Array
    acceleration: Array
    line: Ints

    @property
    def new(self) -> slice:
        """Return the rows that were in no block before."""
        return slice(self.old, None)


def missing_columns(told: Mapping[str, Any]) -> list[str]:
    """Return the columns without which nothing can be proven and that a table lacks, by what the manifest says."""
    names = [c["name"] for c in told["columns"]]
    return [n for n in NEEDED if n not in names]


def read_rows(folder: Path, tables: Mapping[str, Mapping[str, Any]]) -> Iterator[Rows]:
    """Yield all rows of the tables, one after the other, in blocks that overlap by ``BEFORE`` rows.

    Raises
    ------
    HexpostError
        A table is not what its name and the manifest say.
    """
    held: Array = np.zeros((len(NEEDED), 0))
    first = 0
    for name, told in tables.items():
        names = [c["name"] for c in told["columns"]]
        take = [names.index(n) for n in NEEDED]
        reader = {".csv": _csv, ".npy": _npy, ".parquet": _parquet}.get(Path(name).suffix)
        if reader is None:
            raise HexpostError(f"{name}: expected a table in CSV, NumPy or Parquet format")
        for values in reader(folder / name, names):
            both = np.concatenate([held, values[take]], axis=1)
            yield _rows(both, first - held.shape[1], held.shape[1])
            first += values.shape[1]
            held = both[:, -BEFORE:]


def _rows(v: Array, first: int, old: int) -> Rows:
    return Rows(
        first=first,
        old=old,
        micros=np.rint(v[0] * 1e6).astype(np.int64),
        length=np.ascontiguousarray(v[1:7]),
        speed=v[7:13],
        acceleration=v[13:19],
        line=v[19].astype(np.int64),
    )


def _csv(path: Path, names: Sequence[str]) -> Iterator[Array]:
    with path.open("rb") as file:
        head = file.readline().rstrip(b"\n").decode("ascii", "replace")
        if head.split(",") != list(names):
            raise HexpostError(f"{path.name}: expected the columns of the manifest in its first line, found {head:.80}")
        rest = b""
        while piece := file.read(_BYTES):
            whole, newline, rest = (rest + piece).rpartition(b"\n")
            yield from _blocks(_numbers(path, whole + newline, len(names)))
        if rest:
            raise HexpostError(f"{path.name}: expected a whole last row, found {rest[:40]!r}: the table is cut off")


def _numbers(path: Path, text: bytes, columns: int) -> Array:
    """Return the numbers (columns, n) of whole lines."""
    strange = text.translate(None, _ALLOWED)
    rows = text.count(b"\n")
    if strange or text.count(b",") != rows * (columns - 1):
        raise HexpostError(f"{path.name}: expected rows of {columns} numbers, found {_odd_row(text, columns)!r}")
    try:
        flat = np.array(text.translate(bytes.maketrans(b"\n", b",")).split(b",")[:-1], dtype="S24").astype(np.float64)
        return np.ascontiguousarray(flat.reshape(rows, columns).T)
    except ValueError as error:
        raise HexpostError(f"{path.name}: expected numbers, found something else: {error}") from error


def _odd_row(text: bytes, columns: int) -> str:
    for row in text.split(b"\n"):
        if row and (row.translate(None, _ALLOWED) or row.count(b",") != columns - 1):
            return row[:60].decode("ascii", "replace")
    return ""


def _npy(path: Path, names: Sequence[str]) -> Iterator[Array]:
    try:
        records = np.load(path, mmap_mode="r", allow_pickle=False)
    except (ValueError, OSError, EOFError) as error:
        raise HexpostError(f"{path.name}: expected NumPy records, found a file that cannot be read: {error}") from error
    if list(records.dtype.names or ()) != list(names):
        raise HexpostError(f"{path.name}: expected the columns of the manifest, found others")
    for start in range(0, len(records), BLOCK):
        part = records[start : start + BLOCK]
        yield np.array([part[n] for n in names], dtype=np.float64)


def _parquet(path: Path, names: Sequence[str]) -> Iterator[Array]:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise HexpostError("a Parquet table needs the package pyarrow: install hexpost[parquet]") from error
    try:
        file = pq.ParquetFile(path)
        if file.schema_arrow.names != list(names):
            raise HexpostError(f"{path.name}: expected the columns of the manifest, found others")
        for batch in file.iter_batches(batch_size=BLOCK):
            yield np.array([c.cast(pa.float64()).to_numpy() for c in batch.columns], dtype=np.float64)
    except (pa.ArrowException, OSError) as error:
        raise HexpostError(f"{path.name}: expected a Parquet table, found what cannot be read: {error}") from error


def _blocks(values: Array) -> Iterator[Array]:
    for start in range(0, values.shape[1], BLOCK):
        yield values[:, start : start + BLOCK]
