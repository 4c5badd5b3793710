"""Cutter radius compensation of a whole program, as the interpreter calls it."""

from hexpost.errors import Fault
from hexpost.machine.model import Machine, Tools
from hexpost.moves.compensation.compensate import UNCHANGED, compensate
from hexpost.moves.compensation.switches import CutterWords
from hexpost.moves.model import Frame
from hexpost.moves.motion.steps import Spread, Steps
from hexpost.moves.window.complaints import Teller
from hexpost.moves.window.sheet import Rows, Sheet
from hexpost.program.model import Program


class Cutter:
    """Watches the words of compensation, and puts the tool beside the contour once all moves are known."""

    def __init__(self, machine: Machine, tools: Tools) -> None:
        self._job = machine, tools
        self._words = CutterWords()
        self._program: Program | None = None

    def look(self, program: Program, sheet: Sheet, moved: Rows, before: int) -> None:
        """Take in a window: ``moved`` (n,) are the rows of its moves, ``before`` the moves of earlier windows."""
        self._program = program
        self._words.look(sheet, moved, before)

    def beside(self, steps: Steps, frames: tuple[Frame, ...]) -> tuple[Steps, Spread, list[Fault]]:
        """Return moves with the tool beside its contours, where the programmed ones went, and faults."""
        if self._program is None or not self._words.used or not len(steps.line):
            return steps, UNCHANGED, []
        teller = Teller(self._program, steps.line)
        moves, spread = compensate(steps, self._words, frames, self._job, teller)
        faults = list(teller.faults.values())
        return (steps, UNCHANGED, faults) if faults else (moves, spread, [])

    def rows(self) -> tuple[int, ...]:
        """Return the rows D that the cutter's radius is taken from, rising."""
        return self._words.rows

    def readings(self) -> tuple[str, ...]:
        """Return a sentence for each reading that this program needed."""
        if not self._words.used:
            return ()
        said = [
            "G41 G42: F is the speed of the tool centre; outside corners are rolled around",
            "G41 G42: the radius is half the diameter of row D of the tools file"
            + ("" if self._words.rows_given else "; no D was given: that of the tool in the spindle"),
        ]
        if not self._job[1].given:
            said.append("no tools file: every cutter has radius 0, G41 and G42 move nothing aside")
        return tuple(said)
