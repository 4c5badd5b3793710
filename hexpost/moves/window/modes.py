"""Modal state block by block, all blocks at once: each column holds the G code in force in that block."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Codes
from hexpost.machine.words import ARC_MODE, NONE
from hexpost.moves.window.sheet import Sheet, fill
from hexpost.moves.window.state import State

AXES = "XYZABC"
PLANES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
"""First, second and normal axis of G17 G18 G19; counter-clockwise runs from the first to the second."""
INCH, METRIC = 20, 21
ABSOLUTE, INCREMENTAL = 90, 91
EXACT, CONTINUOUS = 61, 64
SAME_AS = {70: INCH, 71: METRIC, 60: EXACT, 62: CONTINUOUS}
"""Codes that mean what another one means."""


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """Columns (rows,) of G codes in force; ``NONE`` where no word of the group has been given.

    ``arc_mode``: 1 where arc centres are absolute, 0 where they are incremental, likewise.
    """

    motion: Codes
    plane: Codes
    units: Codes
    distance: Codes
    feed_mode: Codes
    path_control: Codes
    arc_mode: Codes
    last: dict[str, int]
    """What stays in force after the last block, by group; empty without blocks."""


def modal(sheet: Sheet, state: State) -> Modes:
    """Return the codes in force in each block of ``sheet``, ``state`` ahead of the first."""

    def column(group: str, before: int) -> Codes:
        words = sheet.group(group)
        codes = words.value.astype(np.uint8)
        for code, same in SAME_AS.items():
            codes[codes == code] = same
        out = fill(words.row, codes, sheet.rows, before)
        if len(out):
            last[group] = int(out[-1])
        once = sheet.group(f"{group} once")
        if once.count:
            out = out.copy()
            out[once.row] = once.value
        return out

    last: dict[str, int] = {}
    centres = sheet.letter(ARC_MODE)
    arc_mode = fill(centres.row, centres.value.astype(np.uint8), sheet.rows, state.arc_mode)
    if len(arc_mode):
        last["arc mode"] = int(arc_mode[-1])
    motion = column("motion", state.motion)
    if state.motion == NONE:
        motion = np.where(motion == NONE, np.uint8(state.first_motion), motion)
    return Modes(
        motion,
        column("plane", state.plane),
        column("units", state.units),
        column("distance", state.distance),
        column("feed mode", state.feed_mode),
        column("path control", state.path_control),
        arc_mode,
        last,
    )


def keep_modes(modes: Modes, state: State) -> None:
    """Carry the codes in force after the last block over into ``state``."""
    if modes.last:
        state.motion, state.plane = modes.last["motion"], modes.last["plane"]
        state.units, state.distance = modes.last["units"], modes.last["distance"]
        state.feed_mode, state.path_control = modes.last["feed mode"], modes.last["path control"]
        state.arc_mode = modes.last["arc mode"]


def keep_machine(sheet: Sheet, state: State) -> None:
    """Carry what the spindle does, how cycles return, and cutter radius compensation over into ``state``."""
    spindle, level, cutter = (sheet.group(name) for name in ("spindle", "cycle return", "cutter radius"))
    if spindle.count:
        state.spindle = int(spindle.value[-1])
    if level.count:
        state.cycle_return = int(level.value[-1])
    if cutter.count:
        state.cutter = int(cutter.value[-1])
