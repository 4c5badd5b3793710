"""Rules of the shop floor: the way home, tools before they are called, taps; a spindle at rest, rapids below zero."""

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among, distinct
from hexpost.audit.band import Context
from hexpost.audit.breaches import MACHINE_FRAME, Breaches, stretches
from hexpost.kinematics.frames import invert, rotation
from hexpost.moves.model import AFTER, AS_BEFORE, FEED_RAPID, HOME, PECK, TURNS, Events, Modal, Moves
from hexpost.shelf import windows

NEAR = 1e-6
"""Rounding, mm: at the zero plane, at the edge of the cuts, and aside of the axis of the tool."""
BENDS = np.arange(1, 9) / 8.0
"""Where arcs are looked at for the extents of the cuts."""
CLOCKWISE, COUNTER, STILL = 3, 4, 5
"""How the spindle is, as the M code says."""


def return_path(context: Context) -> Breaches:
    """Return the moves of reference returns that touch the work frame's zero plane or go below it, over the cuts.

    Over the cuts: within the box that the tips of all feed moves in the same work offset have in X and Y. A move
    straight out along the tool is none. The tip is that of the tool in the spindle, whatever length is active. Peak
    is how deep, mm.
    """
    moves = context.moves
    at = _where(context.meaning.written.led, HOME, moves.count)
    work = np.array([f.offset != MACHINE_FRAME for f in moves.frames], dtype=bool)
    of = at.copy()
    while (before := (of >= 0) & ~work[moves.frame[of]]).any():
        of[before] -= 1
    at, of = at[of >= 0], moves.frame[of[of >= 0]].astype(np.int64)
    deep = np.full(len(at), -np.inf)
    boxes: dict[tuple[str, bytes], Array | None] = {}
    for k in distinct(of).tolist():
        some, frame = np.flatnonzero(of == k), moves.frames[k]
        key = (frame.offset, frame.base_from_work.tobytes())
        if key not in boxes:
            boxes[key] = _extents(moves, k)
        box = boxes[key]
        if box is not None:
            ends = [_tips(context, at[some], k, start=start) for start in (True, False)]
            deep[some] = _depths(ends[0], ends[1], box)
    low = np.flatnonzero((deep > -NEAR) & ~_outwards(context, at))
    at, deep = at[low], np.maximum(deep[low], 0.0)
    first = np.flatnonzero((np.diff(at, prepend=-2) != 1) | (np.diff(moves.line[at], prepend=-1) != 0))
    deep = np.maximum.reduceat(deep, first) if first.size else deep  # of both legs of one block
    return _breaches("return-path", at[first], deep, 0.0 * deep)


def tool_call(context: Context) -> Breaches:
    """Return stretches of cuts, or of moves with a tool length, before the first tool of the program is called."""
    moves = context.moves
    mounted = np.array([f.tool > 0 for f in moves.frames], dtype=bool)[moves.frame]
    before = int(mounted.argmax()) if mounted.any() else 0
    rows = np.array([f.length_row for f in moves.frames])[moves.frame[:before]]
    used = np.zeros(moves.count, dtype=bool)
    used[:before] = (rows > 0) | (moves.feed_mode[:before] != FEED_RAPID)
    first, last = stretches(moves, used)
    row = np.array([f.length_row for f in moves.frames], dtype=np.float64)[moves.frame[first]]
    return Breaches(limit="tool-call", first=first, last=last, peak=row, allowed=0.0 * row, ratio=2.0 + 0.0 * row)


def tapping(context: Context) -> Breaches:
    """Return the taps that go in with the spindle at rest, or turning the wrong way; peak and allowed are M codes."""
    moves, taps = context.moves, context.meaning.written.tapping
    hands = ((1.0, CLOCKWISE), (-1.0, COUNTER))
    at = [_inwards(_where(taps, hand, moves.count)) for hand, _ in hands]
    needed = np.concatenate([np.full(len(x), code) for x, (_, code) in zip(at, hands, strict=True)])
    every = np.concatenate(at)
    found = spindle(context.meaning.events, every)
    wrong = found != needed
    order = np.argsort(every[wrong], kind="stable")
    return _breaches("tapping", *(x[wrong][order] for x in (every, found.astype(float), needed.astype(float))))


