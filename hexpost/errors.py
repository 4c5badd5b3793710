"""Faults of inputs and outputs: where, what is wrong, and what to type instead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Self

MOST_FAULTS = 1000
"""So many faults are listed; a file of another kind would otherwise list every line."""
EXCERPT = 100
"""So many characters of a line are shown around a fault."""


class HexpostError(Exception):
    """Something that stops the run: exit code 2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault of an input: ``what`` says what is wrong and, if it can, what to type.

    ``line`` and ``column`` count from 1; ``key`` is a key path, which ``what`` names; ``text`` is the line itself
    (for the caret); ``hint`` says how to fix it; ``code`` names the kind of fault in lower-case-with-hyphens;
    ``count`` is how many faults this one stands for. ``word`` is the word at fault as short as it goes (``"M8"``).
    """

    file: str
    what: str
    code: str
    line: int | None = None
    column: int | None = None
    key: str | None = None
    text: str = ""
    hint: str = ""
    count: int = 1
    word: str = ""

    def __str__(self) -> str:
        """Return ``file:line:column: what``, the line with a caret, and the hint."""
        return self.told(EXCERPT)

    def told(self, width: int) -> str:
        """Return the same, with at most ``width`` characters of the line."""
        place = self.file
        if self.line is not None:
            place += f":{self.line}"
            if self.column is not None:
                place += f":{self.column}"
        out = [f"{place}: {self.what}"]
        if self.text and self.column is not None:
            out += excerpt(self.text, self.column, width)
        if self.hint:
            out.append(f"    hint: {self.hint}")
        return "\n".join(out)


class InputError(HexpostError):
    """All faults of the inputs of one run, at most ``MOST_FAULTS`` listed."""

    def __init__(self, faults: Sequence[Fault], total: int | None = None) -> None:
        self.faults = tuple(faults[:MOST_FAULTS])
        self.total = sum(f.count for f in faults) if total is None else total
        super().__init__(str(self))

    def __reduce__(self) -> tuple[type[Self], tuple[tuple[Fault, ...], int]]:
        """Return how to make the error again: on its way out of a worker it keeps its faults."""
        return type(self), (self.faults, self.total)

    def __str__(self) -> str:
        """Return every listed fault, then the count of the rest."""
        return self.told(EXCERPT)

    def told(self, width: int) -> str:
        """Return the same, with at most ``width`` characters of each line of an input."""
        out = [f.told(width) for f in self.faults]
        if (more := self.total - sum(f.count for f in self.faults)) > 0:
            out.append(f"... and {more} more faults")
        return "\n".join(out)


def missing(name: str, line: str) -> str:
    """Return the text of what is missing: its name and the line to add."""
    return f"`{name}` is missing; add it: {line}"


def unknown(kind: str, name: str, known: Sequence[str], elsewhere: Mapping[str, str] | None = None) -> str:
    """Return the text of a name that nothing has: the nearest one of ``known`` or ``elsewhere``, or all that are known.

    ``elsewhere`` has names of other places, each with its path; one that is there letter by letter is meant.
    """
    last, places = name.rpartition(".")[2][:80], elsewhere or {}
    near = [places[last]] if last in places else get_close_matches(last, known, n=1)
    near = near or [places[x] for x in get_close_matches(last, list(places), n=1)]
    return f"unknown {kind} `{name}`; " + (f"did you mean `{near[0]}`?" if near else f"known: {', '.join(known)}")


def out_of_range(name: str, value: object, bound: str) -> str:
    """Return the text of a value out of its range: ``bound`` is the one that it broke, such as ``above 0``."""
    return f"{name} is {value}; it must be {bound}"


def digits(value: float) -> str:
    """Return a bound without an exponent."""
    return f"{value:.12f}".rstrip("0").rstrip(".")


class OutputError(HexpostError):
    """An output that cannot be written, or must not be overwritten."""


def excerpt(text: str, column: int, width: int) -> list[str]:
    """Return the part of ``text`` around ``column`` (from 1), control characters blanked, and a caret below."""
    clean = "".join(c if c.isprintable() else " " for c in text.expandtabs(1))
    start = max(0, min(column - 1 - width // 2, len(clean) - width))
    lead = "... " if start else ""
    piece = clean[start : start + width]
    return [f"    {lead}{piece}", f"    {' ' * (len(lead) + column - 1 - start)}^"]
