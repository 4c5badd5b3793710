"""Program to moves: what the words mean, one after the other, all blocks of a step at once."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from hexpost.errors import Fault
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves import collect, events
from hexpost.moves.arcs import arcs
from hexpost.moves.blocks import Blocks, moving_blocks, refuse_missing_units, scale_of
from hexpost.moves.checks import read_sheet
from hexpost.moves.complaints import Complaints, Ledger
from hexpost.moves.dwells import take_dwells
from hexpost.moves.feeds import feeds
from hexpost.moves.frames import FrameBook, start_frame
from hexpost.moves.missing import Missing
from hexpost.moves.model import Events, Interpretation
from hexpost.moves.modes import keep_modes, modal
from hexpost.moves.positions import positions
from hexpost.moves.readings import readings
from hexpost.moves.runs import check_machine_blocks, cut_runs
from hexpost.moves.sheet import Movement
from hexpost.moves.state import State
from hexpost.program.model import Program

WINDOW = 32768
"""Lines that are interpreted at once: their work arrays stay in the cache."""


def interpret(program: Program, machine: Machine, tools: Tools, setup: Setup, faults: list[Fault]) -> Interpretation:
    """Return the meaning of a program: moves, events, readings.

    Every fault is appended to ``faults`` in the order of the text; with any of them the result is of no use. Faults
    that are in the list already and name lines of the program say which blocks could not be read. Blocks that begin
    with a skip sign are run. Words after the end of the program (M02, M30) are refused, for they would never run.
    """
    meaning = Interpreter(machine, tools, setup, faults, program.lines)
    for window in _windows(program):
        meaning.add(window)
    return meaning.finish()


class Interpreter:
    """Gathers the meaning of a program, window after window of whole blocks; ``room`` moves need no second copy."""

    def __init__(self, machine: Machine, tools: Tools, setup: Setup, faults: list[Fault], room: int) -> None:
        self.machine, self.tools = machine, tools
        self.start = machine.machine_zero if setup.start is None else setup.start
        self.state = State(pose=self.start.copy(), frame=start_frame(machine))
        self.book = FrameBook(machine, tools, setup)
        self.missing = Missing(tools, setup)
        self.ledger = Ledger(faults)
        self.store = collect.Store(room)
        self.events: list[Events] = []
        self.readings: dict[str, None] = {}

    def add(self, program: Program) -> None:
        """Take in the next window."""
        complaints = Complaints(program, self.ledger)
        sheet = read_sheet(program, self.state, complaints)
        modes = modal(sheet, self.state)
        sheet, dwells = take_dwells(sheet, self.machine.words, complaints)
        check_machine_blocks(sheet, modes, complaints)
        movement = Movement(moving_blocks(sheet, modes, complaints))
        reading = self.machine.words
        blocks = Blocks(sheet, modes, movement, reading, complaints, scale_of(modes, reading))
        refuse_missing_units(blocks)
        at = positions(blocks, cut_runs(sheet, self.state, complaints), self.book, self.state)
        turns = arcs(blocks, at)
        fed = feeds(blocks, at, turns, self.state)
        keep_modes(modes, self.state)
        self.missing.look(sheet, self.book, complaints)
        steps = collect.steps(blocks, at, turns, fed)
        self.events.append(events.events(blocks, dwells, steps.line, self.store.count))
        self.store.add(steps)
        self.readings |= dict.fromkeys(readings(blocks, dwells, self.tools, fed))

    def finish(self) -> Interpretation:
        """Return the whole meaning."""
        if not self.book.frames:
            self.book.number(self.state.key.number)
        self.ledger.finish(self.missing.faults())
        happening = events.joined(self.events)
        resting = events.rests(happening, self.store.count)
        moves = collect.collect(self.store.whole(), resting, tuple(self.book.frames))
        return Interpretation(
            moves=moves, events=happening, start=self.start, readings=tuple(self.readings), ignored=()
        )


def _windows(program: Program) -> Iterator[Program]:
    """Yield a program in windows of ``WINDOW`` lines, at least one; columns are views of the whole."""
    for begin in range(0, max(program.lines, 1), WINDOW):
        end = min(begin + WINDOW, program.lines)
        first, last = int(program.first[begin]), int(program.first[end])
        words = slice(first, last)
        skipped = np.searchsorted(program.skip, [begin + program.line0, end + program.line0], side="right")
        yield replace(
            program,
            letter=program.letter[words],
            value=program.value[words],
            pointed=program.pointed[words],
            line=program.line[words],
            column=program.column[words],
            first=program.first[begin : end + 1] - first,
            skip=program.skip[slice(*skipped.tolist())],
            line_start=program.line_start[begin : end + 1],
            line0=program.line0 + begin,
        )
