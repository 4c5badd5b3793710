"""Blocks that stand for several, or need to know where the tool is: which they are, and taking them in, in order."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from hexpost.arrays import Flags, among
from hexpost.machine.model import Machine
from hexpost.machine.words import CYCLE_OFF
from hexpost.moves.expanding.cycles import MOST_IN_ALL, Holes
from hexpost.moves.expanding.draft import Row, Speller, rows_of
from hexpost.moves.expanding.returns import preset, reference_return, tool_change
from hexpost.moves.window.blocks import scale_of
from hexpost.moves.window.modes import INCREMENTAL, modal
from hexpost.moves.window.sheet import Sheet
from hexpost.moves.window.state import Cycle, State

FEW = 64
"""So many plain blocks between special ones are taken in with them."""
TOGETHER = 20_000
"""So many rows are spelled out before they are taken in."""


def special_blocks(sheet: Sheet, state: State, machine: Machine) -> tuple[Flags, Flags] | None:
    """Return the blocks (rows,) that must be spelled out, and where a cycle is in force; ``None``: there are none."""
    changing = () if machine.tool_change is None else ("tool change",)
    rare = [sheet.group(name) for name in ("cycle", "reference return", "preset", *changing)]
    if state.cycle is None and not any(words.count for words in rare):
        return None
    cycling = _cycling(sheet, state)
    special = cycling.copy()
    for words in rare[1:]:
        special[words.row] = True
    if special.any():
        return special, cycling
    if sheet.rows:  # its own word or a motion word has ended it
        state.cycle = None
    return None


def spell(speller: Speller, sheet: Sheet, special: Flags, cycling: Flags) -> None:
    """Take in a sheet of which the ``special`` blocks (rows,) must be spelled out; a few between them go along."""
    if _too_many(speller, sheet, cycling):
        return
    modes = modal(sheet, speller.state)
    scales = scale_of(modes, speller.machine.words)
    scale = np.ones(sheet.rows) if scales is None else scales
    stretches = [(begin, end, spelled or end - begin <= FEW) for begin, end, spelled in _stretches(special)]
    drafted = np.repeat([along for _, _, along in stretches], [end - begin for begin, end, _ in stretches])
    words = rows_of(sheet, drafted)
    holes = Holes(speller, modes, scale)
    for begin, end, along in stretches:
        holes.begin()
        if not along:
            speller.flush()
            speller.state.cycle = None
            speller.step(sheet.part(begin, end), np.arange(begin, end))
            continue
        for row in range(begin, end):
            if not cycling[row]:
                speller.state.cycle = None
            if special[row]:
                _block(speller, holes, row, words[row], scale=float(scale[row]))
            else:
                speller.draft.add(row, words[row])
            if speller.draft.rows > TOGETHER:
                speller.flush()
    speller.flush()


def _too_many(speller: Speller, sheet: Sheet, cycling: Flags) -> bool:
    """Return whether the repeat counts of a sheet alone make too many holes, and report the one that does."""
    counts = [sheet.letter(x).take(cycling[sheet.letter(x).row]) for x in "LK"]
    at = np.concatenate([words.at for words in counts])
    row = np.concatenate([words.row for words in counts])
    called = among(row, sheet.group("subprogram").row)
    order = np.argsort(row, kind="stable")
    many = speller.state.holes + np.cumsum(np.where(called, 0.0, np.concatenate([w.value for w in counts]))[order])
    over = np.flatnonzero(many > MOST_IN_ALL)
    if over.size:
        what = f"holes up to here make more than {MOST_IN_ALL:,}: is the repeat count right?"
        speller.refuse(int(at[order[over[0]]]), "too-many-moves", what)
        speller.state.cycle = Cycle(code=CYCLE_OFF + 1, broken=True) if cycling[-1] else None
    return bool(over.size)


def _block(speller: Speller, holes: Holes, row: int, words: Row, *, scale: float) -> None:
    """Spell out one block; ``scale``: millimetres per unit of it. The word that ends a cycle has done so by now."""
    if words.get("cycle", (0, 0))[1] == CYCLE_OFF:
        del words["cycle"]
    _refuse_two(speller, words)
    change = None if speller.machine.tool_change is None else words.pop("tool change", None)
    if "preset" in words:
        preset(speller, row, words, scale)
        holes.begin()
    elif "reference return" in words:
        incremental = bool(holes.modes.distance[row] == INCREMENTAL)
        reference_return(speller, row, words, scale, incremental=incremental)
        holes.begin()
    elif change is None or "cycle" in words or speller.state.cycle is not None:
        holes.block(row, words)
    else:
        speller.draft.add(row, words)
    if change is not None:
        tool_change(speller, row, change, scale)
        holes.begin()


def _refuse_two(speller: Speller, words: Row) -> None:
    """Report a fixed cycle and another word of the same block that moves the tool its own way, and take that out."""
    for other in ("preset", "reference return"):
        if "cycle" in words and other in words:
            at, _ = words.pop(other)
            what = f"a fixed cycle and {speller.complaints.written(at)} in one block"
            speller.refuse(at, "two-motions", what, "write them into blocks of their own")


def _cycling(sheet: Sheet, state: State) -> Flags:
    """Return in which blocks (rows,) a fixed cycle is in force; a motion word ends it as its own word does."""
    told = np.full(sheet.rows + 1, -1, dtype=np.int64)
    told[0] = state.cycle is not None
    told[1 + sheet.group("motion").row] = 0
    cycle = sheet.group("cycle")
    told[1 + cycle.row] = cycle.value != CYCLE_OFF
    last = np.maximum.accumulate(np.where(told >= 0, np.arange(len(told)), 0))
    out: Flags = told[last][1:] > 0
    return out


def _stretches(special: Flags) -> Iterator[tuple[int, int, bool]]:
    """Yield begin, end and kind of the stretches of equal flags."""
    edges = [0, *(1 + np.flatnonzero(special[1:] != special[:-1])).tolist(), len(special)]
    for begin, end in pairwise(edges):
        yield begin, end, bool(special[begin])
