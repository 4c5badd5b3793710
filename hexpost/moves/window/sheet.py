"""The words of a window of blocks laid out by address letter and by modal group, rows counted from 0."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines, distinct
from hexpost.machine.words import LABELS, READ
from hexpost.moves.window.extract import Extract

T = TypeVar("T", bound=np.generic)
Rows = npt.NDArray[np.int32] | npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Words(Columns):
    """Words of one kind in the order of the text, shape (k,).

    Index among the words of the program, row of the block (rising), value.
    """

    at: Ints
    row: Lines
    value: Array

    @property
    def count(self) -> int:
        """Return the number of words."""
        return len(self.row)


NO_WORDS = Words(np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0))


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """The words of ``rows`` blocks: by address letter, and (G and M) by group with the code as value.

    At most one word of a letter or of a group stands in a row; what broke that rule has been reported and left out.
    """

    rows: int
    letters: dict[str, Words]
    groups: dict[str, Words]

    def letter(self, letter: str) -> Words:
        """Return the words of an address letter."""
        return self.letters.get(letter, NO_WORDS)

    def part(self, begin: int, end: int) -> "Sheet":
        """Return the rows ``begin`` to ``end`` (left out), counted from 0 again."""

        def cut(words: Words) -> Words:
            first, last = np.searchsorted(words.row, (begin, end)).tolist()
            return words.take(slice(first, last), row=words.row[first:last] - np.int32(begin))

        def cuts(found: dict[str, Words]) -> dict[str, Words]:
            return {name: words for name, all_words in found.items() if (words := cut(all_words)).count}

        return Sheet(end - begin, cuts(self.letters), cuts(self.groups))

    def group(self, group: str) -> Words:
        """Return the words of a modal group; their values are the codes."""
        return self.groups.get(group, NO_WORDS)


def arrange(extract: Extract, rows: int) -> dict[str, Words]:
    """Return the words of the first ``rows`` rows by address letter; labels are left out."""
    words = int(extract.first[rows])
    letters, counted, values = extract.letter[:words], extract.counted[:words], extract.value[:words]
    first = np.int32(extract.counted0)
    out = {}
    for letter in READ:
        here = letters == ord(letter)
        if letter not in LABELS and np.count_nonzero(here):
            at = np.flatnonzero(here)
            out[letter] = Words(at, counted[at] - first, values[at])
    return out


def fill(place: Rows, values: npt.NDArray[T], count: int, before: float) -> npt.NDArray[T]:
    """Return the column (count,) of the last value given at or before each place; ``before`` ahead of the first.

    ``place`` (k,) rises strictly within 0 ... count - 1.
    """
    if len(place) == count:
        return values
    if len(place) == 0:
        return np.full(count, before, dtype=values.dtype)
    edges = np.concatenate(([0], place, [count]))
    return np.repeat(np.concatenate((np.array([before], dtype=values.dtype), values)), np.diff(edges))


def first_rows(*words: Words) -> Ints:
    """Return the rows (rising, unique) in which any of the given words stands."""
    return distinct(np.concatenate([w.row for w in words])).astype(np.int64)


def in_force(words: Words, rare: Ints, before: int) -> Ints:
    """Return the value in force at each of the ``rare`` rows, the rows of ``words`` among them."""
    return fill(np.searchsorted(rare, words.row), words.value.astype(np.int64), len(rare), before)


class Movement:
    """Which blocks move: ``rows`` (n,) of the moves, and the place among them of any block."""

    def __init__(self, moving: Flags) -> None:
        self.rows: Ints = np.flatnonzero(moving)
        self.moving = moving
        self._all = len(self.rows) == len(moving)
        self._before = None if self._all else np.concatenate(([0], np.cumsum(moving)))

    @property
    def count(self) -> int:
        """Return the number of moving blocks."""
        return len(self.rows)

    def place(self, rows: Rows) -> Rows:
        """Return, for each of ``rows``, the index of the first move in or after that block (``count``: none)."""
        return rows if self._before is None else self._before[rows]

    def column(self, codes: Codes) -> Codes:
        """Return the part (n,) of a column of all blocks that belongs to the moves."""
        return codes if self._all else codes[self.rows]
