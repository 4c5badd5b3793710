"""What spelling out needs at hand: the state so far, a draft of the rows to come, a place for faults."""

from collections.abc import Callable

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.moves.complaints import Complaints
from hexpost.moves.draft import Draft
from hexpost.moves.frames import FrameBook
from hexpost.moves.sheet import Sheet
from hexpost.moves.state import State

Step = Callable[[Sheet, Ints], None]
"""Takes in rows that are spelled out, with the block (rows,) that each came from."""


class Speller:
    """Gathers rows in ``draft`` and hands them to ``step``; ``said`` are the readings that were needed."""

    def __init__(self, machine: Machine, book: FrameBook, state: State, complaints: Complaints, step: Step) -> None:
        self.machine, self.book, self.state = machine, book, state
        self.complaints, self.step = complaints, step
        self.draft = Draft()
        self.said: dict[str, None] = {}

    def flush(self) -> None:
        """Take in what has been spelled out so far, so that the state is that after it."""
        if self.draft.rows:
            draft, self.draft = self.draft, Draft()
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

    def say(self, reading: str) -> None:
        """Note how an open point was read."""
        self.said[reading] = None

    def refuse(self, at: int, code: str, what: str, hint: str = "") -> None:
        """Report a word."""
        self.complaints.words(np.array([at]), code, what, hint)
