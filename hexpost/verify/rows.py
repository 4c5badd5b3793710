"""Rows of a setpoint table from its files, batch by batch, whatever their format: whole numbers, exactly."""

import ast
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from hexpost.arrays import Array, Ints, keep_memory
from hexpost.errors import HexpostError
from hexpost.verify.columns import ACCELERATION, COMMAND, GROUPS, LENGTH, LINE, SPEED, TIME, Layout
from hexpost.verify.fixed import PAD, FixedDecimals, RefusedTextError
from hexpost.verify.plain import open_plain
from hexpost.voice import in_line

BATCH = 12_288
"""Rows of a batch, about."""
_TEXT = 250_000
"""Bytes of text that are read at a time: the processor keeps them at hand."""
_MOST_ROW = 4096
_MOST_HEAD = 8192
_NPY_MAGIC = b"\x93NUMPY\x02\x00"
_LARGEST = 9e15
"""Beyond this, whole numbers are no longer exact as doubles."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Consecutive rows, ``first`` the number of the first one: the last row of the batch before, if ``old``, then more.

    ``micros`` (n,) time in microseconds; ``length``, ``speed``, ``acceleration`` (6, n); ``line`` (n,). Of the new
    rows alone, as whole numbers of the last decimal: ``whole`` lengths (6, m); ``more`` what else drives follow.
    """

    first: int
    old: int
    micros: Ints
    length: Array
    speed: Array
    acceleration: Array
    line: Ints
    whole: Ints
    more: Mapping[int, Ints] = field(default_factory=dict)

    @property
    def new(self) -> slice:
        """Return the rows that were in no batch before."""
        return slice(self.old, None)

    @property
    def count(self) -> int:
        """Return how many rows are new."""
        return len(self.micros) - self.old

    def where(self, row: int) -> str:
        """Return the words for a row, by its number in the table."""
        i = row - self.first
        return f"row {row} ({self.micros[i] / 1e6:.6f} s, {in_line(self.line[i])})"


class TableFiles:
    """All rows of the files of a table, in turn; ``rows`` counts them, ``digests`` gets their SHA-256, by name."""

    def __init__(
        self, folder: Path, told: Mapping[str, Mapping[str, Any]], columns: Layout, digests: dict[str, str]
    ) -> None:
        self._folder, self._told, self._columns, self._digests = folder, told, columns, digests
        self.rows = dict.fromkeys(told, 0)

    def batches(self) -> Iterator[Rows]:
        """Yield the rows in batches that overlap by one.

        Raises
        ------
        HexpostError
            A table is not what its name and the manifest say.
        """
        return joined(
            (whole for name, told in self._told.items() for whole in self._file(name, told["rows"])), self._columns
        )

    def _file(self, name: str, rows: int) -> Iterator[Ints]:
        """Yield the whole numbers (columns, n) of a file."""
        total = hashlib.sha256()
        with open_plain(self._folder / name, most_bytes(rows, self._columns), root=self._folder) as file:
            for whole in whole_numbers(file, name, self._columns, total.update):
                self.rows[name] += whole.shape[1]
                yield whole
        self._digests[name] = total.hexdigest()


def most_bytes(rows: int, columns: Layout) -> int:
    """Return how many bytes a file of so many rows may have."""
    return _MOST_HEAD + rows * len(columns.names) * 24


def joined(wholes: Iterable[Ints], columns: Layout) -> Iterator[Rows]:
    """Yield whole numbers (columns, n), file after file, as batches of rows that overlap by one."""
    keep_memory()
    first, last = 0, None
    for whole in wholes:
        rows = _rows(whole, columns, first, last)
        yield rows
        first += rows.count
        last = rows


def whole_numbers(file: BinaryIO, name: str, columns: Layout, digest: Callable[[Any], None]) -> Iterator[Ints]:
    """Yield the whole numbers (columns, n) of the open file of a table, whose ``name`` tells its format.

    Raises
    ------
    HexpostError
        It is not what its name and its columns say.
    """
    reader: Callable[[BinaryIO, Layout, Any], Iterator[Ints]] | None
    reader = {".csv": _csv, ".npy": _npy, ".parquet": _parquet}.get(Path(name).suffix)
    if reader is None:
        raise HexpostError(f"{name}: expected a table in CSV, NumPy or Parquet format")
    count = 0
    try:
        for whole in reader(file, columns, digest):
            count += whole.shape[1]
            yield whole
    except (RefusedTextError, ValueError) as error:
        raise HexpostError(f"{name}: from row {count} on: {error}") from error


