"""A program interpreted once more, block by block: what is in force, and where the tool is, after each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Lines, among, distinct
from hexpost.kinematics.frames import rotation
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.words import LABELS, NONE, ONE_BLOCK, WORDS, code_word, group_of, groups, short
from hexpost.moves.frames.book import FrameBook
from hexpost.moves.interpret import WINDOW, Interpreter
from hexpost.moves.model import USUAL, Events, Frame, Switches, Written
from hexpost.moves.motion.feeds import INVERSE
from hexpost.moves.motion.in_force import InForce
from hexpost.moves.motion.steps import Spread, Steps, StepStore
from hexpost.moves.order.route import Route
from hexpost.moves.reading.dialect import Dialect
from hexpost.moves.reading.implied import placed
from hexpost.moves.rotary.foreign import MACHINE_WORD
from hexpost.moves.window.complaints import Complaints, Ledger
from hexpost.moves.window.extract import Extract
from hexpost.moves.window.modes import INCH, METRIC
from hexpost.moves.window.sheet import fill
from hexpost.moves.window.state import State
from hexpost.program.model import Program

PLAIN = (*"XYZABCIJKRF", *LABELS)
"""Letters that change nothing but the place and the feed."""
MOTIONS = (0, 1, 2, 3)
"""G codes that change nothing but how the next blocks move."""
SHOWN = ("motion", "plane", "units", "distance", "feed mode", "path control", "work offset", "tool length")
"""Groups of G words for which the interpreter's own state speaks, not the words."""
OTHERS = tuple(group for group in groups("G") if group not in SHOWN + ONE_BLOCK)
"""All other modal groups of G words."""
IN_STATE = {w.name for w in WORDS if w.letter == "M" and w.group in ("spindle", "coolant")}
"""M words whose effect is part of the state."""
TOGETHER = 4096
"""Plain blocks that are traced at once."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Blocks that run one after the other, in which only place, motion word and feed change.

    ``lines`` (n,): their lines. ``blocks`` (n): their block numbers (``"N10"``). ``once`` (n): what words mean that act
    in one block alone. ``state``: what is in force after the last of them, in the words of the trade. ``frame``: the
    work frame then in force, ``frames`` those that ``steps`` count. ``motion`` (n) in words. ``feed`` (n,): the modal F
    as written, nan for none; ``feed_scale`` (n,): millimetres of its unit. ``place`` (6, n): the tip after each block
    in ``frame``. ``steps``: the moves of these blocks, as programmed (compensation of the cutter radius moves them
    aside), ``first`` of them are in blocks before. ``written``: how their feeds are written. ``said``: the same moves
    in the words of ``axes``, letters of [programmed_axes] (``None``: there are none; ``vector``: they are no angles).
    ``events``: what happens in them.
    ``turned`` [rad]: so much the first move turns the platform, where the work offset is a new one; ``turning``: so
    much the next one will, whatever it says, for A B C are places in the offset now in force.
    """

    lines: Lines
    blocks: list[str]
    once: list[list[str]]
    state: dict[str, object]
    frame: Frame
    frames: Sequence[Frame]
    motion: list[str | None]
    feed: Array
    feed_scale: Array
    place: Array
    steps: Steps
    first: int
    written: Written
    axes: str
    vector: bool
    said: Steps | None
    events: Events
    turned: float
    turning: float


def trace(
    program: Program,
    machine: Machine,
    tools: Tools,
    setup: Setup,
    lines: tuple[int, int],
    *,
    switches: Switches = USUAL,
) -> Iterator[Trace]:
    """Yield what lines ``lines`` (first, last; from 1) of a program without fault mean, a few blocks at a time.

    Blocks come in the order in which they run, each time they run. The whole program ahead of them is interpreted, so
    that all is in force that would be. Memory does not grow with the number of blocks.
    """
    interpreter = Interpreter(machine, tools, setup, [], 1, switches=switches)
    interpreter.reads(program)
    dialect = Dialect(machine.dialect)
    said: dict[str, float] = {}
    moves = 0
    for extract in Route(program, dialect, switches, Ledger([])).extracts(WINDOW):
        read = dialect.applied(extract, Complaints(extract, Ledger([])))
        number = extract.line(np.arange(extract.rows))
        if extract.lines is None and extract.rows and number[0] > lines[1]:
            return
        shown = (number >= lines[0]) & (number <= lines[1])
        for begin, end in _cuts(read, shown):
            before, unread = replace(interpreter.state), Complaints(extract, Ledger([]))
            part = placed(read.part(begin, end), machine.words, before.units, unread)
            _hear(part, said)
            interpreter.store, interpreter.events = StepStore(part.rows), []
            interpreter.said, interpreter.in_force = StepStore(part.rows), InForce()
            interpreter.add(extract.part(begin, end))
            if shown[begin]:
                yield _traced(part, before, interpreter, said, first=moves)
            moves += interpreter.store.count


