"""The axis of the tool given as a vector: three words of G00 and G01 blocks, turned into A B C of the work frame."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among, distinct
from hexpost.kinematics.frames import angles_of
from hexpost.machine.model import Machine
from hexpost.moves.frames.chain import tilted
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.modes import modal
from hexpost.moves.window.sheet import Sheet, Words
from hexpost.moves.window.state import State
from hexpost.units import DEG_PER_RAD

LONG = 0.01
"""The length of a vector may differ from 1 by so much: rounding of its words."""
DOWN = -0.999
"""A tool that points further down than this has no direction in which it is tilted."""
ASIDE = ("reference return", "preset", "machine coordinates", "dwell")
"""Groups whose blocks take no vector."""
ANGLES = "ABC"


class ToolVector:
    """Reads tool vectors by the letters that the machine file names (``""``: there are none)."""

    def __init__(self, machine: Machine) -> None:
        axes = machine.programmed_axes
        self.letters = "" if axes is None else axes.vector
        self._order = machine.tilt_order

    def turned(self, sheet: Sheet, cycling: Flags | None, state: State, complaints: Complaints) -> Sheet:
        """Return the sheet with vectors as A B C; ``cycling`` (rows,): where a cycle is in force.

        The tool is tilted to its axis without a turn about it. I J K of arcs are their centres.
        """
        if not self.letters:
            return sheet
        letters = dict(sheet.letters)
        for x in set(ANGLES) - set(self.letters):
            self._refuse(letters, x, np.ones(sheet.rows, dtype=np.bool_), complaints, WITH_ANGLES)
        motion = modal(sheet, state).motion
        straight = (motion <= 1) & ~_rows(sheet, *ASIDE) & (True if cycling is None else ~cycling)
        arc = (motion == 2) | (motion == 3)
        for x in self.letters:
            centre = arc & ~_rows(sheet, *ASIDE) & (x in "IJK")
            self._refuse(letters, x, ~straight & ~centre, complaints, OUT_OF_PLACE)
        found = [w.take(straight[w.row]) for w in (letters.get(x, sheet.letter(x)) for x in self.letters)]
        named = distinct(np.concatenate([w.row for w in found]))
        whole = np.array([among(named, w.row) for w in found]).all(axis=0)
        first = np.array([min(int(w.at[w.row == row][0]) for w in found if (w.row == row).any()) for row in named], int)
        complaints.words(first[~whole], "tool-vector-half", "a part of the tool vector is missing", HALF)
        rows, at = named[whole], first[whole]
        vector = np.array([w.value[among(w.row, rows)] for w in found]).reshape(3, -1)
        angles = self._angles(vector, at, state, complaints)
        for x in self.letters:
            words = letters.get(x, sheet.letter(x))
            letters[x] = words.take(~straight[words.row])
        for x, degrees in zip(ANGLES, angles, strict=True):
            letters[x] = Words(at, rows.astype(np.int32), degrees)
        return replace(sheet, letters={x: words for x, words in letters.items() if words.count})

    def _angles(self, vector: Array, at: Ints, state: State, complaints: Complaints) -> Array:
        """Return A B C (3, k) in degrees of tool vectors (3, k); those that cannot be are reported."""
        size = np.linalg.norm(vector, axis=0)
        odd = np.abs(size - 1.0) > LONG
        for k in np.flatnonzero(odd).tolist():
            complaints.words(at[[k]], "tool-vector-length", f"the tool vector has the length {size[k]:.4g}", LENGTH)
        axis = vector / np.where(odd, 1.0, size)
        down = ~odd & (axis[2] < DOWN)
        complaints.words(at[down], "tool-vector-down", "the tool vector points straight down", DOWNWARDS)
        axis[:, odd | down] = np.array([[0.0], [0.0], [1.0]])
        turned = np.concatenate((state.rotary[:, None], angles_of(tilted(axis), self._order)), axis=1)
        out: Array = np.unwrap(turned, axis=1)[:, 1:] * DEG_PER_RAD
        return out

    def _refuse(
        self, letters: dict[str, Words], letter: str, where: Flags, complaints: Complaints, why: tuple[str, str, str]
    ) -> None:
        """Report the words of a letter in the rows (rows,) ``where`` they cannot be, and take them out."""
        words = letters.get(letter)
        if words is None:
            return
        wrong = where[words.row]
        code, what, hint = why
        complaints.words(words.at[wrong], code, lambda word: f"{word} {what}", hint)
        letters[letter] = words.take(~wrong)


WITH_ANGLES = (
    "tool-vector-with-angles",
    "is an angle, and the machine file says that the tool's axis is a vector",
    "write the axis as a vector, or take tool_vector out of [programmed_axes]",
)
OUT_OF_PLACE = (
    "tool-vector-out-of-place",
    "is part of a tool vector, and this block takes none",
    "write the vector into a block of G00 or G01",
)
HALF = "write its three words, those that are 0 as well"
LENGTH = "a tool vector has the length 1: check its words, or tool_vector of the machine file"
DOWNWARDS = "it points from the tip to the spindle: check its signs"


def _rows(sheet: Sheet, *groups: str) -> Flags:
    """Return in which rows (rows,) a word of one of the groups stands."""
    out = np.zeros(sheet.rows, dtype=np.bool_)
    for group in groups:
        out[sheet.group(group).row] = True
    return out
