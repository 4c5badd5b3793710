"""Rules of the shop floor found again: the way home, tools before they are called, taps; move by move."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from hexpost.arrays import Array, among
from hexpost.machine.model import Machine, Tools
from hexpost.moves.model import AFTER, AS_BEFORE, FEED_RAPID, HOME, Events, Interpretation, Modal, Moves
from hexpost.verify.struts import Angles
from hexpost.verify.told import Broken

RETURN, CALL, TAP = "return-path", "tool-call", "tapping"
LIMITS = (RETURN, CALL, TAP)
MACHINE = "G53"
ROOM = 1e-6
"""A place this far from a plane, or aside of the tool, may be on either side of it, mm."""


class ShopFloor:
    """Lines that break these rules; the program alone shows them."""

    def __init__(self, machine: Machine, tools: Tools, meaning: Interpretation) -> None:
        self._machine, self._tools, self._moves = machine, tools, meaning.moves
        self._angles = Angles(machine.tilt_order)
        self._boxes: dict[tuple[str, bytes], Array | None] = {}
        self.broken = {name: Broken() for name in LIMITS}
        if meaning.moves.count:
            self._returns(meaning.written.led)
            self._calls()
            self._taps(meaning.written.tapping, meaning.events)

    def _note(self, name: str, move: int, size: float, *, sure: bool = True) -> None:
        line = np.array([int(self._moves.line[move])])
        self.broken[name].note(line, np.array([size]), np.array([sure]), np.array([True]))

    def _returns(self, led: Modal) -> None:
        """Find moves home of which a part, over the cuts, is not above Z0, unless they go straight out.

        A way is cut at the planes of the box, and each piece between two cuts is inside where its middle is.
        """
        moves = self._moves
        for k in _moves_with(led, HOME, moves.count):
            of = next((i for i in range(k, -1, -1) if moves.frames[moves.frame[i]].offset != MACHINE), None)
            if of is None or self._straight_out(k):
                continue
            work = int(moves.frame[of])
            box = self._box(work)
            if box is None:
                continue
            start, end = (self._tip(k, pose, work) for pose in (moves.start[:, k], moves.end[:, k]))
            depth = {room: _depth(start, end, box, room) for room in (-ROOM, 3.0 * ROOM)}
            if depth[3.0 * ROOM] > -2.0 * ROOM:
                self._note(RETURN, k, max(depth[3.0 * ROOM], 0.0), sure=depth[-ROOM] > 0.0)

    def _straight_out(self, k: int) -> bool:
        """Return whether a move goes out along the tool or along Z."""
        way = self._moves.end[:3, k] - self._moves.start[:3, k]
        far = float(np.sqrt(way @ way))
        axes = (self._turned(self._moves.start[:, k])[:, 2], np.array([0.0, 0.0, 1.0]))
        return any(way @ axis > 0.0 and np.abs(way - (way @ axis) * axis).max() <= ROOM + 1e-9 * far for axis in axes)

    def _turned(self, pose: Array) -> Array:
        out: Array = self._angles.matrices(pose[3:, None])[0]
        return out

    def _tip(self, k: int, pose: Array, work: int) -> Array:
        """Return where the tool in the spindle ends (3,), in a work frame."""
        frames, frame = self._moves.frames, self._moves.frames[self._moves.frame[k]]
        tool = self._tools.tools.get(frame.tool)
        length = frames[work].length if tool is None else tool.length
        lower = max(length - float(self._machine.platform.gauge_point[2] - frame.tip[2]), 0.0)
        return _seen(frames[work].base_from_work, frame.base_from_work, pose[:3] - lower * self._turned(pose)[:, 2])

    def _box(self, work: int) -> Array | None:
        """Return the least and the most X Y (2, 2) of the cuts in the offset of a work frame."""
        moves, frame = self._moves, self._moves.frames[work]
        key = (frame.offset, frame.base_from_work.tobytes())
        if key not in self._boxes:
            points = [
                _seen(frame.base_from_work, moves.frames[f].base_from_work, p)[:2]
                for f in range(len(moves.frames))
                if moves.frames[f].offset == frame.offset
                for p in self._points(f)
            ]
            self._boxes[key] = np.array([np.min(points, axis=0), np.max(points, axis=0)]) if points else None
        return self._boxes[key]

    def _points(self, frame: int) -> Iterator[Array]:
        """Yield the ends of the cuts in a frame, and points an eighth of the way apart on its arcs."""
        moves, at = self._moves, {int(m): i for i, m in enumerate(self._moves.arcs.move)}
        for k in np.flatnonzero((moves.feed_mode != FEED_RAPID) & (moves.frame == frame)).tolist():
            yield from (moves.start[:3, k], moves.end[:3, k])
            if k in at:
                yield from _bends(moves, k, at[k])

    def _calls(self) -> None:
        """Find the first use, in each stretch of one frame, before any tool is in the spindle."""
        moves, before = self._moves, -1
        with_tool = [k for k, f in enumerate(moves.frames) if f.tool > 0]
        if not among(moves.frame, with_tool).any():
            return
        for k in range(int(among(moves.frame, with_tool).argmax())):
            frame = moves.frames[moves.frame[k]]
            stretch = int(np.count_nonzero(np.diff(moves.frame[: k + 1])))
            if (frame.length_row > 0 or moves.feed_mode[k] != FEED_RAPID) and stretch != before:
                before = stretch
                self._note(CALL, k, float(frame.length_row))

    def _taps(self, taps: Modal, events: Events) -> None:
        """Find taps going in while the last word of the spindle before them is not that of their thread."""
        words = sorted(
            (int(events.move[i]) + (events.rule[i] == AFTER), i) for i in np.flatnonzero(events.spindle != AS_BEFORE)
        )
        into, last = True, -2
        for hand in (1.0, -1.0):
            for k in _moves_with(taps, hand, self._moves.count):
                into = not into if k == last + 1 else True
                last = k
                said = [events.value[i] for since, i in words if since <= k]
                now = {3: 3, 13: 3, 4: 4, 14: 4}.get(int(said[-1]), 5) if said else 5
                if into and now != (3 if hand > 0.0 else 4):
                    self._note(TAP, k, float(now))


def _moves_with(modal: Modal, value: float, count: int) -> Iterator[int]:
    for i in np.flatnonzero(modal.value == value).tolist():
        yield from range(int(modal.first[i]), int(modal.first[i + 1]) if i + 1 < len(modal.first) else count)


def _seen(work: Array, other: Array, place: Array) -> Array:
    """Return a place (3,) of another frame in a work frame."""
    base = other[:3, :3] @ place + other[:3, 3]
    out: Array = work[:3, :3].T @ (base - work[:3, 3])
    return out


def _bends(moves: Moves, k: int, arc: int) -> Iterator[Array]:
    """Yield points on an arc: the arm in its plane as a number whose turn is a product."""
    axis = int(moves.arcs.axis[arc])
    u, v = (axis + 1) % 3, (axis + 2) % 3
    centre, start = moves.arcs.centre[:, arc], moves.start[:3, k]
    arm = complex(start[u] - centre[u], start[v] - centre[v])
    for share in np.arange(1, 9) / 8.0:
        turned = arm * np.exp(1j * share * moves.arcs.turn[arc])
        point = start + share * (moves.end[:3, k] - start)
        point[u], point[v] = centre[u] + turned.real, centre[v] + turned.imag
        yield point


def _depth(start: Array, end: Array, box: Array, room: float) -> float:
    """Return how deep a straight way goes below Z0 inside a box that is ``room`` wider; -inf where it stays outside."""
    way, cuts = end - start, [0.0, 1.0]
    low, high = box[0] - room, box[1] + room
    for axis in (0, 1):
        cuts += [(side - start[axis]) / way[axis] for side in (low[axis], high[axis]) if way[axis] != 0.0]
    shares = sorted(min(max(x, 0.0), 1.0) for x in cuts)
    deepest = -np.inf
    for a, b in pairwise(shares):
        middle = (start + (a + b) / 2.0 * way)[:2]
        if (middle >= low).all() and (middle <= high).all():
            deepest = max(deepest, -float(min(start[2] + a * way[2], start[2] + b * way[2])))
    return deepest
