"""A height alone at the head of a program: ahead of any motion word it can only be reached by rapid."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Flags
from hexpost.machine.wording import Wording
from hexpost.machine.words import NONE
from hexpost.moves.model import HOME
from hexpost.moves.window.modes import ABSOLUTE, Modes
from hexpost.moves.window.sheet import Sheet
from hexpost.moves.window.state import State

RAPID = 0
PLACES = "XYABC"
"""Letters that say where to work, or how the tool leans; with F, what a height must not come after."""
READING = (
    "motion: none stated at the head of the program; a height alone, ahead of any place and any F, is reached by rapid"
)


def heights(sheet: Sheet, modes: Modes, state: State, reading: Wording) -> tuple[Modes, tuple[str, ...]]:
    """Return the modes with heights at the head as rapids, and how they were read; keeps in ``state`` what comes after.

    Controls differ in whether they begin with G00 or G01. The line along Z is the same by both, and ahead of any F the
    one of them has no feed to go at; the program has not said yet where it works, so nothing is being cut there. Only
    absolute heights that are not below zero, or are in machine coordinates, are read so (common practice, no source).
    """
    if not state.at_head or sheet.rows == 0:
        return modes, ()
    ahead = _ahead(sheet) & np.bool_(state.preset == 0)
    state.at_head = bool(ahead[-1])
    if reading.first_motion is not None:
        return modes, ()
    z = sheet.letter("Z")
    machine: Flags = np.zeros(sheet.rows, dtype=np.bool_)
    machine[sheet.group("machine coordinates").row] = True
    unsaid = ahead[z.row] & (modes.motion[z.row] == NONE) & (modes.distance[z.row] == ABSOLUTE)
    rows = z.row[unsaid & ((z.value >= 0.0) | machine[z.row])]
    if not len(rows):
        return modes, ()
    motion = modes.motion.copy()
    motion[rows] = RAPID
    return replace(modes, motion=motion), (READING,)


def _ahead(sheet: Sheet) -> Flags:
    """Return which blocks (rows,) are ahead of the first that holds a motion word, a place, an F or a preset.

    The ways home and to where tools are changed are no places: what they are spelled out as counts for nothing.
    """
    first = np.zeros(sheet.rows, dtype=np.bool_)
    for letter in PLACES:
        first[sheet.letter(letter).row] = True
    led = sheet.group("led")
    away = np.zeros(sheet.rows, dtype=np.bool_)
    away[led.row[led.value == HOME]] = True
    away[sheet.group("machine coordinates").row] = True
    once = sheet.group("motion once").row
    first[once[away[once]]] = False
    for words in (sheet.letter("F"), sheet.group("motion")):
        first[words.row] = True
    out: Flags = np.cumsum(first) == 0
    return out
