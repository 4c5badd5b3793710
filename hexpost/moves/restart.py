"""A program begun again at a line: what was in force ahead of it, and a way to it from where jobs start."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Ints, among, distinct
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.words import group_of, groups
from hexpost.moves.cut import RestartPoint
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
SPINDLE_AND_COOLANT = (13, 14)
_STEEP = 0.2
"""Cosine of the tilt beyond which the axis of the tool leads to no height of use."""
_SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """What a job that is begun again leaves out: blocks with words, seconds as programmed, tools, holes of cycles.

    ``tools`` are those that the whole program moves and this job does not.
    """

    blocks: int
    seconds: float
    tools: tuple[int, ...]
    holes: int

    @property
    def document(self) -> dict[str, object]:
        """Return it as the manifest and the report say it."""
        return {"blocks": self.blocks, "time_s": self.seconds, "tools": list(self.tools), "holes": self.holes}

    @property
    def sentence(self) -> str:
        """Return it in words."""
        holes = f", {self.holes:,} holes" if self.holes else ""
        tools = f", all that is done with {' '.join(f'T{t}' for t in self.tools)}" if self.tools else ""
        return f"left out: {self.blocks:,} blocks, {self.seconds:.1f} s{holes}{tools}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Restart:
    """Where a job begins again: ahead of ``block`` (line, run, runs), with the tip at ``pose`` (6,) in ``frame``.

    In mm and rad; ``start`` (6,) is where the job starts: the gauge point in the base frame, mm and rad.
    """

    block: tuple[int, int, int]
    frame: Frame
    pose: Array
    start: Array
    left_out: LeftOut

    @property
    def manifest(self) -> dict[str, object]:
        """Return what the manifest says of it; from line and run a proof begins again."""
        return {"from_line": self.block[0], "from_run": self.block[1], "restart": self.settings}

    @property
    def settings(self) -> dict[str, object]:
        """Return what manifest and report say of it."""
        return {
            **dict(zip(("first_line", "run", "runs"), self.block, strict=True)),
            "offset": self.frame.offset,
            "tool": self.frame.tool,
            "tool_length_mm": self.frame.length,
            "pose_mm_deg": _shown(self.pose),
            "start_gauge_point_mm_deg": _shown(self.start),
            "left_out": self.left_out.document,
        }

    @property
    def notice(self) -> str:
        """Return the sentences that say how the job begins."""
        names = "XYZABC"
        start, pose = (
            " ".join(f"{n}{x:.6g}" for n, x in zip(names, _shown(p), strict=True)) for p in (self.start, self.pose)
        )
        line, run, runs = self.block
        which = f" (run {run:,} of {runs:,})" if runs > 1 else ""
        tool = f"T{self.frame.tool}" if self.frame.tool else "no tool"
        return (
            f"begun again at line {line}{which}, {self.left_out.sentence}; {tool} in the spindle, gauge point at "
            f"{start} in the base frame; rapid at that height, then along the axis of the tool, the last "
            f"{SLOW_MM:g} mm at a feed, to {pose} in {self.frame.offset}, where the block before ends"
        )


def restarted(
    meaning: Interpretation, machine: Machine, tools: Tools, setup: Setup, seconds: float = 0.0
) -> tuple[Interpretation, Restart]:
    """Return the meaning of a program from its cut on, and where it begins; ``seconds`` are those left out.

    What is dropped is not lost: offsets, lengths and modal words are in the moves already; tool, spindle, coolant and
    override are given again ahead of the first move. The way there starts like that of any job: rapid at that height
    until the tool is over the place, then along its axis, at last at a feed (common practice in workshops, no source).
    """
    moves, events, cut = meaning.moves, meaning.events, meaning.cut
    assert cut is not None
    k, frame = cut.moves, moves.frames[cut.frame]
    book = FrameBook(machine, tools, setup)
    last = (moves.end[:, k - 1], moves.frames[moves.frame[k - 1]]) if k else (meaning.start, start_frame(machine))
    pose = book.seen(last[0], last[1], frame, last[0][3:])
    begin = book.seen(meaning.start, start_frame(machine), frame, pose[3:])
    places = _approach(begin, pose, frame, machine, float(meaning.start[2]))
    way = places.shape[1] - 1
    before = int(moves.line[k - 1]) if k else APPROACH_LINE
    written = meaning.written.moved(np.concatenate((np.zeros(k, np.int64), np.arange(way, way + moves.count - k + 1))))
    tail = moves.frame[k:]
    done, kept = ({moves.frames[i].tool for i in distinct(part).tolist()} for part in (moves.frame[:k], tail))
    out = LeftOut(
        blocks=cut.left_out[0],
        seconds=round(seconds, 3),
        tools=tuple(sorted(done - kept - {0, cut.tool})),
        holes=cut.left_out[1],
    )
    restart = Restart(block=cut.block, frame=frame, pose=pose, start=meaning.start, left_out=out)
    events = _again(events, cut, way - k)
    moves = _joined(moves, k, places, (cut.frame, before))
    return replace(meaning, moves=moves, events=events, written=written, cut=None), restart


def head(meaning: Interpretation) -> Interpretation:
    """Return the part of a program ahead of its cut, which ends at rest."""
    cut = meaning.cut
    assert cut is not None
    moves = meaning.moves.part(0, cut.moves)
    stop = moves.stop.copy()
    stop[-1:] = True
    return replace(meaning, moves=replace(moves, stop=stop), events=meaning.events.take(slice(0, cut.events)))


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


def _again(events: Events, cut: RestartPoint, shift: int) -> Events:
    """Return the events from a cut on, ``shift`` moves on, those still in force ahead of the first move."""
    e = cut.events
    early = _in_force(events, cut.tool, e)
    move = np.concatenate([np.full(len(early), -1), events.move[e:] + shift])
    chosen = np.concatenate([early, np.arange(e, len(events.line))])
    out = events.take(chosen, move=move.astype(np.int64))
    out.rule[: len(early)] = AFTER
    out.pause[: len(early)] = 0.0
    return out


def _in_force(events: Events, tool: int, e: int) -> Ints:
    """Return the events before ``e`` that must be given again, as a machine can follow them.

    That is the T of the tool in the spindle, its M06, the T selected since, then S, spindle, coolant and override.
    """
    letter, value = events.letter[:e], events.value[:e]
    out: list[int] = []

    def last(which: Ints) -> list[int]:
        found: list[int] = which[-1:].tolist()
        return found

    change = last(np.flatnonzero((letter == ord("M")) & (value == TOOL_CHANGE)))
    called = np.flatnonzero((letter == ord("T")) & (value == tool))
    if change and tool and called.size:
        ahead = called[called < change[0]]
        out += [*last(ahead if ahead.size else called[:1]), *change]
    out += [i for i in last(np.flatnonzero(letter == ord("T"))) if i not in out]
    out += last(np.flatnonzero(letter == ord("S")))
    group = np.where(letter == ord("M"), group_of("M", value), 0)
    for number, name in enumerate(groups("M"), 1):
        own = np.flatnonzero(group == number)
        if name == "coolant":
            off = own[value[own] == COOLANT_OFF]
            own = own[own >= off[-1]] if off.size else own
            out += sorted(int(own[value[own] == code][-1]) for code in distinct(value[own]))
        elif name in ("spindle", "override"):
            out += _wet(value, own)
            out += last(own)
    return np.array(out, dtype=np.int64)


def _wet(value: Array, own: Ints) -> list[int]:
    """Return the last of the spindle words ``own`` that has put coolant on, where another has followed it."""
    wet = own[among(value[own], SPINDLE_AND_COOLANT)]
    off = np.flatnonzero(value == COOLANT_OFF)
    return [] if not wet.size or wet[-1] == own[-1] or (off.size and off[-1] > wet[-1]) else [int(wet[-1])]


def _shown(pose: Array) -> list[float]:
    return [round(float(x), 6) for x in (*pose[:3], *(pose[3:] * DEG_PER_RAD))]