def _rows(whole: Ints, columns: Layout, first: int, last: Rows | None) -> Rows:
    """Return whole numbers (columns, n) as rows, the ``last`` one of the batch before ahead of them."""
    old = 0 if last is None else 1
    n = whole.shape[1] + old
    parts = []
    for group in (LENGTH, SPEED, ACCELERATION):
        at = columns.rows_of(group)
        values: Array = np.empty((6, n))
        np.divide(whole[at[0] : at[0] + 6], 10.0 ** GROUPS[group].decimals, out=values[:, old:])
        parts.append(values)
    time, line = columns.names.index(TIME), columns.names.index(LINE)
    micros, lines = np.empty(n, dtype=np.int64), np.empty(n, dtype=np.int64)
    np.multiply(whole[time], 10 ** (6 - columns.decimals[time]), out=micros[old:])
    lines[old:] = whole[line]
    if last is not None:
        for values, before in zip(parts, (last.length, last.speed, last.acceleration), strict=True):
            values[:, 0] = before[:, -1]
        micros[0], lines[0] = last.micros[-1], last.line[-1]
    at = columns.rows_of(LENGTH)
    more = {g: whole[p[0] : p[0] + 6] for g in range(COMMAND, len(GROUPS)) if (p := columns.rows_of(g))}
    return Rows(
        first=first - old, old=old, micros=micros, length=parts[0], speed=parts[1], acceleration=parts[2], line=lines,
        whole=whole[at[0] : at[0] + 6], more=more,
    )  # fmt: skip


def _csv(file: BinaryIO, columns: Layout, digest: Callable[[Any], None]) -> Iterator[Ints]:
    head = file.readline(_MOST_HEAD)
    digest(head)
    if head != (",".join(columns.names) + "\n").encode():
        raise HexpostError(f"{file.name}: expected the columns of the manifest in its first line, found {head[:80]!r}")
    reader = FixedDecimals(columns.decimals)
    text = bytearray(PAD + _TEXT + _MOST_ROW)
    view = memoryview(text)
    held, count, parts = 0, 0, []
    while True:
        begin = PAD + held
        got = file.readinto(view[begin : begin + _TEXT])  # type: ignore[attr-defined]
        if not got:
            break
        digest(view[begin : begin + got])
        end = begin + got
        cut = text.rfind(b"\n", PAD, end) + 1
        if end - max(cut, PAD) > _MOST_ROW:
            raise RefusedTextError(f"expected rows of at most {_MOST_ROW} bytes")
        if cut > PAD:
            parts.append(reader.parse(view[:cut]))
            count += parts[-1].shape[1]
            held = end - cut
            view[PAD : PAD + held] = bytes(view[cut:end])
        else:
            held = end - PAD
        if count >= BATCH:
            yield np.concatenate(parts, axis=1)
            count, parts = 0, []
    if held:
        raise RefusedTextError(
            f"expected a whole last row, found {bytes(view[PAD : PAD + min(held, 40)])!r}: it is cut off"
        )
    if parts:
        yield np.concatenate(parts, axis=1)


def _npy(file: BinaryIO, columns: Layout, digest: Callable[[Any], None]) -> Iterator[Ints]:
    start = file.read(len(_NPY_MAGIC) + 4)
    size = int.from_bytes(start[len(_NPY_MAGIC) :], "little")
    if start[: len(_NPY_MAGIC)] != _NPY_MAGIC or size > _MOST_HEAD:
        raise RefusedTextError("expected NumPy records of format 2.0")
    text = file.read(size)
    digest(start + text)
    try:
        head = ast.literal_eval(text.decode("ascii", "replace").strip())
    except (SyntaxError, RecursionError, MemoryError) as error:
        raise RefusedTextError("expected the head of NumPy records") from error
    kinds = [
        (n, "<i4" if n == LINE else "<f8" if d else "<i8") for n, d in zip(columns.names, columns.decimals, strict=True)
    ]
    rows = head.get("shape", (None,))[0] if isinstance(head, dict) and isinstance(head.get("shape"), tuple) else None
    if head != {"descr": kinds, "fortran_order": False, "shape": (rows,)} or not isinstance(rows, int):
        raise RefusedTextError("expected the columns of the manifest as records, found others")
    record = np.dtype(kinds)
    while data := file.read(BATCH * record.itemsize):
        digest(data)
        if len(data) % record.itemsize:
            raise RefusedTextError("expected whole records: the table is cut off")
        part = np.frombuffer(data, record)
        rows -= len(part)
        yield np.array([_exact(part[n], d) for n, d in zip(columns.names, columns.decimals, strict=True)])
    if rows:
        raise RefusedTextError("expected as many records as its head says")


def _exact(values: Any, decimals: int) -> Ints:  # noqa: ANN401 - one field of records, of either type
    """Return doubles as whole numbers of the last decimal: each must be the double nearest to one of these."""
    if decimals == 0:
        return np.asarray(values, dtype=np.int64)
    with np.errstate(invalid="ignore"):
        whole = np.rint(values * 10.0**decimals)
        sound = (whole / 10.0**decimals == values) & (np.abs(whole) < _LARGEST)
    if not sound.all():
        raise RefusedTextError(f"expected numbers of {decimals} decimals, found {values[np.flatnonzero(~sound)[0]]!r}")
    out: Ints = whole.astype(np.int64)
    return out


def _parquet(file: BinaryIO, columns: Layout, digest: Callable[[Any], None]) -> Iterator[Ints]:
    try:
        from hexpost.verify.parquet import batches
    except ImportError as error:
        raise HexpostError("a Parquet table needs the package pyarrow: install hexpost[parquet]") from error
    yield from batches(file, columns, digest)
