"""Blocks that say nothing but where to go, for those who rewrite the text of a program."""

from hexpost.machine.model import Machine
from hexpost.machine.words import LABELS
from hexpost.moves.reading.dialect import Dialect
from hexpost.moves.reading.implied import placed
from hexpost.moves.window.complaints import Complaints, Ledger
from hexpost.moves.window.extract import stretch
from hexpost.moves.window.modes import ABSOLUTE, AXES, INCH, METRIC
from hexpost.program.model import Program

PLAIN = frozenset((*AXES, *LABELS, "F"))
"""Letters that such a block may hold; of G words only ``STRAIGHT``."""
STRAIGHT = frozenset({1.0, float(ABSOLUTE), 94.0})


def axis_words(program: Program, machine: Machine, line: int, *, inch: bool) -> list[tuple[int, int, float]] | None:
    """Return the axis words of a block of a program without fault that goes straight and says no more.

    Each is its axis (0 to 5), its index among the words of the program, and its value as it is read; ``None`` where the
    block says more, or holds a word that is not read.
    """
    extract = stretch(program, line - 1 - program.line0, line - program.line0)
    complaints = Complaints(extract, Ledger([]))
    read = Dialect(machine.dialect).applied(extract, complaints)
    read = placed(read, machine.words, INCH if inch else METRIC, complaints)
    letters = [chr(x) for x in read.letter]
    values = read.value.tolist()
    if not all(x in PLAIN or (x == "G" and value in STRAIGHT) for x, value in zip(letters, values, strict=True)):
        return None
    return [(AXES.index(x), read.word(i), values[i]) for i, x in enumerate(letters) if x in AXES]