def spindle_off(context: Context) -> Breaches:
    """Return the first cut with the spindle at rest, or without a speed above 0; peak is in how many blocks."""
    cuts, events = np.flatnonzero(context.moves.feed_mode != FEED_RAPID), context.meaning.events
    speed = _last(events, ~np.isnan(events.speed), events.speed, 0.0, cuts)
    return _once("spindle-off", context.moves, cuts[(spindle(events, cuts) == STILL) | (speed <= 0.0)])


def rapid_below(context: Context) -> Breaches:
    """Return the first rapid below the zero plane of its work frame, but straight out; peak is in how many blocks.

    Reference returns and the way back into a hole after a peck are none.
    """
    moves, led = context.moves, context.meaning.written.led
    rapid, work = moves.feed_mode == FEED_RAPID, np.array([f.offset != MACHINE_FRAME for f in moves.frames], dtype=bool)
    at = np.flatnonzero(rapid & (np.minimum(moves.start[2], moves.end[2]) < -NEAR))
    at = at[work[moves.frame[at]]]
    at = at[~among(led.at(at), (HOME, PECK))]
    moved = np.abs(moves.end[:3, at] - moves.start[:3, at]).max(axis=0, initial=0.0) > NEAR
    return _once("rapid-below-zero", moves, at[moved & ~_outwards(context, at)])


def spindle(events: Events, chosen: Ints) -> Ints:
    """Return how the spindle is (m,) during the ``chosen`` moves (m,), by the words before them."""
    state = events.spindle
    turning = np.where(among(events.value, (4, 14)), COUNTER, CLOCKWISE)
    return _last(events, state != AS_BEFORE, np.where(state == TURNS, turning, STILL), STILL, chosen).astype(np.int64)


def _last(events: Events, some: Flags, values: Array | Ints, first: float, chosen: Ints) -> Array:
    """Return what the last of ``some`` events (e,) before or at ``chosen`` moves (m,) says; ``first`` before any."""
    at = np.flatnonzero(some)
    since = events.move[at] + (events.rule[at] == AFTER)
    order = np.argsort(since, kind="stable")
    said = np.append(first, values[at][order])
    out: Array = said[np.searchsorted(since[order], chosen, side="right")]
    return out


def _where(modal: Modal, value: float, count: int) -> Ints:
    """Return which of ``count`` moves have a value in force, rising."""
    ends = np.append(modal.first[1:], count)
    runs = np.flatnonzero(modal.value == value)
    return np.concatenate([np.arange(0), *(np.arange(modal.first[k], ends[k]) for k in runs)])


def _inwards(taps: Ints) -> Ints:
    """Return every other one of consecutive moves of taps (k,): in, out, in, out."""
    new = np.append(True, np.diff(taps) != 1)[: len(taps)]
    place = np.arange(len(taps))
    out: Ints = taps[(place - np.maximum.accumulate(np.where(new, place, 0))) % 2 == 0]
    return out


def _tips(context: Context, at: Ints, of: int, *, start: bool) -> Array:
    """Return the tip (3, m) of the tool in the spindle at an end of moves (m,), in the work frame of place ``of``."""
    moves, machine = context.moves, context.machine
    pose = (moves.start if start else moves.end)[:, at]
    active = np.array([machine.platform.gauge_point[2] - f.tip[2] for f in moves.frames])[moves.frame[at]]
    tools = context.tools.tools
    mounted = [tools[f.tool].length if f.tool in tools else moves.frames[of].length for f in moves.frames]
    more = np.maximum(np.array(mounted)[moves.frame[at]] - active, 0.0)
    tip = pose[:3] - _axes(context, pose) * more
    frames = np.array([f.base_from_work for f in moves.frames])
    there = (invert(frames[of]) @ frames)[moves.frame[at]]
    out: Array = np.einsum("nij,jn->in", there[:, :3, :3], tip) + there[:, :3, 3].T
    return out


def _axes(context: Context, pose: Array) -> Array:
    """Return the direction (3, m) from the tip to the spindle at poses (6, m)."""
    return rotation(pose[3], pose[4], pose[5], context.machine.tilt_order)[:, 2]


