"""Program to moves: what the words mean, one after the other, all blocks of a step at once."""

from hexpost.errors import Fault
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.arcs import arcs
from hexpost.moves.blocks import Blocks, moving_blocks, refuse_missing_units
from hexpost.moves.checks import read_sheet
from hexpost.moves.collect import collect, steps
from hexpost.moves.complaints import Complaints
from hexpost.moves.dwells import take_dwells
from hexpost.moves.events import events
from hexpost.moves.feeds import feeds
from hexpost.moves.frames import FrameBook, start_frame
from hexpost.moves.missing import refuse_missing
from hexpost.moves.model import Interpretation
from hexpost.moves.modes import keep_modes, modal
from hexpost.moves.positions import positions
from hexpost.moves.readings import readings
from hexpost.moves.runs import check_machine_blocks, cut_runs
from hexpost.moves.sheet import Movement
from hexpost.moves.state import State
from hexpost.program.model import Program


def interpret(program: Program, machine: Machine, tools: Tools, setup: Setup, faults: list[Fault]) -> Interpretation:
    """Return the meaning of a program: moves, events, readings.

    Every fault is appended to ``faults`` in the order of the text; with any of them the result is of no use. Blocks that begin with a skip
    sign are run. Words after the end of the program (M02, M30) are refused, for they would never run.
    """
    known = len(faults)
    begin = machine.machine_zero if setup.start is None else setup.start
    state = State(pose=begin.copy(), frame=start_frame(machine))
    book = FrameBook(machine, tools, setup)
    complaints = Complaints(program, faults)
    sheet = read_sheet(program, complaints)
    modes = modal(sheet, state)
    sheet, dwells = take_dwells(sheet, machine.words, complaints)
    check_machine_blocks(sheet, modes, complaints)
    movement = Movement(moving_blocks(sheet, modes, complaints))
    blocks = Blocks(sheet, modes, movement, machine.words, complaints)
    refuse_missing_units(blocks)
    at = positions(blocks, cut_runs(sheet, state, complaints), book, state)
    turns = arcs(blocks, at)
    fed = feeds(blocks, at, turns, state)
    keep_modes(modes, state)
    refuse_missing(sheet, tools, setup, book, complaints)
    found = steps(blocks, at, turns, fed)
    happening = events(sheet, dwells, found.rows, program.line0)
    moves = collect(found, happening, tuple(book.frames), program.line0)
    faults[known:] = sorted(faults[known:], key=lambda fault: (fault.line or 0, fault.column or 0))
    said = readings(program, blocks, dwells, tools, moves)
    return Interpretation(moves=moves, events=happening, start=begin, readings=said, ignored=())
