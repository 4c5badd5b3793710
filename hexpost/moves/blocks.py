"""The blocks of a window as every step of the interpreter sees them."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.machine.model import Words as Reading
from hexpost.moves.complaints import Complaints
from hexpost.moves.modes import AXES, INCH, Modes
from hexpost.moves.sheet import Movement, Sheet, Words
from hexpost.moves.state import NONE
from hexpost.units import MM_PER_INCH


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Words, modal state, which blocks move, how open points are read, and where faults go."""

    sheet: Sheet
    modes: Modes
    movement: Movement
    reading: Reading
    complaints: Complaints

    @property
    def moves(self) -> int:
        """Return the number of moving blocks."""
        return self.movement.count

    def millimetres(self, words: Words) -> Array:
        """Return the values (k,) of words that are lengths, in mm."""
        inch = self.modes.units == INCH
        if self.reading.units == "inch":
            inch |= self.modes.units == NONE
        return words.value * np.where(inch[words.row], MM_PER_INCH, 1.0) if inch.any() else words.value


def moving_blocks(sheet: Sheet, modes: Modes, complaints: Complaints) -> Flags:
    """Return which blocks (rows,) move: they name an axis, or the centre of an arc; dwells have been taken out."""
    moving = np.zeros(sheet.rows, dtype=np.bool_)
    for letter in AXES:
        moving[sheet.letter(letter).row] = True
    lost = np.flatnonzero(moving & (modes.motion == NONE) & ~complaints.spoilt[: sheet.rows])
    if lost.size:
        complaints.blocks(
            lost[:1],
            "no-motion-word",
            "axis words, and no motion word is in force yet: expected G00, G01, G02 or G03",
            "write G00 or G01 into this block",
        )
    arc = (modes.motion == 2) | (modes.motion == 3)
    for letter in ("I", "J", "K", "R"):
        words = sheet.letter(letter)
        stray = ~arc[words.row]
        if stray.any():
            complaints.sequels(
                words.at[stray],
                "arc-word-without-arc",
                lambda word: f"{word} belongs to an arc, and neither G02 nor G03 is in force",
                "write G02 or G03 into the block of the arc",
            )
        moving[words.row[~stray]] = True
    return moving


def refuse_missing_units(blocks: Blocks) -> None:
    """Report the first block that gives a length while neither program nor machine file has said in which unit."""
    if blocks.reading.units is not None or not blocks.moves:
        return
    lost = np.zeros(blocks.sheet.rows, dtype=np.bool_)
    for letter in ("X", "Y", "Z", "I", "J", "K", "R", "F"):
        lost[blocks.sheet.letter(letter).row] = True
    lost &= (blocks.modes.units == NONE) & ~blocks.complaints.spoilt[: blocks.sheet.rows]
    rows = np.flatnonzero(lost)
    if rows.size:
        blocks.complaints.blocks(
            rows[:1],
            "units-missing",
            "a length, and the program has not said its unit: expected G21 (millimetre) or G20 (inch) before it",
            'write G21 or G20 at the head of the program, or set words.units = "mm" in the machine file',
        )
