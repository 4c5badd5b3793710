"""A program begun again at a line: what was in force ahead of it, and a way to it from where jobs start."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.errors import Fault, InputError
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.words import group_of, groups
from hexpost.moves.frames.book import FrameBook, start_frame
from hexpost.moves.model import AFTER, FEED_RAPID, FEED_TIP, LINE, Events, Frame, Interpretation, Moves
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

APPROACH_LINE = 0
"""The line of the rapids of the approach, which no line of the program asks for."""
SLOW_MM = 50.0
"""The last part of the way, along the axis of the tool, is made at a feed."""
SLOW_FEED = 1000.0 / SECONDS_PER_MINUTE
"""That feed, mm/s, where the block does not have a lower one."""
COOLANT_OFF, TOOL_CHANGE = 9, 6
_STEEP = 0.2
"""Cosine of the tilt beyond which the axis of the tool leads to no height of use."""
_SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Restart:
    """Where a job begins again: ``line`` is the first that runs; ``pose`` (6,) of the tip in ``frame``, mm and rad.

    ``start`` (6,) is where the job starts: the gauge point in the base frame, mm and rad.
    """

    line: int
    frame: Frame
    pose: Array
    start: Array

    @property
    def settings(self) -> dict[str, object]:
        """Return what the manifest says of it."""
        return {
            "first_line": self.line,
            "offset": self.frame.offset,
            "tool": self.frame.tool,
            "tool_length_mm": self.frame.length,
            "pose_mm_deg": _shown(self.pose),
            "start_gauge_point_mm_deg": _shown(self.start),
        }

    @property
    def notice(self) -> str:
        """Return the sentences that say how the job begins."""
        names = "XYZABC"
        start, pose = (
            " ".join(f"{n}{x:.6g}" for n, x in zip(names, _shown(p), strict=True)) for p in (self.start, self.pose)
        )
        return (
            f"begun again at line {self.line}: T{self.frame.tool} in the spindle, gauge point at {start} in the base "
            f"frame; rapid at that height, then along the axis of the tool, the last {SLOW_MM:g} mm at a feed, to "
            f"{pose} in {self.frame.offset}, where the line before ends"
        )


def restarted(
    meaning: Interpretation, line: int, machine: Machine, tools: Tools, setup: Setup, *, name: str
) -> tuple[Interpretation, Restart]:
    """Return the meaning of a program from ``line`` on (the first time it runs), and where it begins.

    A line that neither moves nor switches anything stands for the next one that does. What is dropped is not lost:
    offsets, lengths and modal words are in the moves already; tool, spindle, coolant and override are given again ahead
    of the first move. The way there starts like that of any job: rapid at that height until the tool is over the place,
    then along its axis, at last at a feed (common practice in workshops, no source).

    Raises
    ------
    InputError
        Nothing moves from that line on.
    """
    moves, events = meaning.moves, meaning.events
    first, k, e = _cut(moves, events, line)
    if k >= moves.count:
        what = f"expected a line from which on something moves, found line {line}"
        raise InputError([Fault(file=name, what=f"--from-line: {what}", code="from-line")])
    number, pose = _place(moves, k)
    frame = moves.frames[number]
    book = FrameBook(machine, tools, setup)
    begin = book.seen(meaning.start, start_frame(machine), frame, pose[3:])
    places = _approach(begin, pose, frame, machine, float(meaning.start[2]))
    before = int(moves.line[k - 1]) if k else APPROACH_LINE
    events = _again(events, frame.tool, e, places.shape[1] - 1 - k)
    way = places.shape[1] - 1
    written = meaning.written.moved(np.concatenate((np.zeros(k, np.int64), np.arange(way, way + moves.count - k + 1))))
    moves = _joined(moves, k, places, (number, before))
    return replace(meaning, moves=moves, events=events, written=written), Restart(
        line=first, frame=frame, pose=pose, start=meaning.start
    )


def _cut(moves: Moves, events: Events, line: int) -> tuple[int, int, int]:
    """Return the first line that runs, and the first move and event that are kept."""
    later = [x[x >= line].min() for x in (moves.line, events.line) if (x >= line).any()]
    if not later:
        return line, moves.count, len(events.line)
    first = int(min(later))
    k, e = moves.count, len(events.line)
    moved, said = np.flatnonzero(moves.line == first), np.flatnonzero(events.line == first)
    if moved.size:
        k = int(moved[0])
    if said.size:
        e = int(said[0])
        k = min(k, int(events.move[e]) + (events.rule[e] == AFTER))
    e = min(e, int(np.searchsorted(events.move, k)))
    return first, k, e


def _place(moves: Moves, k: int) -> tuple[int, Array]:
    """Return frame and pose (6,) in which move ``k`` begins: in work coordinates also ahead of machine coordinates."""
    here = int(moves.frame[k])
    before = int(moves.frame[k - 1]) if k else here
    frames = moves.frames
    if frames[here].offset == "G53" and frames[before].offset != "G53" and frames[before].tool == frames[here].tool:
        return before, moves.end[:, k - 1]
    return here, moves.start[:, k]


def _approach(begin: Array, end: Array, frame: Frame, machine: Machine, height: float) -> Array:
    """Return the places (6, m) of the way from ``begin`` to ``end``: over it at a height of the gauge point, then down.

    ``height`` in the base frame, mm.
    """
    tool = pose_matrix(end, machine.tilt_order)[:3, 2]
    axis = frame.base_from_work[:3, :3] @ tool
    tip = frame.base_from_work[:3, :3] @ end[:3] + frame.base_from_work[:3, 3]
    rise = (height - float(tip[2] + frame.length * axis[2])) / float(axis[2]) if axis[2] > _STEEP else SLOW_MM
    places = [begin]
    for up in (max(rise, 0.0), min(max(rise, 0.0), SLOW_MM), 0.0):
        place = end.copy()
        place[:3] += up * tool
        if np.abs(place - places[-1]).max() > _SAME:
            places.append(place)
    places[-1] = end.copy()
    return np.stack(places, axis=1)


def _joined(moves: Moves, k: int, places: Array, said: tuple[int, int]) -> Moves:
    """Return the moves from ``k`` on, the way to them ahead; ``said`` are its frame and the line of its last part."""
    number, before = said
    way = places.shape[1] - 1
    size = np.sqrt((np.diff(places[:3]) ** 2).sum(axis=0))
    slow = (np.arange(way) == way - 1) & (size > 0.0) & (size <= SLOW_MM + _SAME)
    feed = min(SLOW_FEED, float(moves.feed[k])) if moves.feed_mode[k] == FEED_TIP else SLOW_FEED
    arcs = moves.arcs
    kept = arcs.move >= k
    return Moves(
        kind=np.concatenate([np.full(way, LINE, np.uint8), moves.kind[k:]]),
        start=np.concatenate([places[:, :-1], moves.start[:, k:]], axis=1),
        end=np.concatenate([places[:, 1:], moves.end[:, k:]], axis=1),
        feed=np.concatenate([np.where(slow, feed, np.inf), moves.feed[k:]]),
        feed_mode=np.concatenate([np.where(slow, FEED_TIP, FEED_RAPID).astype(np.uint8), moves.feed_mode[k:]]),
        stop=np.concatenate([np.ones(way, np.bool_), moves.stop[k:]]),
        frame=np.concatenate([np.full(way, number, moves.frame.dtype), moves.frame[k:]]),
        line=np.concatenate([np.where(slow, before, APPROACH_LINE).astype(moves.line.dtype), moves.line[k:]]),
        arcs=arcs.take(kept, move=arcs.move[kept] - k + way),
        frames=moves.frames,
    )


def _again(events: Events, tool: int, e: int, shift: int) -> Events:
    """Return the events from ``e`` on, ``shift`` moves on, those still in force ahead of the first move."""
    early = _in_force(events, tool, e)
    move = np.concatenate([np.full(len(early), -1), events.move[e:] + shift])
    chosen = np.concatenate([early, np.arange(e, len(events.line))])
    out = events.take(chosen, move=move.astype(np.int64))
    out.rule[: len(early)] = AFTER
    out.pause[: len(early)] = 0.0
    return out


def _in_force(events: Events, tool: int, e: int) -> Ints:
    """Return the events before ``e`` that must be given again: tool, its change, what is selected, speed, M words."""
    letter, value = events.letter[:e], events.value[:e]
    out: list[int] = []

    def last(which: Ints) -> list[int]:
        found: list[int] = which[-1:].tolist()
        return found

    change = last(np.flatnonzero((letter == ord("M")) & (value == TOOL_CHANGE)))
    if change and tool:
        out += last(np.flatnonzero((letter[: change[0] + 1] == ord("T")) & (value[: change[0] + 1] == tool)))
        out += change
    out += [i for i in last(np.flatnonzero(letter == ord("T"))) if i not in out]
    out += last(np.flatnonzero(letter == ord("S")))
    group = np.where(letter == ord("M"), group_of("M", value), 0)
    for number, name in enumerate(groups("M"), 1):
        own = np.flatnonzero(group == number)
        if name == "coolant":
            off = own[value[own] == COOLANT_OFF]
            own = own[own >= off[-1]] if off.size else own
            out += sorted(int(own[value[own] == code][-1]) for code in np.unique(value[own]))
        elif name in ("spindle", "override"):
            out += last(own)
    return np.array(out, dtype=np.int64)


def _shown(pose: Array) -> list[float]:
    return [round(float(x), 6) for x in (*pose[:3], *(pose[3:] * DEG_PER_RAD))]
