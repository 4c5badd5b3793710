"""Faults of a program by word or by block: where it stands, and how often it is worth saying."""

import re
from collections.abc import Callable

import numpy as np

from hexpost.arrays import Flags, Ints
from hexpost.errors import MOST_FAULTS, Fault
from hexpost.moves.words import LABELS
from hexpost.program.model import Program

WRITTEN = re.compile(rb"[A-Za-z:]\s*[-+]?[\d.]*")
MOST_COUNTED = 10 * MOST_FAULTS
"""After so many faults no more are made: a file of another kind has one in every block."""
NEVER = 2**31 - 1


class Ledger:
    """The faults of a run over all its windows: the list itself, and what is said only once."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        self.told: set[str] = set()
        self._before = tuple(faults)

    def finish(self, more: list[Fault]) -> None:
        """Add the faults that only the whole program shows, and put all into the order of the text."""
        known = len(self._before)
        own = self.faults[known:] + more
        self.faults[known:] = sorted(own, key=lambda fault: (fault.line or 0, fault.column or 0))

    def unread(self, name: str) -> list[int]:
        """Return the lines of file ``name`` that had a fault before the interpreter saw them."""
        return [f.line for f in self._before if f.file == name and f.line is not None]


class Complaints:
    """The faults of one window.

    ``spoilt`` (lines,) marks blocks that have a fault; what follows from one is not told. Behind a block that could
    not be read nothing that depends on the blocks before is told.
    """

    def __init__(self, program: Program, ledger: Ledger) -> None:
        self.program = program
        self.ledger = ledger
        self.spoilt: Flags = np.zeros(program.lines, dtype=np.bool_)
        unread = np.array(ledger.unread(program.name), dtype=np.int64)
        self._unsure = int(unread.min()) - 1 - program.line0 if unread.size else NEVER

    def row(self, at: Ints) -> Ints:
        """Return the rows of words ``at`` (k,)."""
        return self.program.line[at] - np.int64(1 + self.program.line0)

    def certain(self, rows: Ints) -> Flags:
        """Return which of ``rows`` (k,) have no fault and no unread block before them."""
        return ~self.spoilt[rows] & (rows < self._unsure)

    def written(self, at: int) -> str:
        """Return word ``at`` as it stands in the text, blanks taken out."""
        found = WRITTEN.match(self.program.raw(int(self.program.line[at])), int(self.program.column[at]) - 1)
        if found is None:
            return f"{chr(self.program.letter[at])}{self.program.value[at]:g}"
        return b"".join(found.group().split()).decode().upper()

    def word(self, at: int, code: str, what: str, hint: str = "") -> None:
        """Report one fault at word ``at``."""
        self.spoilt[int(self.program.line[at]) - 1 - self.program.line0] = True
        if len(self.ledger.faults) < MOST_COUNTED:
            self.ledger.faults.append(self.place(at, code, what, hint))

    def place(self, at: int, code: str = "", what: str = "", hint: str = "") -> Fault:
        """Return a fault at word ``at``, not reported yet."""
        line = int(self.program.line[at])
        column, text = self.program.caret(line, int(self.program.column[at])), self.program.text(line)
        return Fault(file=self.program.name, what=what, code=code, line=line, column=column, text=text, hint=hint)

    def words(self, at: Ints, code: str, what: Callable[[str], str] | str, hint: str = "") -> None:
        """Report each word of ``at`` (k,); ``what`` may be a function of the word as written."""
        if len(at):
            self.spoilt[self.row(at)] = True
        for index in at[:MOST_COUNTED].tolist():
            self.word(index, code, what if isinstance(what, str) else what(self.written(index)), hint)

    def sequels(self, at: Ints, code: str, what: Callable[[str], str] | str, hint: str = "") -> None:
        """Report the words of ``at`` (k,) that depend on other words, where those are certain."""
        if len(at):
            self.words(at[self.certain(self.row(at))], code, what, hint)

    def blocks(self, rows: Ints, code: str, what: str, hint: str = "") -> None:
        """Report each block of ``rows`` (k,), at its first word that is not its number."""
        for row in rows[:MOST_COUNTED].tolist():
            self.word(self.first_word(row), code, what, hint)

    def once(self, rows: Ints, code: str, what: str, hint: str = "") -> None:
        """Report the first block of ``rows`` (k,) that is certain, and only the first in a program."""
        if len(rows) and code not in self.ledger.told:
            rows = rows[self.certain(rows)][:1]
            if len(rows):
                self.ledger.told.add(code)
                self.blocks(rows, code, what, hint)

    def first_word(self, row: int) -> int:
        """Return the index of the first word of a block that is not a label."""
        begin, end = int(self.program.first[row]), int(self.program.first[row + 1])
        said = begin + np.flatnonzero(~np.isin(self.program.letter[begin:end], [ord(x) for x in LABELS]))
        return int(said[0]) if said.size else begin
