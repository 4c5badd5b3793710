"""Blocks in the order in which they run: a stretch of the program itself, or lines gathered from all over it."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines
from hexpost.program.model import Program


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Extract(Columns):
    """Whole lines of ``program`` (rows, counted from 0) with their words (w,).

    ``letter`` (0: a word taken out), ``value`` and ``pointed`` are those of the words as they are to be read;
    ``counted`` less ``counted0`` is the row of each; ``first`` (rows + 1,) the first word of each row. ``lines``
    (rows,) and ``words`` (w,) lead back to line and word of the program; where they are ``None`` the extract is a
    stretch that begins with line ``line0`` + 1 and word ``word0``.
    """

    program: Program
    letter: Codes
    value: Array
    pointed: Flags
    counted: Lines
    counted0: int
    first: Ints
    lines: Lines | None
    line0: int
    words: Ints | None
    word0: int

    @property
    def rows(self) -> int:
        """Return the number of blocks."""
        return len(self.first) - 1

    def part(self, begin: int, end: int) -> "Extract":
        """Return the rows ``begin`` to ``end`` (left out); columns are views."""
        first, last = int(self.first[begin]), int(self.first[end])
        return self.take(
            slice(first, last),
            counted0=self.counted0 + begin,
            first=self.first[begin : end + 1] - first,
            lines=None if self.lines is None else self.lines[begin:end],
            line0=self.line0 + begin,
            word0=self.word0 + first,
        )

    def line(self, rows: Ints | Lines) -> Lines:
        """Return the lines of the program (k,) that the ``rows`` (k,) are."""
        found = rows + (1 + self.line0) if self.lines is None else self.lines[rows]
        return found.astype(np.int32)

    def row(self, at: Ints) -> Ints:
        """Return the rows (k,) of the words ``at`` (k,)."""
        return self.counted[at] - np.int64(self.counted0)

    def word(self, at: int) -> int:
        """Return the index in the program of word ``at``."""
        return at + self.word0 if self.words is None else int(self.words[at])


def stretch(program: Program, begin: int, end: int) -> Extract:
    """Return the rows ``begin`` to ``end`` (left out) of a program as they stand; columns are views."""
    first, last = int(program.first[begin]), int(program.first[end])
    words = slice(first, last)
    return Extract(
        program=program,
        letter=program.letter[words],
        value=program.value[words],
        pointed=program.pointed[words],
        counted=program.line[words],
        counted0=1 + program.line0 + begin,
        first=program.first[begin : end + 1] - first,
        lines=None,
        line0=program.line0 + begin,
        words=None,
        word0=first,
    )


def gathered(program: Program, rows: Ints) -> Extract:
    """Return the ``rows`` (k,) of a program in the order given, which may repeat them."""
    begin = program.first[rows]
    count = program.first[rows + 1] - begin
    first = np.concatenate(([0], np.cumsum(count)))
    words = np.arange(first[-1]) + np.repeat(begin - first[:-1], count)
    return Extract(
        program=program,
        letter=program.letter[words],
        value=program.value[words],
        pointed=program.pointed[words],
        counted=np.repeat(np.arange(len(rows), dtype=np.int32), count),
        counted0=0,
        first=first,
        lines=(rows + (1 + program.line0)).astype(np.int32),
        line0=0,
        words=words,
        word0=0,
    )
