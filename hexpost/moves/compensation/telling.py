"""Faults of cutter radius compensation at the lines of a program."""

import numpy as np

from hexpost.arrays import Flags, Ints, Lines
from hexpost.errors import Fault
from hexpost.moves.complaints import MOST_COUNTED
from hexpost.moves.words import LABELS
from hexpost.program.model import Program


class Teller:
    """Gathers faults by line, each kind once a line; ``line`` (n,) are the lines of the moves."""

    def __init__(self, program: Program, line: Lines) -> None:
        self.program = program
        self.line = line
        self.faults: dict[tuple[int, str], Fault] = {}

    def say(self, moves: Ints | Flags, code: str, what: str, hint: str = "") -> None:
        """Report the blocks of ``moves``."""
        for line in np.unique(self.line[moves])[:MOST_COUNTED].tolist():
            self.at(line, code, what, hint)

    def at(self, line: int, code: str, what: str, hint: str = "") -> None:
        """Report a line, at its first word that is not its number."""
        program = self.program
        row = line - program.line0
        begin, end = int(program.first[row - 1]), int(program.first[row])
        said = begin + np.flatnonzero(~np.isin(program.letter[begin:end], [ord(x) for x in LABELS]))
        word = int(said[0]) if said.size else begin
        column = int(program.column[word]) if end > begin else 1
        self.faults.setdefault((line, code), program.fault(line, column, code, what, hint))
