"""Program to moves: what the words mean, one after the other, all blocks of a step at once."""

from dataclasses import replace

import numpy as np

from hexpost import shelf
from hexpost.errors import Fault
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.compensation.cutter import Cutter
from hexpost.moves.cut import RestartPoint
from hexpost.moves.expanding.draft import Speller
from hexpost.moves.expanding.expand import special_blocks, spell
from hexpost.moves.frames.book import FrameBook, start_frame
from hexpost.moves.frames.missing import Missing
from hexpost.moves.frames.runs import cut_runs, machine_blocks
from hexpost.moves.frames.unused import UnusedRows
from hexpost.moves.model import USUAL, Events, Interpretation, Remark, Switches
from hexpost.moves.motion import events
from hexpost.moves.motion.arcs import arcs
from hexpost.moves.motion.capped import capped
from hexpost.moves.motion.feeds import feeds
from hexpost.moves.motion.in_force import InForce
from hexpost.moves.motion.positions import positions, shift_remarks, tilted_readings
from hexpost.moves.motion.steps import StepStore, collect, steps
from hexpost.moves.open_points import UnitsAside, begun, first_motion, readings, switched, unpointed, unstated
from hexpost.moves.order.begin import Asked, Beginning
from hexpost.moves.order.route import Route
from hexpost.moves.reading.checks import read_sheet, unknown_words
from hexpost.moves.reading.dialect import Dialect
from hexpost.moves.reading.dwells import take_dwells
from hexpost.moves.reading.heights import heights
from hexpost.moves.reading.implied import placed
from hexpost.moves.reading.tolerances import tolerances
from hexpost.moves.rotary.foreign import check_rotary, meant, rotary_feeds
from hexpost.moves.rotary.turning import ToolTurning
from hexpost.moves.rotary.vector import ToolVector
from hexpost.moves.window.blocks import (
    Blocks,
    moving_blocks,
    refuse_idle_stops,
    refuse_missing_units,
    scale_of,
    turning_line,
)
from hexpost.moves.window.complaints import Complaints, Ledger
from hexpost.moves.window.extract import Extract, stretch
from hexpost.moves.window.modes import keep_machine, keep_modes, modal
from hexpost.moves.window.sheet import Movement, Sheet
from hexpost.moves.window.state import State
from hexpost.program.model import Program
from hexpost.units import SECONDS_PER_MINUTE

WINDOW = 32768
"""Lines that are interpreted at once: their work arrays stay in the cache."""


def interpret(
    program: Program,
    machine: Machine,
    tools: Tools,
    setup: Setup,
    faults: list[Fault],
    *,
    switches: Switches = USUAL,
    begin: Asked | None = None,
) -> Interpretation:
    """Return the meaning of a program: moves, events, readings, what was ignored; cut where it is to ``begin``.

    Every fault is appended to ``faults`` in the order of the text; with any of them the result is of no use. Faults
    that are in the list already and name lines of the program say which blocks could not be read. Words after the end
    of the program (M02, M30) are refused, for they would never run, unless they are a subprogram.

    Raises
    ------
    InputError
        The block with which it is to begin never runs, or not so often, or nothing moves from it on.
    """
    meaning = Interpreter(machine, tools, setup, faults, program.lines, switches=switches)
    meaning.reads(program)
    meaning.ledger.faults += unknown_words(program, faults, machine.dialect)
    route = Route(program, meaning.dialect, switches, meaning.ledger)
    meaning.uncalled(route.uncalled)
    beginning = None if begin is None else Beginning(begin)
    runs = np.zeros(1 + program.line0 + program.lines if route.calls else 0, np.int64)
    for extract in route.extracts(WINDOW):
        row = None if beginning is None else beginning.row(extract)
        if row is not None and beginning is not None:
            if row:
                meaning.add(extract.part(0, row))
            meaning.cut_here(beginning)
        meaning.add(extract if row is None else extract.part(row, extract.rows))
        if route.calls:
            runs += np.bincount(extract.line(np.arange(extract.rows)), minlength=len(runs))
        shelf.let_go()
    whole = replace(meaning.finish(), runs=runs)
    if switches.at_most and not faults:
        moves, written = capped(whole.moves, whole.written, switches.at_most, faults, program.name)
        whole = replace(whole, moves=moves, written=written)
    return whole if beginning is None or faults else beginning.checked(program, whole)