def _outwards(context: Context, at: Ints) -> Flags:
    """Return which moves (m,) go straight out, along the tool or along Z of their frame."""
    moves = context.moves
    way = moves.end[:3, at] - moves.start[:3, at]
    out = np.zeros(len(at), dtype=bool)
    for axis in (_axes(context, moves.start[:, at]), np.repeat([[0.0], [0.0], [1.0]], len(at), axis=1)):
        along = (way * axis).sum(axis=0)
        aside = np.abs(way - along * axis).max(axis=0, initial=0.0)
        out |= (along > 0.0) & (aside <= NEAR + 1e-9 * along)
    return out


def _extents(moves: Moves, of: int) -> Array | None:
    """Return the box (2, 2) of the cuts in the offset of a frame: least and most X and Y in it; ``None`` for no cut."""
    same = np.array([f.offset == moves.frames[of].offset for f in moves.frames], dtype=bool)
    cuts = np.flatnonzero((moves.feed_mode != FEED_RAPID) & same[moves.frame])
    frames = np.array([f.base_from_work for f in moves.frames])
    there = (invert(frames[of]) @ frames)[:, :2]
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for w in windows(len(cuts)):
        part = cuts[w]
        m = there[moves.frame[part]]
        arcs = np.flatnonzero(among(moves.arcs.move, part))
        bent = there[moves.frame[moves.arcs.move[arcs]]]
        points = [(m, moves.start[:3, part]), (m, moves.end[:3, part]), *((bent, p) for p in _bends(moves, arcs))]
        for maps, point in points:
            place = np.einsum("nij,jn->in", maps[:, :, :3], point) + maps[:, :, 3].T
            if place.size:
                low, high = np.minimum(low, place.min(axis=1)), np.maximum(high, place.max(axis=1))
    return np.stack([low, high]) if len(cuts) else None


def _bends(moves: Moves, arcs: Ints) -> list[Array]:
    """Return points (3, k) along arcs (k,)."""
    move, axis = moves.arcs.move[arcs], moves.arcs.axis[arcs].astype(np.int64)
    column = np.arange(len(arcs))
    first, second = (axis + 1) % 3, (axis + 2) % 3
    centre = moves.arcs.centre[:, arcs]
    arm = moves.start[:3, move] - centre
    rise = (moves.end - moves.start)[axis, move]
    out = []
    for share in BENDS:
        turned = share * moves.arcs.turn[arcs]
        point = moves.start[:3, move].copy()
        u, v = arm[first, column], arm[second, column]
        point[first, column] = centre[first, column] + u * np.cos(turned) - v * np.sin(turned)
        point[second, column] = centre[second, column] + u * np.sin(turned) + v * np.cos(turned)
        point[axis, column] += share * rise
        out.append(point)
    return out


def _depths(start: Array, end: Array, box: Array) -> Array:
    """Return how deep (m,) straight ways (3, m) go below Z0 within a box (2, 2) of X and Y; less than 0 above it.

    What is left of a way between two planes is a stretch of shares; that within the box is common to both.
    """
    low, high = np.zeros(start.shape[1]), np.ones(start.shape[1])
    way = end - start
    for axis in (0, 1):
        for side, sign in ((box[0, axis], -1.0), (box[1, axis], 1.0)):
            room = sign * (side - start[axis]) + NEAR  # at share t the way is inside where sign * way * t <= room
            rate = sign * way[axis]
            share = room / np.where(rate == 0.0, 1.0, rate)
            high = np.where(rate > 0.0, np.minimum(high, share), high)
            low = np.where(rate < 0.0, np.maximum(low, share), low)
            high = np.where((rate == 0.0) & (room < 0.0), -1.0, high)
    deepest = -np.minimum(start[2] + low * way[2], start[2] + high * way[2])
    return np.where(low <= high, deepest, -np.inf)


def _breaches(limit: str, at: Ints, peak: Array, allowed: Array) -> Breaches:
    """Return moves that break a rule, each on its own."""
    return Breaches(limit=limit, first=at, last=at, peak=peak, allowed=allowed, ratio=2.0 + 0.0 * peak)


def _once(limit: str, moves: Moves, at: Ints) -> Breaches:
    """Return the first of moves (m,) alone, with the number of their blocks as its peak."""
    line = moves.line[at]
    blocks = np.count_nonzero((np.diff(line, prepend=-1) != 0) | (np.diff(at, prepend=-2) != 1))
    some = at[:1]
    return _breaches(limit, some, np.full(len(some), float(blocks)), np.zeros(len(some)))
