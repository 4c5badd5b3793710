"""One table of a TOML file, read key by key: faults are collected with key path and the text to type."""

import re
from collections.abc import Callable, Mapping, Sequence
from math import isfinite, nan
from typing import TypeVar

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.errors import Fault, digits, missing, out_of_range, unknown
from hexpost.units import RAD_PER_DEG

T = TypeVar("T")

LEAST, MOST = 1e-9, 1e9
"""Range of every positive number: what lies outside is a slip of the unit, and would overflow further on."""

FARTHEST_MM = 1e5
"""No point of a machine is farther than this from any frame (100 m)."""


class Table:
    """One table of a file: getters by type note every fault in ``faults`` and go on with a stand-in.

    The unit is in the name of the key: numbers under a key with ``_deg`` come back in rad. ``close`` refuses the
    keys that no getter has asked for.
    """

    def __init__(self, values: dict[str, object], path: str, file: str, faults: list[Fault]) -> None:
        self.path = path
        self.file = file
        self.faults = faults
        self._values = values
        self._asked: list[str] = []

    def fault(self, key: str, says: str, code: str, hint: str = "") -> None:
        """Note a fault of ``key``: ``says`` goes on after its name."""
        self._note(key, f"{self._at(key)} {says}", code, hint)

    def has(self, key: str) -> bool:
        """Return whether the file has ``key``, which is a known one."""
        self._asked.append(key)
        return key in self._values

    def any_of(self, keys: Sequence[str]) -> bool:
        """Return whether the file has one of ``keys``, known here or not."""
        return any(key in self._values for key in keys)

    def text(self, key: str, default: str | None = None) -> str:
        """Return a string that is not blank."""
        value = self._get(key, '"text"', default)
        if isinstance(value, str) and value.strip() and value.isprintable():
            return value
        self._refuse(key, '"text"', value)
        return ""

    def texts(self, key: str, default: Sequence[str] | None = None) -> tuple[str, ...]:
        """Return one or more strings in brackets, none of them blank."""
        typed = '["text", ...]'
        value = self._get(key, typed, default)
        rows = value if isinstance(value, list | tuple) else []
        if rows and all(isinstance(x, str) and x.strip() and x.isprintable() for x in rows):
            return tuple(str(x) for x in rows)
        self._refuse(key, typed, value)
        return ()

    def flag(self, key: str) -> bool:
        """Return true or false; false where the key is missing."""
        typed = "true or false"
        value = self._get(key, typed, default=False)
        if not isinstance(value, bool):
            self._refuse(key, typed, value)
        return value is True

    def choice(self, key: str, options: Sequence[str], default: str | None) -> str:
        """Return one of ``options``."""
        typed = " or ".join([", ".join(f'"{x}"' for x in options[:-1]), f'"{options[-1]}"'])
        value = self._get(key, typed, default)
        if isinstance(value, str) and value in options:
            return value
        self._refuse(key, typed, value)
        return ""

    def whole(self, key: str, least: int, most: int) -> int:
        """Return a whole number from ``least`` to ``most``."""
        value = self._get(key, "whole number", None)
        if not isinstance(value, int) or isinstance(value, bool):
            self._refuse(key, "whole number", value)
            return least
        self._bound(key, value, f"at least {least}" if value < least else f"at most {most}" if value > most else "")
        return min(max(value, least), most)

    def positive(self, key: str, default: float | None = None, most: float = MOST) -> float:
        """Return a number above zero, in inside units."""
        number = self._between(key, default, LEAST, most)
        return number * _factor(key)

    def number(self, key: str, default: float | None = None, *, least: float = -MOST, most: float = MOST) -> float:
        """Return a number from ``least`` to ``most``, as written."""
        return self._between(key, default, least, most)

    def numbers(self, key: str, parts: str, default: Array | None = None, farthest: float = FARTHEST_MM) -> Array:
        """Return a number for each of ``parts`` (``"x y z"``), of at most ``farthest`` in size, as written."""
        count, typed = len(parts.split()), f"[{', '.join(parts.split())}]"
        value = self._get(key, typed, default)
        row = np.array([_number(x) for x in value]) if isinstance(value, list | np.ndarray) else np.empty(0)
        if row.shape != (count,) or not np.isfinite(row).all():
            self._refuse(key, f"{typed}, {count} numbers", value)
            return np.full(count, nan)
        if np.abs(row).max() > farthest:
            i = int(np.abs(row).argmax())
            bound = f"at most {digits(farthest)}" if row[i] > 0.0 else f"at least {digits(-farthest)}"
            self._note(key, out_of_range(f"{parts.split()[i]} of {self._at(key)}", digits(row[i]), bound), "bad-value")
        return frozen(row)

    def pose(self, key: str = "pose_mm_deg", default: Array | None = None) -> Array:
        """Return a pose (6,): x y z in mm, a b c in rad; angles of at most a whole turn."""
        row = np.array(self.numbers(key, "x y z a b c", default))
        if np.abs(row[3:]).max() > 360.0:
            self.fault(key, f"turns {np.abs(row[3:]).max():g} degrees; a turn is at most 360", "bad-value")
        row[3:] *= RAD_PER_DEG
        return frozen(row)

    def matrix(self, key: str) -> Array:
        """Return three rows of three numbers, shape (3, 3)."""
        typed = "[[xx, xy, xz], [yx, yy, yz], [zx, zy, zz]]"
        value = self._get(key, typed, None)
        rows = value if isinstance(value, list) else []
        if len(rows) == 3 and all(isinstance(row, list) and len(row) == 3 for row in rows):
            out = np.array([[_number(x) for x in row] for row in rows])
            if np.isfinite(out).all() and np.abs(out).max() <= MOST:
                return frozen(out)
        self._refuse(key, typed, value)
        return np.full((3, 3), nan)

    def triangle(self, key: str, sizes: Sequence[int]) -> Array:
        """Return a symmetric matrix of one of the ``sizes`` of which the value holds the lower half, row by row."""
        typed = f"[[c11], [c21, c22], ...], {' or '.join(map(str, sizes))} rows"
        value = self._get(key, typed, None)
        rows = value if isinstance(value, list) else []
        size = len(rows) if len(rows) in sizes else sizes[0]
        out = np.full((size, size), nan)
        if len(rows) == size and all(isinstance(row, list) and len(row) == k + 1 for k, row in enumerate(rows)):
            for k, row in enumerate(rows):
                out[k, : k + 1] = out[: k + 1, k] = [_number(x) for x in row]
            if np.isfinite(out).all() and np.abs(out).max() <= MOST:
                return frozen(out)
        self._refuse(key, typed, value)
        return np.full((size, size), nan)

    def table(self, key: str, *, optional: bool = False) -> "Table":
        """Return the table under ``key``; an optional one that is missing is empty."""
        value = self._get(key, f"[{self._heading(key)}]", {} if optional else None)
        if not isinstance(value, dict):
            if value is not None:
                self.fault(key, f"is {_shown(value)}; make it a table: [{self._heading(key)}]", "bad-value")
            return Table({}, self._at(key), self.file, [])
        return Table(value, self._at(key), self.file, self.faults)

    def maybe(self, key: str, make: Callable[["Table"], T]) -> T | None:
        """Return what ``make`` makes of the table under ``key``, or ``None`` where there is no such table."""
        return make(self.table(key)) if self.has(key) else None

    def tables(self, key: str, count: int | None = None) -> list["Table"]:
        """Return the repeated tables under ``key``; their paths count from 1."""
        kind = f"[[{self._heading(key)}]]"
        value = self._get(key, kind, None)
        rows = value if isinstance(value, list) else []
        good = bool(rows) and all(isinstance(row, dict) for row in rows)
        if value is not None and not good:
            self.fault(key, f"is {_shown(value)}; make it a list of tables: {kind}", "bad-value")
        elif good and count not in (None, len(rows)):
            self._note(key, f"the file has {len(rows)} of {kind}; it must have {count}", "bad-value")
        return [
            Table(row, f"{self._at(key)}[{i + 1}]", self.file, self.faults)
            for i, row in enumerate(rows)
            if isinstance(row, dict)
        ]

    def close(self, elsewhere: Mapping[str, str] | None = None) -> None:
        """Note every key that was not asked for, with the nearest one that could be meant.

        ``elsewhere`` has keys of other tables, each with the path where it belongs.
        """
        known = list(dict.fromkeys(self._asked))
        for key in self._values:
            if key not in known:
                plain = key if re.fullmatch(r"[A-Za-z0-9_-]{1,80}", key) else ascii(key[:80])
                self._note(plain, unknown("key", self._at(plain), known, elsewhere), "unknown-key")

    def _at(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def _heading(self, key: str) -> str:
        """Return the heading of a table as a file has it: without the counts of repeated ones."""
        return re.sub(r"\[\d+\]", "", self._at(key))

    def _note(self, key: str, what: str, code: str, hint: str = "") -> None:
        """Note a fault of ``key`` in whole words."""
        self.faults.append(Fault(file=self.file, what=what, code=code, key=self._at(key), hint=hint))

    def _get(self, key: str, typed: str, default: object) -> object:
        """Return the value of ``key`` or its default; a missing key without a default is a fault."""
        self._asked.append(key)
        if key in self._values:
            return self._values[key]
        if default is None:
            line = typed if typed.strip("[]") == self._heading(key) else f"{key} = {typed}"
            self._note(key, missing(self._at(key), line), "missing-key")
        return default

    def _between(self, key: str, default: float | None, least: float, most: float) -> float:
        """Return a number from ``least`` to ``most``; one of ``LEAST`` means above 0."""
        typed = "number above 0" if least == LEAST else "number"
        value = self._get(key, typed, default)
        number = _number(value)
        if not isfinite(number):
            self._refuse(key, typed, value)
        elif number < least:
            self._bound(key, value, "above 0" if number <= 0.0 and least == LEAST else f"at least {digits(least)}")
        elif number > most:
            self._bound(key, value, f"at most {digits(most)}")
        else:
            return number
        return nan

    def _refuse(self, key: str, typed: str, value: object) -> None:
        """Note that ``value`` is of another kind; a missing key, or what its default is of, has been noted already."""
        if key in self._values:
            self.fault(key, f"is {_shown(value)}; write {key} = {typed}", "bad-value")

    def _bound(self, key: str, value: object, bound: str) -> None:
        """Note that ``value`` breaks ``bound``; an empty one holds."""
        if bound:
            self._note(key, out_of_range(self._at(key), _shown(value), bound), "bad-value")


def _number(value: object) -> float:
    """Return a TOML number as a float; nan for anything else, for infinite and for endless ones."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return nan
    try:
        number = float(value)
    except OverflowError:
        return nan
    return number if isfinite(number) else nan


def _factor(key: str) -> float:
    """Return what turns a number under ``key`` into inside units (mm, s, rad)."""
    return RAD_PER_DEG if "_deg" in key else 1.0


def _shown(value: object) -> str:
    """Return a value as it is quoted in a fault, at most 60 characters."""
    if isinstance(value, bool):
        return str(value).lower()
    try:
        shown = f'"{value}"' if isinstance(value, str) else str(value)
    except (RecursionError, ValueError):  # a whole number of more digits than Python prints
        return "a number of too many digits"
    shown = "".join(c if c.isprintable() else " " for c in shown[:61])
    return shown if len(shown) <= 60 else shown[:57] + "..."
