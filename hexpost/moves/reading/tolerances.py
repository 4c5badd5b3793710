"""P and Q beside G64: how far the program lets corners be rounded; read where the machine stays within it."""

import numpy as np

from hexpost.arrays import Flags
from hexpost.machine.model import Machine
from hexpost.moves.window.blocks import scale_of
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.modes import CONTINUOUS, Modes
from hexpost.moves.window.sheet import Sheet, Words
from hexpost.units import MM_PER_INCH

ASKED = "PQ"
"""Letters of the deviations: at corners, and where short lines are taken together (common practice, no source)."""
OWNED = ("dwell", "subprogram", "reference return", "machine coordinates", "preset")
"""Groups whose words take P, or with which it could mean something else."""
MOVING = "XYZABCIJKRL"
"""Letters beside which P may mean something else, as the turns of a helix."""
ROUNDING = 1e-9
TOO_SMALL = "tolerance-too-small"


def tolerances(sheet: Sheet, modes: Modes, machine: Machine, complaints: Complaints) -> tuple[Sheet, tuple[str, ...]]:
    """Return the sheet without P and Q that G64 takes, and how they were read.

    The machine rounds within its own tolerance, whatever the program asks for. Where that is no more than the program
    allows, the path is within both; where it is more, the words are reported. So no path depends on the number.
    """
    if machine.words.numbers != "decimal" or not any(sheet.letter(x).count for x in ASKED):
        return sheet, ()
    owned = _owned(sheet)
    if not owned.any():
        return sheet, ()
    allowed, letters = machine.tool_tip.corner_tolerance, dict(sheet.letters)
    scales = scale_of(modes, machine.words)
    for letter in ASKED:
        words = sheet.letter(letter)
        letters[letter] = words.take(~owned[words.row])
        mine = words.take(owned[words.row])
        asked = mine.value if scales is None else mine.value * scales[mine.row]
        _refuse(mine, asked < allowed * (1.0 - ROUNDING), allowed, complaints)
    said = f"P beside G64: corners are rounded within {allowed:g} mm (machine file), no more than the program allows"
    return Sheet(sheet.rows, letters, sheet.groups), (said,)


def _owned(sheet: Sheet) -> Flags:
    """Return the blocks (rows,) whose P and Q belong to G64: it stands there, and nothing else that could take them."""
    words = sheet.group("path control")
    out: Flags = np.zeros(sheet.rows, dtype=np.bool_)
    asked: Flags = np.zeros(sheet.rows, dtype=np.bool_)
    asked[sheet.letter("P").row] = True
    out[words.row[words.value == CONTINUOUS]] = True
    for other in (*(sheet.group(name) for name in OWNED), *(sheet.letter(x) for x in MOVING)):
        out[other.row] = False
    out &= asked
    return out


def _refuse(words: Words, less: Flags, allowed: float, complaints: Complaints) -> None:
    """Report deviations that are ``less`` (k,) than the machine needs."""
    inch = f" ({allowed / MM_PER_INCH:.2g} inch)"
    complaints.words(
        words.at[less],
        TOO_SMALL,
        lambda word: f"{word} lets corners be rounded by less than this machine does: {allowed:g} mm{inch}",
        "lower corner_tolerance_mm of the machine file if it can, or decide the row of G64 in the dialect table",
    )
