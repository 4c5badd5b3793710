"""One table of a TOML file, read key by key: faults are collected with key path, expected and found."""

import re
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from math import isfinite, nan
from typing import TypeVar

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.errors import Fault
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

    def fault(self, key: str, what: str, code: str, hint: str = "") -> None:
        """Note a fault of ``key``."""
        self.faults.append(Fault(file=self.file, what=what, code=code, key=self._at(key), hint=hint))

    def has(self, key: str) -> bool:
        """Return whether the file has ``key``."""
        return key in self._values

    def text(self, key: str, default: str | None = None) -> str:
        """Return a string that is not blank."""
        value = self._get(key, "text in quotes", default)
        if isinstance(value, str) and value.strip() and value.isprintable():
            return value
        self._refuse(key, "text in quotes (printable, not blank)", value)
        return ""

    def texts(self, key: str, default: Sequence[str] | None = None) -> tuple[str, ...]:
        """Return one or more strings in brackets, none of them blank."""
        expected = "texts in brackets"
        value = self._get(key, expected, default)
        rows = value if isinstance(value, list | tuple) else []
        if rows and all(isinstance(x, str) and x.strip() and x.isprintable() for x in rows):
            return tuple(str(x) for x in rows)
        self._refuse(key, expected, value)
        return ()

    def flag(self, key: str) -> bool:
        """Return true or false; false where the key is missing."""
        expected = "true or false"
        value = self._get(key, expected, default=False)
        if not isinstance(value, bool):
            self._refuse(key, expected, value)
        return value is True

    def choice(self, key: str, options: Sequence[str], default: str | None) -> str:
        """Return one of ``options``."""
        expected = "one of " + ", ".join(f'"{x}"' for x in options)
        value = self._get(key, expected, default)
        if isinstance(value, str) and value in options:
            return value
        self._refuse(key, expected, value)
        return ""

    def whole(self, key: str, least: int, most: int) -> int:
        """Return a whole number from ``least`` to ``most``."""
        expected = f"a whole number from {least} to {most}"
        value = self._get(key, expected, None)
        if isinstance(value, int) and not isinstance(value, bool) and least <= value <= most:
            return value
        self._refuse(key, expected, value)
        return least

    def positive(self, key: str, default: float | None = None, most: float = MOST) -> float:
        """Return a number above zero, in inside units."""
        value = self._get(key, "a number above 0", default)
        number = _number(value)
        if LEAST <= number <= most:
            return number * _factor(key)
        limit = f" ({LEAST:g} to {most:g})" if number > 0.0 else ""
        self._refuse(key, f"a number above 0{limit}", value)
        return nan

    def number(self, key: str, default: float | None = None, *, least: float = -MOST, most: float = MOST) -> float:
        """Return a number from ``least`` to ``most``, as written."""
        expected = "a number" if least == -MOST else f"a number of at least {least:g}"
        value = self._get(key, expected, default)
        number = _number(value)
        if least <= number <= most:
            return number
        self._refuse(key, expected if number < least or not isfinite(number) else f"at most {most:g}", value)
        return nan

    def asked(self, *keys: str) -> None:
        """Note that ``keys`` are known though they are missing."""
        self._asked += keys

    def numbers(self, key: str, count: int, default: Array | None = None, farthest: float = FARTHEST_MM) -> Array:
        """Return ``count`` numbers of at most ``farthest`` in size, shape (count,), as written."""
        expected = f"{count} numbers in brackets"
        value = self._get(key, expected, default)
        row = np.array([_number(x) for x in value]) if isinstance(value, list | np.ndarray) else np.empty(0)
        if row.shape != (count,) or not np.isfinite(row).all():
            self._refuse(key, expected, value)
            return np.full(count, nan)
        if np.abs(row).max() > farthest:
            self._refuse(key, f"{count} numbers of at most {farthest:g} in size", value)
        return frozen(row)

    def pose(self, key: str = "pose_mm_deg", default: Array | None = None) -> Array:
        """Return a pose (6,): x y z in mm, a b c in rad; angles of at most a whole turn."""
        row = np.array(self.numbers(key, 6, default))
        if np.abs(row[3:]).max() > 360.0:
            self._refuse(key, "angles of at most 360 degrees", self._values.get(key))
        row[3:] *= RAD_PER_DEG
        return frozen(row)

    def matrix(self, key: str) -> Array:
        """Return three rows of three numbers, shape (3, 3)."""
        expected = "three rows of three numbers"
        value = self._get(key, expected, None)
        rows = value if isinstance(value, list) else []
        if len(rows) == 3 and all(isinstance(row, list) and len(row) == 3 for row in rows):
            out = np.array([[_number(x) for x in row] for row in rows])
            if np.isfinite(out).all() and np.abs(out).max() <= MOST:
                return frozen(out)
        self._refuse(key, expected, value)
        return np.full((3, 3), nan)

    def table(self, key: str, *, optional: bool = False) -> "Table":
        """Return the table under ``key``; an optional one that is missing is empty."""
        value = self._get(key, f"a table [{self._at(key)}]", {} if optional else None)
        if not isinstance(value, dict):
            self._refuse(key, f"a table [{self._at(key)}]", value)
            return Table({}, self._at(key), self.file, [])
        return Table(value, self._at(key), self.file, self.faults)

    def maybe(self, key: str, make: Callable[["Table"], T]) -> T | None:
        """Return what ``make`` makes of the table under ``key``, or ``None`` where there is no such table."""
        self.asked(key)
        return make(self.table(key)) if self.has(key) else None

    def tables(self, key: str, count: int | None = None) -> list["Table"]:
        """Return the repeated tables under ``key``; their paths count from 1."""
        kind = f"[[{self._at(key)}]]"
        expected = f"one or more tables {kind}" if count is None else f"{count} tables {kind}"
        value = self._get(key, expected, None)
        rows = value if isinstance(value, list) else []
        good = bool(rows) and all(isinstance(row, dict) for row in rows)
        if value is not None and not (good and count in (None, len(rows))):
            shown = f"{len(rows)} tables" if good else _shown(value)
            self.fault(key, f"expected {expected}, found {shown}", "bad-value")
        return [
            Table(row, f"{self._at(key)}[{i + 1}]", self.file, self.faults)
            for i, row in enumerate(rows)
            if isinstance(row, dict)
        ]

    def close(self, known: Sequence[str] = ()) -> None:
        """Note every key that was neither asked for nor is ``known``, with the nearest one that could be meant."""
        known = list(dict.fromkeys([*self._asked, *known]))
        for key in self._values:
            if key not in known:
                near = get_close_matches(key[:80], known, n=1)
                hint = f"did you mean {near[0]}?" if near else "known here: " + ", ".join(known)
                plain = key if re.fullmatch(r"[A-Za-z0-9_-]{1,80}", key) else ascii(key[:80])
                self.fault(plain, f"expected a known key, found {plain}", "unknown-key", hint)

    def _at(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def _get(self, key: str, expected: str, default: object) -> object:
        """Return the value of ``key`` or its default; a missing key without a default is a fault."""
        self._asked.append(key)
        if key in self._values:
            return self._values[key]
        if default is None:
            self.fault(key, f"expected {expected}, found no such key", "missing-key")
        return default

    def _refuse(self, key: str, expected: str, value: object) -> None:
        """Note that ``value`` is not what was expected; a missing key has been noted already."""
        if value is not None:
            self.fault(key, f"expected {expected}, found {_shown(value)}", "bad-value")


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
