"""Faults of a program by word or by block: where it stands, and how often it is worth saying."""

import re
from collections.abc import Callable

import numpy as np

from hexpost.arrays import Flags, Ints
from hexpost.errors import MOST_FAULTS, Fault
from hexpost.program.model import Program

WRITTEN = re.compile(rb"[A-Za-z:]\s*[-+]?[\d.]*")
LABELS = (ord("N"), ord("O"), ord(":"))


class Complaints:
    """Collects the faults of a window; ``spoilt`` (lines,) marks blocks that have one, whose sequels are not told."""

    def __init__(self, program: Program, faults: list[Fault]) -> None:
        self.program = program
        self.faults = faults
        self.spoilt: Flags = np.zeros(program.lines, dtype=np.bool_)

    def written(self, at: int) -> str:
        """Return word ``at`` as it stands in the text, blanks taken out."""
        line, column = int(self.program.line[at]), int(self.program.column[at])
        found = WRITTEN.match(self.program.raw(line), column - 1)
        if found is None:
            return f"{chr(self.program.letter[at])}{self.program.value[at]:g}"
        return b"".join(found.group().split()).decode().upper()

    def words(self, at: Ints, code: str, what: Callable[[str], str] | str, hint: str = "") -> None:
        """Report each word of ``at`` (k,); ``what`` may be a function of the word as written."""
        if len(at) == 0:
            return
        self.spoilt[self.program.line[at] - 1 - self.program.line0] = True
        for index in at[: MOST_FAULTS + 1].tolist():
            self.word(index, code, what if isinstance(what, str) else what(self.written(index)), hint)

    def sequels(self, at: Ints, code: str, what: Callable[[str], str] | str, hint: str = "") -> None:
        """Report the words of ``at`` (k,) whose block has no other fault: what follows from one is not told."""
        self.words(at[~self.spoilt[self.program.line[at] - 1 - self.program.line0]], code, what, hint)

    def word(self, at: int, code: str, what: str, hint: str = "") -> None:
        """Report one fault at word ``at``."""
        line = int(self.program.line[at])
        self.spoilt[line - 1 - self.program.line0] = True
        self.faults.append(
            Fault(
                file=self.program.name,
                what=what,
                code=code,
                line=line,
                column=self.program.caret(line, int(self.program.column[at])),
                text=self.program.text(line),
                hint=hint,
            )
        )

    def blocks(self, rows: Ints, code: str, what: str, hint: str = "") -> None:
        """Report each block of ``rows`` (k,), at its first word that is not its number."""
        for row in rows[: MOST_FAULTS + 1].tolist():
            self.word(self.first_word(row), code, what, hint)

    def first_word(self, row: int) -> int:
        """Return the index of the first word of a block that is not a label."""
        begin, end = int(self.program.first[row]), int(self.program.first[row + 1])
        said = begin + np.flatnonzero(~np.isin(self.program.letter[begin:end], LABELS))
        return int(said[0]) if said.size else begin
