"""The blocks of a window as every step of the interpreter sees them."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.machine.wording import Wording
from hexpost.machine.words import NONE
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.modes import AXES, INCH, Modes
from hexpost.moves.window.sheet import Movement, Sheet, Words
from hexpost.units import MM_PER_INCH

NOWHERE = np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Words, modal state, which blocks move, how open points are read, and where faults go."""

    sheet: Sheet
    modes: Modes
    movement: Movement
    reading: Wording
    complaints: Complaints

    scale: Array | None
    """Millimetres (rows,) per unit of length of each block; ``None``: all are metric."""
    turns_absolute: bool = False
    """Whether A B C are places under G91, too: they stand for a tool vector."""

    def millimetres(self, words: Words) -> Array:
        """Return the values (k,) of words that are lengths, in mm."""
        return words.value if self.scale is None else words.value * self.scale[words.row]


def scale_of(modes: Modes, reading: Wording) -> Array | None:
    """Return the millimetres (rows,) per unit of length of each block, or ``None`` where all are metric."""
    inch = modes.units == INCH
    if reading.units == "inch":
        inch |= modes.units == NONE
    return np.where(inch, MM_PER_INCH, 1.0) if inch.any() else None


def moving_blocks(sheet: Sheet, modes: Modes, complaints: Complaints) -> Flags:
    """Return which blocks (rows,) move: they name an axis, or the centre of an arc; dwells have been taken out."""
    moving = np.zeros(sheet.rows, dtype=np.bool_)
    for letter in AXES:
        words = sheet.letter(letter)
        if words.count == sheet.rows:
            moving[:] = True
            break
        moving[words.row] = True
    complaints.once(
        np.flatnonzero(moving & (modes.motion == NONE)) if (modes.motion == NONE).any() else NOWHERE,
        "no-motion-word",
        "axis words, but no motion word is in force yet",
        "write G00 or G01 into this block, or set words.first_motion: controls differ in which they begin with",
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


def turning_line(blocks: Blocks) -> int:
    """Return the line of the first moving block whose C word is not 0, 0 for none."""
    words = blocks.sheet.letter("C")
    row = words.row[(words.value != 0.0) & blocks.movement.moving[words.row]]
    return int(blocks.complaints.line(row[:1])[0]) if row.size else 0


def refuse_idle_stops(blocks: Blocks) -> None:
    """Report exact stops of single blocks that do not move."""
    stops = blocks.sheet.group("exact stop once")
    blocks.complaints.words(
        stops.at[~blocks.movement.moving[stops.row]],
        "exact-stop-lost",
        lambda word: f"{word} acts in its own block alone, and this block does not move",
        "write it into the block that is to end at rest",
    )


def refuse_missing_units(blocks: Blocks) -> None:
    """Report the first block that gives a length while neither program nor machine file has said in which unit."""
    unknown = blocks.modes.units == NONE
    if blocks.reading.units is not None or not unknown.any():
        return
    lost = np.zeros(blocks.sheet.rows, dtype=np.bool_)
    for letter in ("X", "Y", "Z", "I", "J", "K", "R", "F"):
        lost[blocks.sheet.letter(letter).row] = True
    blocks.complaints.once(
        np.flatnonzero(lost & unknown),
        "units-missing",
        "a length, but no unit is in force yet",
        "write G21 or G20 at the head of the program, give --units, or set words.units in the machine file",
    )
