"""How the tool turns between the ends of moves: cut into pieces where A B C in proportion are not what is meant."""

import numpy as np

from hexpost.arrays import Ints
from hexpost.errors import Fault
from hexpost.machine.model import Machine
from hexpost.moves.motion.steps import Spread, Steps
from hexpost.moves.rotary.great_circle import great_circles
from hexpost.moves.rotary.refine import MOST_IN_ALL, Pieces, refined
from hexpost.moves.window.complaints import Teller
from hexpost.moves.window.sheet import Rows
from hexpost.program.model import Program

GREAT_CIRCLE = "great-circle"


class ToolTurning:
    """Gathers the moves that programmed axes bend, and cuts them, or those along great circles, once all are known."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._program: Program | None = None
        self._cuts: list[Pieces] = []

    def look(self, program: Program, cut: Pieces, rows: tuple[Ints, Rows], before: int) -> None:
        """Take in a window: ``rows`` are those of its moving blocks and of the moves among them that remain."""
        self._program = program
        if len(cut.move):
            moving, moved = rows
            self._cuts.append(Pieces(np.searchsorted(moved, moving[cut.move]) + before, cut.count, cut.end))

    def pieces(self, steps: Steps, spread: Spread) -> tuple[Steps, Spread, list[Fault]]:
        """Return moves in pieces, where the programmed ones went, and the faults of what cannot be turned."""
        if self._cuts:
            cut = Pieces.joined(self._cuts)
            return *refined(steps, spread, _placed(cut, spread)), []
        if not self._great_circle or self._program is None or not len(steps.line):
            return steps, spread, []
        cut, opposite, roundabout = great_circles(steps, self._machine.tilt_order)
        teller = Teller(self._program, steps.line)
        teller.say(
            opposite,
            "great-circle-opposite",
            "the tool turns to the opposite direction: no great circle is the shortest",
            "write a block with an axis between both",
        )
        teller.say(
            cut.move[cut.full : cut.full + 1],
            "too-many-moves",
            f"great circles up to here make more than {MOST_IN_ALL:,} short moves",
            "cut the program into several, each from rest to rest",
        )
        teller.say(
            roundabout,
            "great-circle-roundabout",
            "the angles of this block lie a turn away from where the great circle of the tool axis ends",
            "write A B C within half a turn of those before, and through blocks between where A B C lock",
        )
        faults = list(teller.faults.values())
        return (steps, spread, faults) if faults else (*refined(steps, spread, cut), [])

    def readings(self) -> tuple[str, ...]:
        """Return a sentence for each reading that the machine file asks for."""
        axes = self._machine.programmed_axes
        if axes is not None and axes.vector:
            named = " ".join(axes.vector)
            return (
                f"{named} of G00 and G01 blocks: the axis of the tool as a vector; at a feed it follows great circles",
                "I J K of arcs: their centre",
            )
        if axes is not None:
            words = ", ".join(f"{axis.word} {axis.carries}" for axis in axes.axes)
            where = "of the tip in the part" if axes.tip else "of the machine posted for"
            return (
                f"rotary words: those of [programmed_axes] ({words}), from the bed outwards; X Y Z are {where}",
                "F where only rotary words change: degrees per minute of the word that turns most",
            )
        return (f"orientation between blocks: {GREAT_CIRCLE} of the tool axis",) if self._great_circle else ()

    @property
    def _great_circle(self) -> bool:
        axes = self._machine.programmed_axes
        return bool(axes.vector) if axes is not None else self._machine.words.orientation == GREAT_CIRCLE


def _placed(cut: Pieces, spread: Spread) -> Pieces:
    """Return cuts at the moves that theirs have become; those that are gone are left out."""
    if not len(spread.first):
        return cut
    kept = spread.last[cut.move] >= spread.first[cut.move]
    return Pieces(spread.last[cut.move[kept]], cut.count[kept], cut.end[:, np.repeat(kept, cut.count)])
