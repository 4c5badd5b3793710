"""Where a program is begun again: which line, the how manieth time it runs, and the cut ahead of that block."""

import re
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import distinct
from hexpost.errors import Fault, InputError
from hexpost.moves.model import Interpretation
from hexpost.moves.window.extract import Extract
from hexpost.program.model import Program

FORM = re.compile(r"(N?)([0-9]{1,9}(?:\.[0-9]{1,4})?)(?:@([0-9]{1,9}))?", re.IGNORECASE)
"""A line of the file or N and a block number; @ and the run, where it runs several times."""
MOST_NAMED = 5
"""So many lines are named in a refusal."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A line of the file, from 1, and which run of it, from 1."""

    line: int
    run: int = 1


def asked(program: Program, text: str) -> Asked:
    """Return what ``text`` asks for in a program: ``"23"``, ``"N170"``, ``"N170@2"``.

    Raises
    ------
    InputError
        It is none of these, or no line, or several, have that block number.
    """
    found = FORM.fullmatch(text.strip())
    if found is None or (not found[1] and "." in found[2]):
        what = "write a line (23), a block number (N170) or a run of one (N170@2)"
        raise refused(program, f"{text!r} is no line; {what}")
    number, run = float(found[2]), int(found[3] or 1)
    lines = [int(number)]
    if found[1]:
        own = (program.letter == ord("N")) & (program.value == number)
        lines = distinct(program.line[own]).tolist()
    if len(lines) != 1:
        named = ", ".join(str(line) for line in lines[:MOST_NAMED]) + (" ..." if len(lines) > MOST_NAMED else "")
        what = f"is on lines {named}: give the line" if lines else "is on no line"
        raise refused(program, f"block number N{found[2]} {what}")
    if not run or not 1 <= lines[0] <= program.line0 + program.lines:
        raise refused(
            program, f"{text!r} is no line of the program; write a line from 1 to {program.lines}, and a run from 1"
        )
    return Asked(lines[0], run)


def refused(program: Program, what: str) -> InputError:
    """Return the refusal of a beginning."""
    return InputError([Fault(file=program.name, what=f"--from-line: {what}", code="from-line")])


class Beginning:
    """Finds the row ahead of which a program is cut, while its blocks come by; counts runs, and blocks left out."""

    def __init__(self, wanted: Asked) -> None:
        self.wanted = wanted
        self.runs = 0
        self.blocks = 0
        self.found = False

    def row(self, extract: Extract) -> int | None:
        """Return the row of the next extract ahead of which the cut is, or ``None``."""
        at = np.flatnonzero(extract.line(np.arange(extract.rows)) == self.wanted.line)
        place = self.wanted.run - self.runs - 1
        self.runs += len(at)
        row = int(at[place]) if 0 <= place < len(at) else None
        if not self.found:
            self.blocks += int(np.count_nonzero(np.diff(extract.first[: None if row is None else row + 1])))
            self.found = row is not None
        return row

    def checked(self, program: Program, whole: Interpretation) -> Interpretation:
        """Return the meaning of a program whose blocks have all come by.

        Raises
        ------
        InputError
            The block never runs, or not so often, or nothing moves from it on.
        """
        line, run = self.wanted.line, self.wanted.run
        if not self.runs:
            raise refused(program, f"line {line} never runs")
        if whole.cut is None:
            often = "once" if self.runs == 1 else f"{self.runs:,} times"
            what = f"line {line} has no run {run:,}: it runs {often}"
            raise refused(program, what)
        if whole.cut.moves >= whole.moves.count:
            raise refused(program, f"nothing moves from line {line} on")
        return replace(whole, cut=replace(whole.cut, block=(line, run, self.runs)))
