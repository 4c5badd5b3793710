"""Blocks spelled out row by row, each row with the block it came from; and what spelling out needs at hand."""

from collections.abc import Callable

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.model import Machine
from hexpost.machine.words import READ, WITH_MOTION
from hexpost.moves.frames.book import FrameBook
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.sheet import Sheet, Words
from hexpost.moves.window.state import State

Row = dict[str, tuple[int, float]]
"""The words of one block: address letter, or name of a modal group, to index of the word and its value."""

Step = Callable[[Sheet, Ints], None]
"""Takes in rows that are spelled out, with the block (rows,) that each came from."""
LATE = ("stop", "spindle", "tool change", "coolant", "override", "clamp", "range")
"""Groups of which some words act after the motion of their block."""


def parted(words: Row) -> tuple[Row, Row]:
    """Return the words of a block that act before or with its motion, and those that act after it."""
    late = {key: word for key, word in words.items() if key in LATE and word[1] not in WITH_MOTION}
    return {key: word for key, word in words.items() if key not in late}, late


def rows_of(sheet: Sheet, which: Flags) -> dict[int, Row]:
    """Return the words of the rows that ``which`` (rows,) selects, by row."""
    out: dict[int, Row] = {row: {} for row in np.flatnonzero(which).tolist()}
    for key, words in (*sheet.letters.items(), *sheet.groups.items()):
        here = words.take(which[words.row])
        for at, row, value in zip(here.at.tolist(), here.row.tolist(), here.value.tolist(), strict=True):
            out[row][key] = (at, value)
    return out


class RowDraft:
    """Rows in the order in which they were added."""

    def __init__(self) -> None:
        self.home: list[int] = []
        self._columns: dict[str, list[tuple[int, int, float]]] = {}

    @property
    def rows(self) -> int:
        """Return the number of rows."""
        return len(self.home)

    def add(self, home: int, words: Row) -> None:
        """Add a row that block ``home`` asked for."""
        row = len(self.home)
        self.home.append(home)
        for key, (at, value) in words.items():
            self._columns.setdefault(key, []).append((at, row, value))

    def sheet(self) -> tuple[Sheet, Ints]:
        """Return the rows as a sheet, and the block (rows,) that each came from."""
        letters: dict[str, Words] = {}
        groups: dict[str, Words] = {}
        for key, column in self._columns.items():
            at, row, value = zip(*column, strict=True)
            words = Words(np.array(at, np.int64), np.array(row, np.int32), np.array(value, np.float64))
            (letters if key in READ else groups)[key] = words
        return Sheet(len(self.home), letters, groups), np.array(self.home, dtype=np.int64)


class Speller:
    """Gathers rows in ``draft`` and hands them to ``step``; ``said`` are the readings that were needed."""

    def __init__(self, machine: Machine, book: FrameBook, state: State, complaints: Complaints, step: Step) -> None:
        self.machine, self.book, self.state = machine, book, state
        self.complaints, self.step = complaints, step
        self.draft = RowDraft()
        self.said: dict[str, None] = {}

    def flush(self) -> None:
        """Take in what has been spelled out so far, so that the state is that after it."""
        if self.draft.rows:
            draft, self.draft = self.draft, RowDraft()
            self.step(*draft.sheet())

    def here(self) -> Array:
        """Return where the tool is, with the modal A B C, in the work frame in force (6,)."""
        self.flush()
        state = self.state
        pose = self.book.seen(state.pose, state.frame, self.book.frame(state.key.number), state.rotary)
        chain, frame = self.book.chain, self.book.frame(state.key.number)
        return (
            np.concatenate((pose[:3], state.rotary)) if chain is None else chain.words(pose, state.rotary, frame.length)
        )

    def turned(self) -> bool:
        """Return whether words of other axes have turned the tool: nobody knows which of them go home with all."""
        if self.book.chain is None:
            return False
        self.flush()
        return bool(np.any(self.state.rotary != 0.0))

    def say(self, reading: str) -> None:
        """Note how an open point was read."""
        self.said[reading] = None

    def refuse(self, at: int, code: str, what: str, hint: str = "") -> None:
        """Report a word."""
        self.complaints.words(np.array([at]), code, what, hint)
