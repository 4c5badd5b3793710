"""A program interpreted once more, block by block: what is in force, and where the tool is, after each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.collect import Steps, Store
from hexpost.moves.feeds import INVERSE
from hexpost.moves.interpret import WINDOW, Interpreter
from hexpost.moves.model import Events, Frame
from hexpost.moves.sheet import fill
from hexpost.moves.state import State
from hexpost.moves.words import LABELS, ONE_BLOCK, group_of, groups
from hexpost.program.model import Program

PLAIN = (*"XYZABCIJKRF", *LABELS)
"""Letters that change nothing but the place and the feed."""
MOTIONS = (0, 1, 2, 3)
"""G codes that change nothing but how the next blocks move."""
TOGETHER = 4096
"""Plain lines that are traced at once."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Consecutive blocks in which only place, motion word and feed change.

    ``program``: these lines alone. ``state``: what is in force after the last of them (a copy). ``frame``: the work
    frame then in force, ``frames`` those that ``steps`` count. ``motion`` (n,): G codes. ``feed`` (n,): the modal F
    as written, nan for none; ``feed_scale`` (n,): millimetres of its unit. ``place`` (6, n): the tip after each block
    in ``frame``. ``steps``: the moves of these blocks. ``events``: what happens in them. ``words``: the last word of
    every modal group and of S.
    """

    program: Program
    state: State
    frame: Frame
    frames: Sequence[Frame]
    motion: Codes
    feed: Array
    feed_scale: Array
    place: Array
    steps: Steps
    events: Events
    words: dict[str, float]


class _Tap(Store):
    """Counts the moves and keeps those of the last window alone."""

    def __init__(self) -> None:
        super().__init__(1)
        self.last: list[Steps] = []

    def add(self, part: Steps) -> None:
        """Take in the moves of the next window and forget the ones before."""
        self.last = [part]
        self.count += len(part.line)


def trace(program: Program, machine: Machine, tools: Tools, setup: Setup, lines: tuple[int, int]) -> Iterator[Trace]:
    """Yield what lines ``lines`` (first, last; from 1) of a program without fault mean, a few blocks at a time.

    The whole program ahead of them is interpreted, so that all is in force that would be. Memory does not grow with
    the number of blocks.
    """
    interpreter = Interpreter(machine, tools, setup, [], 1)
    tap = _Tap()
    interpreter.store = tap
    said: dict[str, float] = {}
    first, last = max(lines[0] - 1, 0), min(lines[1], program.lines)
    for begin, end in zip(*_cuts(program, min(first, last), last), strict=True):
        part = program.part(begin, end)
        before, steps = replace(interpreter.state), tap.count
        _hear(part, said)
        interpreter.add(part)
        happened = interpreter.events.pop()
        if begin >= first and tap.count >= steps:
            yield _traced(part, before, interpreter, tap.last[-1], happened=happened, said=said)


def _cuts(program: Program, first: int, last: int) -> tuple[list[int], list[int]]:
    """Return where the windows begin and end (rows): whole ones ahead of ``first``, from there on lines of a kind."""
    ahead = np.arange(0, first, WINDOW)
    rare = first + np.flatnonzero(~_plain(program)[first:last])
    plain = np.arange(first, last, TOGETHER)
    edges = np.unique(np.concatenate((ahead, [first, last], rare, rare + 1, plain)))
    edges = edges[edges <= last]
    return edges[:-1].tolist(), edges[1:].tolist()


def _plain(program: Program) -> Flags:
    """Return which lines (n,) hold none but plain words."""
    motion = (program.letter == ord("G")) & np.isin(program.value, MOTIONS)
    other = ~np.isin(program.letter, [ord(x) for x in PLAIN]) & ~motion
    out = np.ones(program.lines, dtype=np.bool_)
    out[program.line[other] - 1 - program.line0] = False
    return out


def _hear(part: Program, said: dict[str, float]) -> None:
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


def _traced(
    part: Program, before: State, interpreter: Interpreter, steps: Steps, *, happened: Events, said: dict[str, float]
) -> Trace:
    """Return the trace of a window whose last state is that of ``interpreter``."""
    state = interpreter.state
    frame = interpreter.book.frame(state.key.number)
    opening, now = (interpreter.book.seen(x.pose, x.frame, frame, state.rotary) for x in (before, state))
    if part.lines == 1:
        motion, feed, scale = np.array([state.motion]), np.array([state.feed]), np.array([state.feed_scale])
        place = now[:, None]
    else:
        fed = part.letter == ord("F") if state.feed_mode != INVERSE else np.zeros(len(part.letter), np.bool_)
        motion = _column(part, part.letter == ord("G"), part.value, before.motion)
        feed = _column(part, fed, part.value, before.feed)
        scale = _column(part, fed, np.full(len(fed), state.feed_scale), before.feed_scale)
        rows = steps.line - np.int32(1 + part.line0)
        last = np.append(rows[1:] != rows[:-1], True)[: len(rows)]
        place = np.stack(
            [fill(rows[last], end, part.lines, o) for end, o in zip(steps.end[:, last], opening, strict=True)]
        )
    return Trace(
        program=part,
        state=replace(state),
        frame=frame,
        frames=interpreter.book.frames,
        motion=motion.astype(np.uint8),
        feed=feed,
        feed_scale=scale,
        place=place,
        steps=steps,
        events=happened,
        words=dict(said),
    )


def _column(part: Program, which: Flags, values: Array, before: float) -> Array:
    """Return the value (n,) in force after each line, given by the words (one a line) that ``which`` selects."""
    return fill(part.line[which] - np.int64(1 + part.line0), values[which], part.lines, before)
