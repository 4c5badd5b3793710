"""Modal state block by block, all blocks at once: each column holds the G code in force in that block."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Codes
from hexpost.moves.sheet import Sheet, fill
from hexpost.moves.state import State

AXES = "XYZABC"
INCH, METRIC = 20, 21
ABSOLUTE, INCREMENTAL = 90, 91
EXACT, CONTINUOUS = 61, 64
SAME_AS = {70: INCH, 71: METRIC, 60: EXACT, 62: CONTINUOUS}
"""Codes that mean what another one means."""


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """Columns (rows,) of G codes in force; ``NONE`` where no word of the group has been given."""

    motion: Codes
    plane: Codes
    units: Codes
    distance: Codes
    feed_mode: Codes
    path_control: Codes


def modal(sheet: Sheet, state: State) -> Modes:
    """Return the codes in force in each block of ``sheet``, ``state`` ahead of the first."""

    def column(group: str, before: int) -> Codes:
        words = sheet.group(group)
        codes = words.value.astype(np.uint8)
        for code, same in SAME_AS.items():
            codes[codes == code] = same
        return fill(words.row, codes, sheet.rows, before)

    return Modes(
        column("motion", state.motion),
        column("plane", state.plane),
        column("units", state.units),
        column("distance", state.distance),
        column("feed mode", state.feed_mode),
        column("path control", state.path_control),
    )


def keep_modes(modes: Modes, state: State) -> None:
    """Carry the codes in force after the last block over into ``state``."""
    if len(modes.motion):
        state.motion = int(modes.motion[-1])
        state.plane = int(modes.plane[-1])
        state.units = int(modes.units[-1])
        state.distance = int(modes.distance[-1])
        state.feed_mode = int(modes.feed_mode[-1])
        state.path_control = int(modes.path_control[-1])
