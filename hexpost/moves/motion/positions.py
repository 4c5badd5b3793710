"""Where each moving block begins and ends: words that are not named stay, absolute or incremental, frame by frame."""

from dataclasses import dataclass, replace
from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Lines
from hexpost.machine.wording import Wording
from hexpost.moves.frames.book import MACHINE, SAME, SAME_ANGLE, FrameBook
from hexpost.moves.frames.runs import Runs
from hexpost.moves.model import Remark
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.modes import AXES, INCREMENTAL
from hexpost.moves.window.sheet import Rows, fill
from hexpost.moves.window.state import Key, State
from hexpost.units import RAD_PER_DEG

TIP_STAYS = "tip-stays"
"""Reading of a tool length that changes under a tilted tool: axes that are not named stay where the tip is."""
ASIDE = {
    TIP_STAYS: "axes left out stay, and the tip is up to {:.4g} mm beside its old coordinates",
    "coordinates-stay": "after a change of length the tip goes back to its old coordinates, up to {:.4g} mm aside",
}
"""What becomes of axes that are not named, by reading."""
SHIFT = 1e-3
"""Millimetres from which a tip that is aside is worth a remark: the last digit of most programs."""
TURN = 2.0 * pi
"""One turn, rad."""


@dataclass(frozen=True, slots=True, eq=False)
class Positions:
    """Moves as columns: start and end (6, n) in the frame of each move, and its number (n,).

    ``run_first`` (r,) is the index of the first move of every run, ``opening`` (6, r) the pose in which it begins:
    the start of that move, but for programs posted for other axes, whose words stand in ``start`` and ``end``.
    ``shifts`` are moves, with mm, before which tool length, offset or preset changed under a tilted tool (see
    ``_sideways``).
    """

    start: Array
    end: Array
    frame: Lines
    run_first: Rows
    opening: Array
    shifts: tuple[tuple[int, float], ...] = ()


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
    shifts = []
    for run, (index, at, count) in enumerate(zip(used.tolist(), first.tolist(), counts.tolist(), strict=True)):
        here = [_slice(a, c[run], c[run + 1], at) for a, c in zip(axes, cuts, strict=True)]
        key, work = int(runs.key[index]), int(runs.work[index])
        begin, openings[:, run], shift = _run(here, book, state, key, end[:, at : at + count], reading=blocks.reading)
        shifts += [(at, shift)] if shift > SHIFT else []
        start[:, at + 1 : at + count] = end[:, at : at + count - 1]
        start[:, at] = begin
        if book.chain is not None:
            state.rotary = state.rotary if Key.of(key).offset == MACHINE else end[3:, at + count - 1].copy()
        elif Key.of(key).offset == MACHINE:
            state.rotary = book.seen(state.pose, state.frame, book.frame(work), state.rotary)[3:]
        else:
            state.rotary = state.pose[3:].copy()
    numbers = np.array([book.number(int(key)) for key in runs.key[used]], dtype=np.int32)
    return Positions(start, end, np.repeat(numbers, counts), first, openings, tuple(shifts))


def shift_remarks(shifts: list[tuple[int, float]], reading: Wording) -> tuple[Remark, ...]:
    """Return a remark on changes of length, offset or preset under a tilted tool: lines, and mm by ``_sideways``."""
    if not shifts:
        return ()
    most = max(size for _, size in shifts)
    text = (
        "does not name all of X Y Z after tool length, offset or G92 changed under a tilted tool: "
        f"{ASIDE[reading.tilted_length].format(most)}"
    )
    return (Remark(line=shifts[0][0], text=text, count=len(shifts)),)


def tilted_readings(shifts: list[tuple[int, float]], reading: Wording) -> tuple[str, ...]:
    """Return a sentence on how axes are read that a block leaves out after a change under a tilted tool."""
    if not shifts:
        return ()
    whose = "do not move" if reading.tilted_length == TIP_STAYS else "go to the coordinates they had"
    return (f"tool length changed while A B C are not 0: axes of X Y Z that the next block does not name {whose}",)


def _axes(blocks: Blocks) -> list[_Axis]:
    """Return the words of X Y Z A B C with their moves."""
    distance = blocks.modes.distance
    incremental = bool((distance == INCREMENTAL).any())
    out = []
    for letter in AXES:
        words = blocks.sheet.letter(letter)
        value = blocks.millimetres(words) if letter in "XYZ" else words.value * RAD_PER_DEG
        by_steps = incremental and not (blocks.turns_absolute and letter in "ABC")
        increment = distance[words.row] == INCREMENTAL if by_steps else None
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
    axes: list[_Axis], book: FrameBook, state: State, key: int, end: Array, *, reading: Wording
) -> tuple[Array, Array, float]:
    """Fill ``end`` (6, m) of one run, move ``state`` to its end.

    Return where it begins, as words and as pose (6,), and by how much [mm] the tip is aside (see ``_sideways``).
    """
    frame = book.frame(key)
    chain = None if Key.of(key).offset == MACHINE else book.chain
    if reading.rotary == "shortest":
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
    shift, kept = _sideways(axes, book, state, key, begin[:3])
    before = np.concatenate((begin[:3] if reading.tilted_length == TIP_STAYS else kept, stay))
    for row, axis, from_here in zip(end, axes, before, strict=True):
        row[:] = _column(axis, len(row), float(from_here))
    close = np.abs(end[:3, 0] - begin[:3]) < SAME
    begin[:3] = np.where(close, end[:3, 0], begin[:3])
    state.pose = end[:, -1].copy() if chain is None else chain.poses(end[:, -1:], frame.length)[:, 0]
    state.frame = frame
    if Key.of(key).offset != MACHINE:
        state.work_key = key
    return begin, opening, shift


def _sideways(axes: list[_Axis], book: FrameBook, state: State, key: int, begin: Array) -> tuple[float, Array]:
    """Return by how much [mm] the axes that the first block of a run leaves out are aside, and kept coordinates (3,).

    Aside: between the coordinates ``begin`` (3,) that the tip has there, and those that it had at the same place of the
    machine under the tool length, offset and preset of the last motion in work coordinates. It counts where A B C are
    not 0, for then a length leads aside; increments leave an axis out as well. Kept: where only the length is the old
    one.
    """
    old, new = state.work_key, Key.of(key)
    if old in (None, key) or new.offset == MACHINE or not np.any(np.abs(state.rotary) > SAME_ANGLE):
        return 0.0, begin
    assert old is not None
    last = Key.of(old)
    length = replace(new, length=last.length, row=last.row, tool=last.tool).number
    had, kept = (_coordinates(book, state, k) for k in (old, length))
    named = [bool(len(a.place)) and a.place[0] == 0 and (a.increment is None or not a.increment[0]) for a in axes[:3]]
    return float(np.linalg.norm(np.where(named, 0.0, begin - had))), kept


def _coordinates(book: FrameBook, state: State, key: int) -> Array:
    """Return X Y Z (3,) of the tip as a program says them where it is, were the frame of ``key`` in force."""
    frame = book.made(key)
    pose = book.seen(state.pose, state.frame, frame, state.rotary)
    return pose[:3] if book.chain is None else book.chain.words(pose, state.rotary, frame.length)[:3]


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