class Interpreter:
    """Gathers the meaning of a program, extract after extract; ``room`` moves need no second copy."""

    def __init__(
        self,
        machine: Machine,
        tools: Tools,
        setup: Setup,
        faults: list[Fault],
        room: int,
        *,
        switches: Switches = USUAL,
    ) -> None:
        self.machine, self.tools, self.switches = machine, tools, switches
        self.start = machine.machine_zero if setup.start is None else setup.start
        self.state = State(pose=self.start.copy(), frame=start_frame(machine), first_motion=first_motion(machine.words))
        self.book = FrameBook(machine, tools, setup)
        self.missing = Missing(tools, setup)
        self.ledger = Ledger(faults)
        self.dialect = Dialect(machine.dialect)
        self.store = StepStore(room)
        self.cutter = Cutter(machine, tools)
        self.turning = ToolTurning(machine)
        self.vector = ToolVector(machine)
        self.in_force = InForce()
        self.events: list[Events] = []
        self.c_line = 0
        self.unused = UnusedRows()
        self.units = UnitsAside(machine.asked_units)
        self.shifts: list[tuple[int, float]] = []
        self.readings: dict[str, None] = {}
        self.ignored: list[Remark] = []
        self.cut: RestartPoint | None = None
        self.said: StepStore | None = None  # the moves in the words of other axes, where somebody wants them

    def reads(self, program: Program) -> None:
        """Take in what only the whole program shows: whether it has any F."""
        first = self.machine.words.first_feed
        if first is not None and not program.places("F").size:
            self.state.first_feed = first * SECONDS_PER_MINUTE

    def add(self, part: Extract | Program) -> None:
        """Take in the next blocks."""
        extract = stretch(part, 0, part.lines) if isinstance(part, Program) else part
        complaints = Complaints(extract, self.ledger)
        extract = self.dialect.applied(extract, complaints)
        self.readings |= dict.fromkeys((*switched(extract, self.switches), *unpointed(extract, self.machine.words)))
        extract = placed(extract, self.machine.words, self.state.units, complaints)
        sheet = read_sheet(extract, self.state, self.switches, complaints)
        rare = special_blocks(sheet, self.state, self.machine)
        sheet = self.vector.turned(sheet, None if rare is None else rare[1], self.state, complaints)
        if rare is None:
            self._step(sheet, complaints)
            return
        speller = Speller(
            self.machine, self.book, self.state, complaints, lambda s, home: self._step(s, complaints.spelled(home))
        )
        spell(speller, sheet, *rare)
        if not self.events:  # all blocks so far were refused
            self._step(sheet.part(0, 0), complaints)
        self.readings |= speller.said

    def cut_here(self, beginning: Beginning) -> None:
        """Note what has come so far as what is left out of a program that is begun again here."""
        state, wanted = self.state, beginning.wanted
        self.cut = RestartPoint(
            block=(wanted.line, wanted.run, beginning.runs), left_out=(beginning.blocks, state.drilled),
            moves=self.store.count, events=sum(len(e.line) for e in self.events), tool=state.tool,
            frame=self.book.number(self.book.with_own_length(state.key).number),
        )  # fmt: skip

    def uncalled(self, found: tuple[tuple[int, int, int], ...]) -> None:
        """Note the subprograms (number, line, blocks) that nothing calls."""
        self.ignored += [
            Remark(line=line, text=f"subprogram O{number}: nothing calls it", count=count)
            for number, line, count in found
        ]

    def _step(self, sheet: Sheet, complaints: Complaints) -> None:
        """Take in the words of blocks that are spelled out."""
        modes = modal(sheet, self.state)
        sheet, rounded = tolerances(sheet, modes, self.machine, complaints)
        sheet, dwells = take_dwells(sheet, self.machine.words, complaints)
        modes, said = machine_blocks(sheet, modes, complaints)
        modes, risen = heights(sheet, modes, self.state, self.machine.words)
        check_rotary(sheet, self.book, complaints)
        movement = Movement(moving_blocks(sheet, modes, complaints))
        reading = self.machine.words
        blocks = Blocks(
            sheet, modes, movement, reading, complaints, scale_of(modes, reading), bool(self.vector.letters)
        )
        refuse_missing_units(blocks)
        self.units.look(blocks)
        refuse_idle_stops(blocks)
        self.unused.look(sheet, self.state, complaints)
        words = positions(blocks, cut_runs(sheet, self.state, complaints), self.book, self.state)
        bends = arcs(blocks, words)
        found = meant(words, bends, blocks, self.book)
        at, turns = found.at, found.turns
        self.shifts += [(int(complaints.line(movement.rows[[k]])[0]), size) for k, size in at.shifts]
        fed = rotary_feeds(feeds(blocks, at, turns, self.state), found, blocks)
        self.readings |= dict.fromkeys(begun(blocks, self.state))
        keep_modes(modes, self.state)
        keep_machine(sheet, self.state)
        self.missing.look(sheet, self.book, complaints)
        moved, rows = steps(blocks, at, turns, fed)
        if self.said is not None:
            self.said.add(steps(blocks, words, bends, fed)[0])
        self.events.append(events.events(blocks, dwells, rows, self.store.count))
        self.turning.look(complaints.program, found.cut, (movement.rows, rows), self.store.count)
        self.cutter.look(complaints.program, sheet, rows, self.store.count)
        self.in_force.look(blocks, fed, rows, self.store.count)
        self.c_line = self.c_line or (0 if self.vector.letters else turning_line(blocks))
        self.store.add(moved)
        self.readings |= dict.fromkeys((*rounded, *said, *risen, *unstated(blocks, self.machine.asked_units)))
        self.readings |= dict.fromkeys(readings(blocks, dwells, self.tools, fed, turns))

    def finish(self) -> Interpretation:
        """Return the whole meaning."""
        if not self.book.frames:
            self.book.number(self.state.key.number)
        frames, lacking = tuple(self.book.frames), self.missing.faults()
        whole, happening, written = self.store.whole(), Events.joined(self.events), self.in_force.whole()
        if not self.ledger.faults and not lacking:
            whole, spread, lacking = self.cutter.beside(whole, frames)
            whole, spread, more = self.turning.pieces(whole, spread)
            happening, written, lacking = spread.events(happening), spread.written(written), lacking + more
            if self.cut is not None and len(spread.first):
                first = np.append(spread.first, len(whole.line))
                self.cut = replace(self.cut, moves=int(first[min(self.cut.moves, len(first) - 1)]))
        self.ledger.finish(lacking)
        moves = collect(whole, events.rests(happening, len(whole.line)), frames)
        return Interpretation(
            moves=moves,
            events=happening,
            start=self.start,
            readings=(
                *self.readings,
                *tilted_readings(self.shifts, self.machine.words),
                *self.cutter.readings(),
                *self.turning.readings(),
                *self.dialect.readings(),
            ),
            ignored=(*self.dialect.ignored(), *self.ignored),
            written=written,
            radius_rows=self.cutter.rows(),
            c_line=self.c_line,
            cut=self.cut,
            remarks=(
                *self.unused.remarks(),
                *self.units.remarks(),
                *shift_remarks(self.shifts, self.machine.words),
                *self.state.remarks(),
            ),
        )
