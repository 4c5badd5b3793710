"""Runs of blocks that share one frame: work offset, tool length, tool in the spindle, machine coordinates."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Codes, Ints, among
from hexpost.moves.frames.book import MACHINE
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.modes import ABSOLUTE, AXES, INCREMENTAL, Modes
from hexpost.moves.window.sheet import Sheet, Words, fill, first_rows, in_force
from hexpost.moves.window.state import Key, State

UNDER_G91 = "G53 under G91: its words are places in machine coordinates, absolute as under G90"


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Runs in order: first row, key of the frame, key of the work frame (they differ in machine coordinates)."""

    first: Ints
    key: Ints
    work: Ints


def cut_runs(sheet: Sheet, state: State, complaints: Complaints) -> Runs:
    """Return the runs of a window and carry offset, length, row and tools over into ``state``.

    Offsets and lengths act before the motion of their block, a tool change after it.
    """
    before = state.key.number
    offset, length, row = sheet.group("work offset"), sheet.group("tool length"), sheet.letter("H")
    machine, change = sheet.group("machine coordinates"), sheet.group("tool change")
    rare = first_rows(offset, length, row, machine, change)
    offsets = in_force(offset, rare, state.offset)
    lengths = in_force(length, rare, state.length)
    heights = in_force(row, rare, state.row)
    _refuse_missing_rows(length, rare, heights, complaints)
    mounted, tools = _mounted(sheet, rare, state, complaints)
    used = np.where((lengths == 49) | (heights < 0), 0, heights)
    shifted = Key(0, 43, preset=state.preset).number - Key(0, 43).number
    during, after = (shifted + _numbers(offsets, lengths, used, tool) for tool in (tools, mounted))
    apart = among(rare, machine.row)
    aside = _numbers(np.full_like(rare, MACHINE), np.full_like(rare, 49), np.zeros_like(rare), tools)
    first = np.concatenate(([0], np.stack((rare, rare + 1), axis=1).ravel()))
    key = np.concatenate(([before], np.stack((np.where(apart, aside, during), after), axis=1).ravel()))
    work = np.concatenate(([before], np.stack((during, after), axis=1).ravel()))
    if rare.size:
        state.offset, state.length = int(offsets[-1]), int(lengths[-1])
        state.row, state.tool = int(heights[-1]), int(mounted[-1])
    selected = sheet.letter("T")
    if selected.count:
        state.selected = int(selected.value[-1])
    return _joined(first, key, work)


def _numbers(offset: Ints, length: Ints, row: Ints, tool: Ints) -> Ints:
    """Return the numbers of the keys of columns (k,)."""
    zero = Key(0, 43, 0, 0).number
    step = [Key(1, 43, 0, 0).number, Key(0, 44, 0, 0).number, Key(0, 43, 1, 0).number]
    out: Ints = zero + offset * step[0] + np.searchsorted((43, 44, 49), length) * step[1] + row * step[2] + tool
    return out


def _refuse_missing_rows(length: Words, rare: Ints, heights: Ints, complaints: Complaints) -> None:
    """Report tool lengths that are turned on with no row given so far."""
    on = length.take(length.value != 49)
    missing = heights[np.searchsorted(rare, on.row)] < 0
    complaints.sequels(
        on.at[missing],
        "length-row-missing",
        lambda word: f"{word} has no H, the number of the tool",
        "write H into this block",
    )


def _mounted(sheet: Sheet, rare: Ints, state: State, complaints: Complaints) -> tuple[Ints, Ints]:
    """Return the tool in the spindle after, and during, each of the ``rare`` rows."""
    change, selected = sheet.group("tool change"), sheet.letter("T")
    told = np.searchsorted(selected.row, change.row, side="right")
    tool = np.concatenate(([state.selected], selected.value.astype(np.int64)))[told]
    complaints.sequels(
        change.at[tool < 0],
        "tool-not-selected",
        lambda word: f"{word} has no tool: no T word is in this block or before it",
        "write T into this block or before it",
    )
    after = fill(np.searchsorted(rare, change.row), np.maximum(tool, 0), len(rare), state.tool)
    return after, np.concatenate(([state.tool], after[:-1]))[: len(rare)]


def _joined(first: Ints, key: Ints, work: Ints) -> Runs:
    """Return the runs without empty ones and with equal neighbours made one."""
    last = np.concatenate((first[1:] != first[:-1], [True]))
    first, key, work = first[last], key[last], work[last]
    new = np.concatenate(([True], (key[1:] != key[:-1]) | (work[1:] != work[:-1])))
    return Runs(first[new], key[new], work[new])


def machine_blocks(sheet: Sheet, modes: Modes, complaints: Complaints) -> tuple[Modes, tuple[str, ...]]:
    """Return the modes with blocks in machine coordinates absolute, and how they were read; report what cannot be.

    A place in machine coordinates is absolute, whatever G90 and G91 say (common practice, no source): nobody needs
    machine coordinates for an increment.
    """
    words = sheet.group("machine coordinates")
    if words.count == 0:
        return modes, ()
    named: Codes = np.zeros(sheet.rows, dtype=np.uint8)
    for letter in AXES:
        named[sheet.letter(letter).row] = 1
    motion = modes.motion[words.row]
    distance = modes.distance.copy()
    distance[words.row] = ABSOLUTE
    said = bool((modes.distance[words.row] == INCREMENTAL).any())
    complaints.words(
        words.at[named[words.row] == 0],
        "machine-coordinates-alone",
        lambda word: f"{word} without an axis: it acts in its own block only, and this block does not move",
        "name the axes to move, or take the word out",
    )
    complaints.sequels(
        words.at[(motion == 2) | (motion == 3)],
        "machine-coordinates-arc",
        lambda word: f"{word} is in a block with an arc; a block in machine coordinates takes G00 or G01",
    )
    return replace(modes, distance=distance), (UNDER_G91,) if said else ()
