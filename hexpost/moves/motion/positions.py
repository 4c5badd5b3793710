"""Where each moving block begins and ends: words that are not named stay, absolute or incremental, frame by frame."""

from dataclasses import dataclass, replace
from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Lines
from hexpost.moves.frames.book import MACHINE, SAME, FrameBook
from hexpost.moves.frames.runs import Runs
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.modes import AXES, INCREMENTAL
from hexpost.moves.window.sheet import Rows, fill
from hexpost.moves.window.state import Key, State
from hexpost.units import RAD_PER_DEG

TURN = 2.0 * pi
"""One turn, rad."""


@dataclass(frozen=True, slots=True, eq=False)
class Positions:
    """Moves as columns: start and end (6, n) in the frame of each move, and its number (n,).

    ``run_first`` (r,) is the index of the first move of every run, ``opening`` (6, r) the pose in which it begins:
    the start of that move, but for programs posted for other axes, whose words stand in ``start`` and ``end``.
    """

    start: Array
    end: Array
    frame: Lines
    run_first: Rows
    opening: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Axis:
    """The words of one axis (k,): index of the move, value in mm or rad, increments (``None``: there are none)."""

    place: Rows
    value: Array
    increment: Flags | None


def positions(blocks: Blocks, runs: Runs, book: FrameBook, state: State) -> Positions:
    """Return where every move begins and ends; ``state`` carries the place and modal A B C over.

    What a block does not name: X Y Z stay where the tip is; A B C are modal in the work frame, so after a change of
    frame the next move turns the tool to them. In machine coordinates they stay as they are, and the modal A B C
    afterwards are the orientation that results.
    """
    axes = _axes(blocks)
    movement = blocks.movement
    places = movement.place(runs.first)
    counts = np.diff(places, append=movement.count)
    used = np.flatnonzero(counts)
    first, counts = places[used], counts[used]
    cuts = [np.searchsorted(axis.place, np.append(first, movement.count)).tolist() for axis in axes]
    start, end = np.empty((6, movement.count)), np.empty((6, movement.count))
    openings = np.empty((6, len(used)))
    shortest = blocks.reading.rotary == "shortest"
    for run, (index, at, count) in enumerate(zip(used.tolist(), first.tolist(), counts.tolist(), strict=True)):
        here = [_slice(a, c[run], c[run + 1], at) for a, c in zip(axes, cuts, strict=True)]
        key, work = int(runs.key[index]), int(runs.work[index])
        begin, openings[:, run] = _run(here, book, state, key, end[:, at : at + count], shortest=shortest)
        start[:, at + 1 : at + count] = end[:, at : at + count - 1]
        start[:, at] = begin
        if book.chain is not None:
            state.rotary = state.rotary if Key.of(key).offset == MACHINE else end[3:, at + count - 1].copy()
        elif Key.of(key).offset == MACHINE:
            state.rotary = book.seen(state.pose, state.frame, book.frame(work), state.rotary)[3:]
        else:
            state.rotary = state.pose[3:].copy()
    numbers = np.array([book.number(int(key)) for key in runs.key[used]], dtype=np.int32)
    return Positions(start, end, np.repeat(numbers, counts), first, openings)


def _axes(blocks: Blocks) -> list[_Axis]:
    """Return the words of X Y Z A B C with their moves."""
    distance = blocks.modes.distance
    incremental = bool((distance == INCREMENTAL).any())
    out = []
    for letter in AXES:
        words = blocks.sheet.letter(letter)
        value = blocks.millimetres(words) if letter in "XYZ" else words.value * RAD_PER_DEG
        increment = distance[words.row] == INCREMENTAL if incremental else None
        out.append(_Axis(blocks.movement.place(words.row), value, increment))
    return out


def _slice(axis: _Axis, begin: int, end: int, at: int) -> _Axis:
    """Return the words ``begin`` to ``end`` of an axis, moves counted from ``at``."""
    which = slice(begin, end)
    place = axis.place[which]
    return _Axis(
        place - at if at else place, axis.value[which], None if axis.increment is None else axis.increment[which]
    )


def _run(
    axes: list[_Axis], book: FrameBook, state: State, key: int, end: Array, *, shortest: bool
) -> tuple[Array, Array]:
    """Fill ``end`` (6, m) of one run, move ``state`` to its end; return where it begins: words and pose (6,)."""
    frame = book.frame(key)
    chain = None if Key.of(key).offset == MACHINE else book.chain
    if shortest:
        axes = axes[:3] + [_nearest(axis, float(now)) for axis, now in zip(axes[3:], state.rotary, strict=True)]
    near = state.rotary.copy()
    for i, axis in enumerate(axes[3:]):
        if len(axis.place) and axis.place[0] == 0 and (axis.increment is None or not axis.increment[0]):
            near[i] = axis.value[0]
    if book.chain is not None:
        near = book.chain.angles(near)
    opening = book.seen(state.pose, state.frame, frame, near)
    begin = opening if chain is None else chain.words(opening, state.rotary, frame.length)
    stay = opening[3:] if Key.of(key).offset == MACHINE else state.rotary
    before = np.concatenate((begin[:3], stay))
    for row, axis, from_here in zip(end, axes, before, strict=True):
        row[:] = _column(axis, len(row), float(from_here))
    close = np.abs(end[:3, 0] - begin[:3]) < SAME
    begin[:3] = np.where(close, end[:3, 0], begin[:3])
    state.pose = end[:, -1].copy() if chain is None else chain.poses(end[:, -1:], frame.length)[:, 0]
    state.frame = frame
    return begin, opening


def _nearest(axis: _Axis, now: float) -> _Axis:
    """Return the words of a rotary axis with whole turns added, each at most half a turn from the one before.

    ``now`` is the angle ahead of the first. Half a turn exactly is made as written; increments are left as they are.
    """
    value = axis.value.copy()
    if axis.increment is None or not axis.increment.any():
        turns = np.rint(-np.diff(value, prepend=now) / TURN)
        return replace(axis, value=value + np.cumsum(turns) * TURN)
    for i, (angle, by) in enumerate(zip(axis.value.tolist(), axis.increment.tolist(), strict=True)):
        if by:
            now += angle
        else:
            now = value[i] = angle + np.rint((now - angle) / TURN) * TURN
    return replace(axis, value=value)


def _column(axis: _Axis, count: int, before: float) -> Array:
    """Return the coordinate (count,) after each move; ``before`` the first one.

    Increments are summed from the last absolute word; with more digits than a result has where the machine offers
    them, so that a million increments end where the absolute program does.
    """
    if axis.increment is None or not axis.increment.any():
        return fill(axis.place, axis.value, count, before)
    steps = np.cumsum(np.where(axis.increment, axis.value, 0.0), dtype=np.longdouble)
    words = np.arange(1, len(steps) + 1)
    last = np.maximum.accumulate(np.where(axis.increment, 0, words))
    base = np.concatenate(([before], axis.value))[last]
    passed = np.concatenate(([0.0], steps))[last]
    return fill(axis.place, (base + (steps - passed)).astype(np.float64), count, before)
