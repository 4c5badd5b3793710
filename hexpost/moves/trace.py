"""A program interpreted once more, block by block: what is in force, and where the tool is, after each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Lines
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.interpret import WINDOW, Interpreter
from hexpost.moves.model import USUAL, Events, Frame, Switches
from hexpost.moves.motion.feeds import INVERSE
from hexpost.moves.motion.steps import Steps, Store
from hexpost.moves.order.route import Route
from hexpost.moves.reading.dialect import Dialect
from hexpost.moves.window.complaints import Complaints, Ledger
from hexpost.moves.window.extract import Extract
from hexpost.moves.window.sheet import fill
from hexpost.moves.window.state import State
from hexpost.moves.words import LABELS, ONE_BLOCK, group_of, groups
from hexpost.program.model import Program

PLAIN = (*"XYZABCIJKRF", *LABELS)
"""Letters that change nothing but the place and the feed."""
MOTIONS = (0, 1, 2, 3)
"""G codes that change nothing but how the next blocks move."""
TOGETHER = 4096
"""Plain blocks that are traced at once."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Blocks that run one after the other, in which only place, motion word and feed change.

    ``words``: their words as they are read. ``lines`` (n,): their lines. ``state``: what is in force after the last of
    them (a copy). ``frame``: the work frame then in force, ``frames`` those that ``steps`` count. ``motion`` (n,): G
    codes. ``feed`` (n,): the modal F as written, nan for none; ``feed_scale`` (n,): millimetres of its unit. ``place``
    (6, n): the tip after each block in ``frame``. ``steps``: the moves of these blocks, as programmed (compensation of
    the cutter radius moves them aside). ``events``: what happens in them. ``said``: the last word of every modal
    group and of S.
    """

    words: Extract
    lines: Lines
    state: State
    frame: Frame
    frames: Sequence[Frame]
    motion: Codes
    feed: Array
    feed_scale: Array
    place: Array
    steps: Steps
    events: Events
    said: dict[str, float]


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
    dialect = Dialect(machine.dialect)
    said: dict[str, float] = {}
    for extract in Route(program, dialect, switches, Ledger([])).extracts(WINDOW):
        read = dialect.applied(extract, Complaints(extract, Ledger([])))
        number = extract.line(np.arange(extract.rows))
        if extract.lines is None and extract.rows and number[0] > lines[1]:
            return
        shown = (number >= lines[0]) & (number <= lines[1])
        for begin, end in _cuts(read, shown):
            before, part = replace(interpreter.state), _part(read, begin, end)
            _hear(part, said)
            interpreter.store, interpreter.events = Store(part.rows), []
            interpreter.add(_part(extract, begin, end))
            if shown[begin]:
                yield _traced(part, before, interpreter, said)


def _cuts(extract: Extract, shown: Flags) -> list[tuple[int, int]]:
    """Return where the windows begin and end (rows): rare blocks alone, plain ones together, others all at once."""
    rows = extract.rows
    rare = np.flatnonzero(shown & ~_plain(extract))
    turns = np.flatnonzero(np.diff(shown, prepend=not shown[0])) if rows else rare
    edges = np.unique(np.concatenate((turns, rare, rare + 1, np.arange(0, rows, TOGETHER), [rows])))
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))


def _part(extract: Extract, begin: int, end: int) -> Extract:
    """Return the rows ``begin`` to ``end`` (left out) of an extract; columns are views."""
    first, last = int(extract.first[begin]), int(extract.first[end])
    return extract.take(
        slice(first, last),
        counted0=extract.counted0 + begin,
        first=extract.first[begin : end + 1] - first,
        lines=None if extract.lines is None else extract.lines[begin:end],
        line0=extract.line0 + begin,
        word0=extract.word0 + first,
    )


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
        motion, feed, scale = np.array([state.motion]), np.array([state.feed]), np.array([state.feed_scale])
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
    return Trace(
        words=part,
        lines=part.line(np.arange(part.rows)),
        state=replace(state),
        frame=frame,
        frames=interpreter.book.frames,
        motion=motion.astype(np.uint8),
        feed=feed,
        feed_scale=scale,
        place=place,
        steps=steps,
        events=Events.joined(interpreter.events),
        said=dict(said),
    )


def _column(part: Extract, which: Flags, values: Array, before: float) -> Array:
    """Return the value (n,) in force after each line, given by the words (one a line) that ``which`` selects."""
    return fill(part.row(np.flatnonzero(which)), values[which], part.rows, before)
