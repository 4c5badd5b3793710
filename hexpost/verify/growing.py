"""A table that is proven while it is written: whoever writes it tells of its files, and that they have grown.

Text is read as the file grows; binary tables, whose heads and ends are written last, when they are whole.
"""

import hashlib
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np

from hexpost.arrays import Ints
from hexpost.errors import HexpostError
from hexpost.verify.columns import Layout, layout, layout_of
from hexpost.verify.equations import Equations
from hexpost.verify.lacking import check_lacking, lacking
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import document, open_plain
from hexpost.verify.rows import joined, most_bytes, whole_numbers
from hexpost.verify.segments import told_segments
from hexpost.verify.settings import read_inputs, settings_of

Message = tuple[str, Any, Any]
"""``open``: a further file, and the size of the one before; ``more``: rows were added; ``end``: all is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """What is to be proven of a job in the folder ``root``: that its table is what inputs and settings mean.

    ``inputs``: names by role; ``table``: what the manifest says of a table with all columns, ``kind`` its format,
    ``rows`` how many are due; ``ends``: the last rows of the segments; ``narrow``: the columns of the table that is
    kept, where it lacks some and the one with all of them is for the proof alone, and its format.
    """

    root: Path
    inputs: Mapping[str, str]
    settings: Mapping[str, object]
    table: Mapping[str, Any]
    kind: str
    rows: int
    ends: Sequence[int]
    geared: bool
    narrow: tuple[Sequence[str], str] | None = None


def proven_while_written(statement: Statement, hear: Callable[[], Message]) -> tuple[Sequence[str], list[str]]:
    """Return what speaks against a statement, each with the name of the check, and the SHA-256 of the files read."""
    files = GrowingTable(statement, hear)
    try:
        checks = _checks(statement, files)
    except HexpostError as error:
        checks = [Check(name="readable", text="", faults=(str(error),))]
        files.rest()
    return [f"{check.name}: {fault}" for check in checks for fault in check.faults], files.digests


def _checks(statement: Statement, files: "GrowingTable") -> list[Check]:
    root, kept = statement.root, files.columns
    inputs = read_inputs({r: root / n for r, n in statement.inputs.items()}, root, settings_of(statement.settings))
    equations = Equations(inputs, kept.micros, ends=statement.ends)
    for rows in joined(files.whole(), kept):
        equations.add(rows)
    report = document(root / "report.json", "it belongs to every job")
    checks = equations.finish(report, root / "events.csv", told_segments(root / "segments.json"))
    faults = Faults()
    seen, last = equations.clock.rows, (equations.clock.rows - 1) * kept.micros / 1e6
    if not seen == statement.rows == report["rows"] or abs(report["duration_s"] - last) > 1e-9 * max(last, 1.0):
        faults.add(f"{seen:,} rows to {last:.6f} s, {statement.rows:,} are due, the report says {report['rows']:,}")
    if statement.narrow is not None and not _same(files, *statement.narrow):
        faults.add("the columns that were asked for are not those of the whole table that is proven")
    unseen = check_lacking(lacking(inputs.machine, inputs.tools), report)
    return [Check(name="rows", text="", faults=faults.told()), unseen, *checks]


def _same(files: "GrowingTable", names: Sequence[str], kind: str) -> bool:
    """Return whether the table that is kept, of some columns, holds those of the one that is proven."""
    some = layout_of(names, files.columns.micros)
    places = [files.columns.names.index(name) for name in names]
    left, right = files.again(), files.kept(kind, some)
    a, b = next(left, None), next(right, None)
    while a is not None and b is not None:
        n = min(a.shape[1], b.shape[1])
        if not np.array_equal(a[places, :n], b[:, :n]):
            return False
        a = a[:, n:] if a.shape[1] > n else next(left, None)
        b = b[:, n:] if b.shape[1] > n else next(right, None)
    return a is b


class GrowingTable:
    """The files of a table, one after the other as they are heard of, each while it grows."""

    def __init__(self, statement: Statement, hear: Callable[[], Message]) -> None:
        self.columns = layout({"table": statement.table}, geared=statement.geared)
        self._kind, self._most, self._hear = statement.kind, most_bytes(statement.rows, self.columns), hear
        self._paths: list[Path] = []
        self._sizes: list[int] = []
        self._kept: list[Path] | None = None
        self.digests: list[str] = []

    def listen(self) -> None:
        """Wait for the next message and take it in."""
        kind, first, second = self._hear()
        if kind == "open":
            self._paths.append(first)
            self._sizes.append(second)
        elif kind == "end":
            self._kept = first

    def rest(self) -> None:
        """Hear all that is said, to the end."""
        while self._kept is None:
            self.listen()

    def written(self, number: int) -> int | None:
        """Return how many bytes a file has that is written, from 0; ``None`` for one that still grows."""
        return self._sizes[number + 1] if number + 1 < len(self._sizes) else None

    @property
    def ended(self) -> bool:
        """Return whether all is written."""
        return self._kept is not None

    def whole(self) -> Iterator[Ints]:
        """Yield the whole numbers (columns, n) of all files."""
        number = 0
        while True:
            while number >= len(self._paths) and not self.ended:
                self.listen()
            if number >= len(self._paths):
                return
            if self._kind != "csv":
                self.rest()
            total = hashlib.sha256()
            with open_plain(self._paths[number], self._most) as file:
                source = cast("BinaryIO", _Growing(file, self, number)) if self._kind == "csv" else file
                yield from whole_numbers(source, f"setpoints.{self._kind}", self.columns, total.update)
            self.digests.append(total.hexdigest())
            number += 1

    def again(self) -> Iterator[Ints]:
        """Yield the same once more, all being written."""
        for path in self._paths:
            with open_plain(path, self._most) as file:
                yield from whole_numbers(file, f"setpoints.{self._kind}", self.columns, lambda _: None)

    def kept(self, kind: str, columns: Layout) -> Iterator[Ints]:
        """Yield the whole numbers of the table that is kept, all being written."""
        for path in self._kept or ():
            with open_plain(path, self._most) as file:
                yield from whole_numbers(file, f"setpoints.{kind}", columns, lambda _: None)


class _Growing(io.RawIOBase):
    """A file that ends only when all of it is written."""

    def __init__(self, file: BinaryIO, files: GrowingTable, number: int) -> None:
        self.name = file.name
        self._file, self._files, self._number, self._seen = file, files, number, 0

    def readable(self) -> bool:
        """Return whether it can be read: yes."""
        return True

    def readinto(self, buffer: Any, /) -> int:  # noqa: ANN401 - whatever holds bytes
        """Read what is there; where that is nothing, wait for more."""
        while True:
            whole = self._files.ended  # what is read after this was heard is all
            got = cast("int", self._file.readinto(buffer))  # type: ignore[attr-defined]
            self._seen += got
            written = self._files.written(self._number)
            if got or whole or (written is not None and self._seen >= written):
                return got
            self._files.listen()