def tool_centre(
    program: Program, machine: Machine, tools: Tools, setup: Setup, switches: Switches = USUAL
) -> tuple[Steps, Spread]:
    """Return the moves of the tool centre beside its contours, and where those of all blocks went.

    No move went anywhere (the columns of ``Spread`` are empty) where nothing is compensated.
    """
    interpreter = Interpreter(machine, tools, setup, [], program.lines, switches=switches)
    interpreter.reads(program)
    for extract in Route(program, interpreter.dialect, switches, Ledger([])).extracts(WINDOW):
        interpreter.add(extract)
    steps, spread, _ = interpreter.cutter.beside(interpreter.store.whole(), tuple(interpreter.book.frames))
    return steps, spread


def _cuts(extract: Extract, shown: Flags) -> list[tuple[int, int]]:
    """Return where the windows begin and end (rows): rare blocks alone, plain ones together, others all at once."""
    rows = extract.rows
    rare = np.flatnonzero(shown & ~_plain(extract))
    turns = np.flatnonzero(np.diff(shown, prepend=not shown[0])) if rows else rare
    edges = distinct(np.concatenate((turns, rare, rare + 1, np.arange(0, rows, TOGETHER), [rows])))
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))


def _plain(extract: Extract) -> Flags:
    """Return which blocks (rows,) hold none but plain words."""
    motion = (extract.letter == ord("G")) & among(extract.value, MOTIONS)
    other = ~among(extract.letter, [ord(x) for x in PLAIN]) & ~motion
    out = np.ones(extract.rows, dtype=np.bool_)
    out[extract.row(np.flatnonzero(other))] = False
    return out


def _hear(part: Extract, said: dict[str, float]) -> None:
    """Note the last word of every modal group, and of S, into ``said``."""
    for letter in ("G", "M"):
        values = part.value[part.letter == ord(letter)]
        group = group_of(letter, values)
        for index, name in enumerate(groups(letter), 1):
            own = values[group == index] if name not in ONE_BLOCK else values[:0]
            if own.size:
                said[name] = float(own[-1])
    speeds = part.value[part.letter == ord("S")]
    if speeds.size:
        said["S"] = float(speeds[-1])


def _traced(part: Extract, before: State, interpreter: Interpreter, said: dict[str, float], *, first: int) -> Trace:
    """Return the trace of a window whose last state is that of ``interpreter``, which holds nothing but its moves."""
    steps = interpreter.store.whole()
    state, book, order = interpreter.state, interpreter.book, interpreter.machine.tilt_order
    frame = book.frame(state.key.number)
    modal = state.rotary if book.chain is None else book.chain.angles(state.rotary)
    opening, now = (book.seen(x.pose, x.frame, frame, modal) for x in (before, state))
    axes, words = _as_written(interpreter, steps)
    if part.rows == 1:
        motion: Array = np.array([state.moving_by], np.float64)
        feed, scale = np.array([state.feed]), np.array([state.feed_scale])
        place = now[:, None]
    else:
        fed = part.letter == ord("F") if state.feed_mode != INVERSE else np.zeros(len(part.letter), np.bool_)
        motion = _column(part, part.letter == ord("G"), part.value, before.moving_by)
        feed = _column(part, fed, part.value, before.feed)
        scale = _column(part, fed, np.full(len(fed), state.feed_scale), before.feed_scale)
        rows = np.searchsorted(part.line(np.arange(part.rows)), steps.line)
        last = np.append(rows[1:] != rows[:-1], True)[: len(rows)]
        place = np.stack(
            [fill(rows[last], end, part.rows, o) for end, o in zip(steps.end[:, last], opening, strict=True)]
        )
    if not np.isnan(state.first_feed):
        feed, scale = np.full(len(feed), state.first_feed), np.ones(len(feed))
    names, once = _alone(part)
    return Trace(
        lines=part.line(np.arange(part.rows)),
        blocks=names,
        once=once,
        state=in_force(state, frame, said, interpreter.machine),
        frame=frame,
        frames=book.frames,
        motion=[short("G", code) for code in motion.tolist()],
        feed=feed,
        feed_scale=scale,
        place=place,
        steps=steps,
        first=first,
        written=interpreter.in_force.whole(),
        axes=axes,
        vector=bool(interpreter.vector.letters),
        said=words,
        events=Events.joined(interpreter.events),
        turned=_between(steps.start[3:, 0], steps.end[3:, 0], order) if _new_offset(before, steps, book) else 0.0,
        turning=_between(now[3:], modal, order),
    )


