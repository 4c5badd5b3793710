"""The words of a program as a shop's dialect reads them, as columns that can be counted."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, among, distinct
from hexpost.moves.needs.model import MOST_PLACES, Quote
from hexpost.moves.reading.dialect import Dialect
from hexpost.program.model import Program

LONGEST = 120
"""So many characters of a block are shown."""


@dataclass(frozen=True, slots=True, eq=False)
class WordColumns:
    """The words (w,) of a program; ``letter`` is 0 where the dialect takes a word out."""

    program: Program
    letter: Codes
    value: Array

    @classmethod
    def of(cls, program: Program, dialect: Dialect) -> "WordColumns":
        """Return the words of a program."""
        return cls(program, *dialect.plain(program))

    def named(self, letters: str) -> Flags:
        """Return which words have one of these letters."""
        return among(self.letter, [ord(x) for x in letters])

    def coded(self, letter: str, *codes: float) -> Flags:
        """Return which words are one of these codes of G or M."""
        out: Flags = (self.letter == ord(letter)) & among(self.value, codes)
        return out

    def on_lines_of(self, chosen: Flags) -> Flags:
        """Return which words (w,) are on a line that holds one of the words ``chosen`` (w,)."""
        line = self.program.line - self.program.line0
        marked = np.zeros(self.program.lines + 1, dtype=np.bool_)
        marked[line[chosen]] = True
        out: Flags = marked[line]
        return out

    def lines(self, chosen: Flags) -> Ints:
        """Return the lines (k,) that hold one of the words ``chosen`` (w,), rising."""
        return distinct(self.program.line[chosen]).astype(np.int64)

    def places(self, lines: Ints) -> tuple[Quote, ...]:
        """Return the first of ``lines`` with their text."""
        return tuple(self.place(line) for line in lines[:MOST_PLACES].tolist())

    def place(self, line: int) -> Quote:
        """Return a line with its text."""
        return Quote(line, self.program.text(line)[: 4 * LONGEST].strip()[:LONGEST])
