"""Faults of a program by word, block or line: where each is, and how often it is worth saying."""

import re
from collections.abc import Callable
from copy import copy
from dataclasses import replace

import numpy as np

from hexpost.arrays import Flags, Ints, Lines, among, distinct
from hexpost.errors import MOST_FAULTS, Fault
from hexpost.machine.words import LABELS
from hexpost.moves.window.extract import Extract
from hexpost.program.model import Program

WRITTEN = re.compile(rb"[A-Za-z:]\s*[-+]?[\d.]*")
UNSAID = (0, *(ord(x) for x in LABELS))
"""Letters of labels, and of words that were taken out."""
MOST_COUNTED = 10 * MOST_FAULTS
"""After so many faults no more are made: a file of another kind has one in every block."""


class Ledger:
    """The faults of a run over all its windows: the list itself, and what is said only once."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        self.told: set[str] = set()
        self._before = tuple(faults)

    def finish(self, more: list[Fault]) -> None:
        """Add the faults that only the whole program shows; put all into the order of the text, each told once."""
        known = len(self._before)
        own = {
            (fault.line or 0, fault.column or 0, fault.code): fault for fault in reversed(self.faults[known:] + more)
        }
        self.faults[known:] = [own[place] for place in sorted(own)]

    def unread(self, name: str) -> list[int]:
        """Return the lines of file ``name`` that had a fault before the interpreter saw them."""
        return [f.line for f in self._before if f.file == name and f.line is not None]


class Complaints:
    """The faults of one extract, whose rows may have been spelled out into more (``spelled``).

    ``spoilt`` marks blocks that have a fault; what follows from one is not told. Behind a block that could
    not be read nothing that depends on the blocks before is told. Methods take rows as they are now.
    """

    def __init__(self, extract: Extract, ledger: Ledger) -> None:
        self.extract = extract
        self.program = extract.program
        self.ledger = ledger
        self._spoilt: Flags = np.zeros(extract.rows, dtype=np.bool_)
        self._home: Ints | None = None
        self._unsure = extract.rows
        unread = ledger.unread(self.program.name)
        if unread:
            late = np.flatnonzero(extract.line(np.arange(extract.rows)) >= min(unread))
            self._unsure = int(late[0]) if late.size else extract.rows

    def spelled(self, home: Ints) -> "Complaints":
        """Return the same complaints for rows that were spelled out; ``home`` (rows,) are those they came from."""
        out = copy(self)
        out._home = home  # noqa: SLF001 - a copy of this very class
        return out

    def home(self, rows: Ints | Lines) -> Ints | Lines:
        """Return the rows (k,) of the extract that ``rows`` (k,) came from."""
        return rows if self._home is None else self._home[rows]

    def line(self, rows: Ints | Lines) -> Lines:
        """Return the lines of the program (k,) of ``rows`` (k,)."""
        return self.extract.line(self.home(rows))

    def spoilt(self, rows: Ints) -> Flags:
        """Return which of ``rows`` (k,) have a fault."""
        return self._spoilt[self.home(rows)]

    def certain(self, rows: Ints) -> Flags:
        """Return which of ``rows`` (k,) have no fault and no unread block before them."""
        return self._sure(self.home(rows))

    def _sure(self, rows: Ints | Lines) -> Flags:
        """Return which of ``rows`` (k,) of the extract are certain."""
        return ~self._spoilt[rows] & (rows < self._unsure)

    def written(self, at: int) -> str:
        """Return word ``at`` as it stands in the text, blanks taken out."""
        word = self.extract.word(at)
        found = WRITTEN.match(self.program.raw(int(self.program.line[word])), int(self.program.column[word]) - 1)
        if found is None:
            return f"{chr(self.program.letter[word])}{self.program.value[word]:g}"
        return b"".join(found.group().split()).decode().upper()

    def word(self, at: int, code: str, what: str, hint: str = "") -> None:
        """Report one fault at word ``at``."""
        self._spoilt[self.extract.row(np.array([at]))] = True
        if len(self.ledger.faults) < MOST_COUNTED:
            self.ledger.faults.append(self.place(at, code, what, hint))

    def place(self, at: int, code: str = "", what: str = "", hint: str = "") -> Fault:
        """Return a fault at word ``at``, not reported yet."""
        word = self.extract.word(at)
        line = int(self.program.line[word])
        fault = self.program.fault(line, int(self.program.column[word]), code, what, hint)
        return replace(fault, word=f"{chr(self.program.letter[word])}{self.program.value[word]:g}")

    def words(self, at: Ints, code: str, what: Callable[[str], str] | str, hint: str = "") -> None:
        """Report each word of ``at`` (k,); ``what`` may be a function of the word as written."""
        if len(at):
            self._spoilt[self.extract.row(at)] = True
        for index in at[:MOST_COUNTED].tolist():
            self.word(index, code, what if isinstance(what, str) else what(self.written(index)), hint)

    def sequels(self, at: Ints, code: str, what: Callable[[str], str] | str, hint: str = "") -> None:
        """Report the words of ``at`` (k,) that depend on other words, where those are certain."""
        if len(at):
            self.words(at[self._sure(self.extract.row(at))], code, what, hint)

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
        home = int(self.home(np.array([row]))[0])
        begin, end = int(self.extract.first[home]), int(self.extract.first[home + 1])
        said = begin + np.flatnonzero(~among(self.extract.letter[begin:end], UNSAID))
        return int(said[0]) if said.size else begin


class Teller:
    """Gathers faults by line, each kind once a line; ``line`` (n,) are the lines of the moves."""

    def __init__(self, program: Program, line: Lines) -> None:
        self.program = program
        self.line = line
        self.faults: dict[tuple[int, str], Fault] = {}

    def say(self, moves: Ints | Flags, code: str, what: str, hint: str = "") -> None:
        """Report the blocks of ``moves``."""
        for line in distinct(self.line[moves])[:MOST_COUNTED].tolist():
            self.at(line, code, what, hint)

    def at(self, line: int, code: str, what: str, hint: str = "") -> None:
        """Report a line, at its first word that is not its number."""
        program = self.program
        row = line - program.line0
        begin, end = int(program.first[row - 1]), int(program.first[row])
        said = begin + np.flatnonzero(~among(program.letter[begin:end], [ord(x) for x in LABELS]))
        word = int(said[0]) if said.size else begin
        column = int(program.column[word]) if end > begin else 1
        self.faults.setdefault((line, code), program.fault(line, column, code, what, hint))