def _as_written(interpreter: Interpreter, steps: Steps) -> tuple[str, Steps | None]:
    """Return the letters that a program writes for A B C, and the moves in these words; none where it writes A B C."""
    vector, chain = interpreter.vector.letters, interpreter.book.chain
    if chain is not None and interpreter.said is not None:
        return chain.letters, interpreter.said.whole()
    if not vector:
        return "", None
    end = steps.end.copy()
    end[3:] = rotation(end[3], end[4], end[5], interpreter.machine.tilt_order)[:, 2]
    return vector, replace(steps, end=end)


def _new_offset(before: State, steps: Steps, book: FrameBook) -> bool:
    """Return whether the first of the moves is in another work offset than those before, at rest at first."""
    return bool(len(steps.line)) and book.frames[steps.frame[0]].offset not in (before.frame.offset, MACHINE_WORD)


def _between(first: Array, second: Array, order: str) -> float:
    """Return the angle [rad] between two orientations A B C (3,)."""
    one, other = (rotation(x[0], x[1], x[2], order) for x in (first, second))
    return float(np.arccos(np.clip((np.trace(one.T @ other) - 1.0) / 2.0, -1.0, 1.0)))


def _alone(part: Extract) -> tuple[list[str], list[list[str]]]:
    """Return the block numbers of a window, and what the words mean that act in their block alone, block by block."""
    names, once = [""] * part.rows, [list[str]() for _ in range(part.rows)]
    at = np.flatnonzero(among(part.letter, [ord(x) for x in "NGM"]))
    rows, letters, values = part.row(at).tolist(), part.letter[at].tolist(), part.value[at].tolist()
    for row, letter, value in zip(rows, letters, values, strict=True):
        word = code_word(chr(letter), value)
        if letter == ord("N"):
            names[row] = names[row] or f"N{value:.0f}"
        elif word is not None and word.group in ONE_BLOCK:
            once[row].append(f"{word.name}: {word.does}")
    return names, once


def in_force(state: State, frame: Frame, said: dict[str, float], machine: Machine) -> dict[str, object]:
    """Return what is in force in the words of the trade; ``said``: the last word of every modal group and of S."""
    usual = {"inch": INCH, "mm": METRIC}.get(machine.words.units or "", NONE)
    out: dict[str, object] = {
        "motion": None,
        "feed": None,
        "feed_mode": short("G", state.feed_mode),
        "offset": frame.offset,
        "plane": short("G", state.plane),
        "units": short("G", usual if state.units == NONE else state.units),
        "distance": short("G", state.distance),
        "path_control": short("G", state.path_control),
        "tool": state.tool or None,
        "tool_selected": None if state.selected < 0 else state.selected,
        "length_row": frame.length_row or None,
        "length_mm": frame.length,
        "spindle": short("M", said.get("spindle", NONE)),
        "spindle_speed": said.get("S"),
        "coolant": short("M", said.get("coolant", NONE)),
    }
    return out | {group.replace(" ", "_"): short("G", said.get(group, NONE)) for group in OTHERS}


def _column(part: Extract, which: Flags, values: Array, before: float) -> Array:
    """Return the value (n,) in force after each line, given by the words (one a line) that ``which`` selects."""
    return fill(part.row(np.flatnonzero(which)), values[which], part.rows, before)
