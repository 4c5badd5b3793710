"""Where a program turns cutter radius compensation on and off: the G40 G41 G42, D and plane words, as columns."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Codes, Columns, Flags, Ints, distinct
from hexpost.moves.window.sheet import Rows, Sheet, fill, first_rows, in_force

OFF, LEFT, RIGHT = 40, 41, 42
"""Codes of the group ``"cutter radius"``."""
NO_ROW = -1
"""Stands for D where a program has not given one: the tool in the spindle has its own."""


@dataclass(frozen=True, slots=True, eq=False)
class CutterState(Columns):
    """Blocks with a word that matters (k,), in order: first move in or after the block, code, row D and plane."""

    move: Ints
    code: Codes
    row: Ints
    plane: Codes


class CutterWords:
    """Gathers the switches of a program, window after window."""

    def __init__(self) -> None:
        self._code, self._row, self._plane = OFF, NO_ROW, 17
        self._parts: list[CutterState] = []

    def look(self, sheet: Sheet, moved: Rows, before: int) -> None:
        """Take in a window: ``moved`` (n,) are the rows of its moves, ``before`` the moves of earlier windows."""
        code, row, plane = sheet.group("cutter radius"), sheet.letter("D"), sheet.group("plane")
        rare = first_rows(code, row, plane)
        if not rare.size:
            return
        found = CutterState(
            np.searchsorted(moved, rare) + before,
            in_force(code, rare, self._code).astype(np.uint8),
            in_force(row, rare, self._row),
            in_force(plane, rare, self._plane).astype(np.uint8),
        )
        self._code, self._row, self._plane = int(found.code[-1]), int(found.row[-1]), int(found.plane[-1])
        self._parts.append(found)

    @property
    def used(self) -> bool:
        """Return whether any block turns compensation on."""
        return any(bool((part.code != OFF).any()) for part in self._parts)

    @property
    def rows_given(self) -> bool:
        """Return whether compensation is on anywhere only with a row D given."""
        return all(bool((part.row[part.code != OFF] != NO_ROW).all()) for part in self._parts)

    @property
    def rows(self) -> tuple[int, ...]:
        """Return the rows D in force where compensation is on, rising."""
        on = [part.row[(part.code != OFF) & (part.row > 0)] for part in self._parts]
        return tuple(distinct(np.concatenate(on)).tolist()) if on else ()

    def in_force(self, count: int) -> CutterState:
        """Return the state of each of ``count`` moves, shape (count,); ``move`` counts them."""
        whole = CutterState.joined(self._parts)
        last: Flags = np.append(whole.move[1:] != whole.move[:-1], True) & (whole.move < count)
        place = whole.move[last]
        return CutterState(
            np.arange(count),
            fill(place, whole.code[last], count, OFF),
            fill(place, whole.row[last], count, NO_ROW),
            fill(place, whole.plane[last], count, 17),
        )
