"""A program interpreted once more, block by block: what is in force, and where the tool is, after each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Lines
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.words import LABELS, NONE, ONE_BLOCK, code_word, group_of, groups, short
from hexpost.moves.interpret import WINDOW, Interpreter
from hexpost.moves.model import USUAL, Events, Frame, Switches
from hexpost.moves.motion.feeds import INVERSE
from hexpost.moves.motion.steps import Steps, StepStore
from hexpost.moves.order.route import Route
from hexpost.moves.reading.dialect import Dialect
from hexpost.moves.reading.implied import placed
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
    aside). ``events``: what happens in them.
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
    events: Events


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
            interpreter.add(extract.part(begin, end))
            if shown[begin]:
                yield _traced(part, before, interpreter, said)


def _cuts(extract: Extract, shown: Flags) -> list[tuple[int, int]]:
    """Return where the windows begin and end (rows): rare blocks alone, plain ones together, others all at once."""
    rows = extract.rows
    rare = np.flatnonzero(shown & ~_plain(extract))
    turns = np.flatnonzero(np.diff(shown, prepend=not shown[0])) if rows else rare
    edges = np.unique(np.concatenate((turns, rare, rare + 1, np.arange(0, rows, TOGETHER), [rows])))
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))


def _plain(extract: Extract) -> Flags:
    """Return which blocks (rows,) hold none but plain words."""
    motion = (extract.letter == ord("G")) & np.isin(extract.value, MOTIONS)
    other = ~np.isin(extract.letter, [ord(x) for x in PLAIN]) & ~motion
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


def _traced(part: Extract, before: State, interpreter: Interpreter, said: dict[str, float]) -> Trace:
    """Return the trace of a window whose last state is that of ``interpreter``, which holds nothing but its moves."""
    steps = interpreter.store.whole()
    state = interpreter.state
    frame = interpreter.book.frame(state.key.number)
    opening, now = (interpreter.book.seen(x.pose, x.frame, frame, state.rotary) for x in (before, state))
    if part.rows == 1:
        motion: Array = np.array([state.motion], np.float64)
        feed, scale = np.array([state.feed]), np.array([state.feed_scale])
        place = now[:, None]
    else:
        fed = part.letter == ord("F") if state.feed_mode != INVERSE else np.zeros(len(part.letter), np.bool_)
        motion = _column(part, part.letter == ord("G"), part.value, before.motion)
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
        frames=interpreter.book.frames,
        motion=[short("G", code) for code in motion.tolist()],
        feed=feed,
        feed_scale=scale,
        place=place,
        steps=steps,
        events=Events.joined(interpreter.events),
    )


def _alone(part: Extract) -> tuple[list[str], list[list[str]]]:
    """Return the block numbers of a window, and what the words mean that act in their block alone, block by block."""
    names, once = [""] * part.rows, [list[str]() for _ in range(part.rows)]
    at = np.flatnonzero(np.isin(part.letter, [ord(x) for x in "NGM"]))
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
