"""A CSV file of measurements, read by the names of its columns; every fault of it is raised together."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, nan
from pathlib import Path

import numpy as np

from hexpost.arrays import Array
from hexpost.errors import Fault, InputError, out_of_range, unknown
from hexpost.machine.reading import read_bytes

MOST_BYTES = 20_000_000
"""A file of measurements is not longer than this."""

FARTHEST = 1e6
"""No measured number is larger than this: a slip of the unit or of the separator."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredColumns:
    """The columns of a file: numbers (n,) and texts (n) by name; ``line`` is the line of each row, from 1."""

    file: str
    source: bytes
    numbers: dict[str, Array]
    texts: dict[str, tuple[str, ...]]
    line: tuple[int, ...]

    @property
    def count(self) -> int:
        """Return the number of rows."""
        return len(self.line)

    def has(self, *names: str) -> bool:
        """Return whether the file has all of these columns."""
        return all(name in self.numbers or name in self.texts for name in names)

    def rows(self, names: Sequence[str]) -> Array:
        """Return columns of numbers, shape (n, k).

        Raises
        ------
        InputError
            When one of them is missing.
        """
        missing = [name for name in names if name not in self.numbers]
        if missing:
            found = ", ".join([*self.texts, *self.numbers])
            raise self.refusal(f"no column {', '.join(missing)}; the file has {found}", "missing-column")
        return np.stack([self.numbers[name] for name in names], axis=1)

    def row_name(self, i: int) -> str:
        """Return how row ``i`` (from 0) is called in a message: its line, and its name where it has one."""
        name = self.texts["name"][i] if "name" in self.texts else ""
        return f"line {self.line[i]}" + (f" ({name})" if name else "")

    def refusal(self, what: str, code: str, hint: str = "", row: int | None = None) -> InputError:
        """Return the error of a file that cannot be used as it is."""
        line = None if row is None else self.line[row]
        return InputError([Fault(file=self.file, what=what, code=code, hint=hint, line=line)])


def read_columns(path: str | Path, numbers: Sequence[str], texts: Sequence[str] = ("name",)) -> MeasuredColumns:
    """Return the columns of the CSV file at ``path``; those named in ``numbers`` and ``texts`` may be there.

    Raises
    ------
    InputError
        When the file cannot be read or is no table of such columns; with every bad field of it.
    """
    file = str(path)
    source = read_bytes(path, MOST_BYTES)
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        what = f"the byte {source[error.start]:#04x} is no UTF-8 text; save the file as UTF-8"
        raise InputError([Fault(file=file, what=what, code="bad-csv")]) from None
    reader = csv.reader(text.splitlines(), skipinitialspace=True)
    try:
        rows = [(reader.line_num, [f.strip() for f in row]) for row in reader if any(f.strip() for f in row)]
    except csv.Error as error:
        raise InputError([Fault(file=file, what=f"not a CSV table: {error}", code="bad-csv")]) from None
    if len(rows) < 2:
        what = f"{len(rows)} lines are too few; write a line of column names, then rows of numbers"
        raise InputError([Fault(file=file, what=what, code="bad-csv")])
    names = rows[0][1]
    faults = _name_faults(file, names, [*numbers, *texts])
    if faults:
        raise InputError(faults)
    body = rows[1:]
    faults = [
        Fault(file=file, line=line, what=f"the row has {len(row)} fields, the first line {len(names)}", code="bad-row")
        for line, row in body
        if len(row) != len(names)
    ]
    if faults:
        raise InputError(faults)
    out: dict[str, Array] = {}
    for k, name in enumerate(names):
        if name in numbers:
            out[name] = np.array([_number(file, line, name, row[k], faults) for line, row in body])
    if faults:
        raise InputError(faults)
    words = {name: tuple(row[names.index(name)] for _, row in body) for name in texts if name in names}
    return MeasuredColumns(file=file, source=source, numbers=out, texts=words, line=tuple(line for line, _ in body))


def _name_faults(file: str, names: Sequence[str], known: Sequence[str]) -> list[Fault]:
    """Return the faults of a line of column names."""
    faults = []
    for name in dict.fromkeys(names):
        shown = "".join(c if c.isprintable() else " " for c in name[:60])
        if names.count(name) > 1:
            faults.append(
                Fault(file=file, line=1, what=f"column `{shown}` is there twice; take one out", code="column")
            )
        if name not in known:
            hint = "separate fields by commas, and write numbers with a decimal point" if ";" in name else ""
            faults.append(Fault(file=file, line=1, what=unknown("column", shown, known), code="column", hint=hint))
    return faults


def _number(file: str, line: int, name: str, field: str, faults: list[Fault]) -> float:
    """Return a field as a number; what is none is a fault."""
    try:
        value = float(field)
    except ValueError:
        value = nan
    if not isfinite(value) or abs(value) > FARTHEST:
        shown = "".join(c if c.isprintable() else " " for c in field[:40])
        bound = f"at most {FARTHEST:.0f}" if value > 0.0 else f"at least {-FARTHEST:.0f}"
        what = out_of_range(name, shown, bound) if isfinite(value) else f"{name} is {shown!r}; write a number"
        faults.append(Fault(file=file, line=line, what=what, code="bad-number"))
    return value
