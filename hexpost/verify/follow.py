"""Which move of the program each row is on, in order: by its line, and within a line by the way that was travelled."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hexpost.arrays import Array, Flags, Ints, distinct
from hexpost.machine.model import Machine
from hexpost.moves.model import Events, Moves
from hexpost.verify.axis import Axis
from hexpost.verify.corners import Zones, zones
from hexpost.verify.model import Faults
from hexpost.verify.pose import FIT, FoundPoses, Tracker
from hexpost.verify.route import Stretch
from hexpost.verify.rows import Rows
from hexpost.verify.struts import StrutLengths
from hexpost.verify.within import on_arcs, past_arcs, travelled, walked
from hexpost.voice import in_line

ROUNDING_MM = 0.5e-6
"""A length in the table is off by at most half of its last decimal."""
_SPARE, _DUST = 1.3, 5e-9
"""Gains change a little between knots; a path is computed with some more digits than it is told."""
_YAW_ROUNDS, _SAME_YAW = 30, 1e-13
"""Under a free yaw the angle about the tool is that of the program's place, which is found by the other angles."""
_STILL_MM_S, _STILL_RAD_S = 1e-4, 1e-6
"""A tool slower than this rests, where the platform turns about it and the speeds of the struts do not say so."""
_ABOUT = 8
"""Moves about those of some rows that are looked at, too: a chain is told by its neighbours."""
_BRIDGE = 100_000
"""Groups of moves that are looked through for the next line: moves may be shorter than a tick."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """Consecutive rows in one frame, each on a move: ``first`` is the number of the first one.

    The first row was the last one before, if ``old``. ``q``, ``rate`` (6, n): the program's coordinates and their
    rates; ``poses``: of the new rows alone. ``move`` (n,) counts from the start of ``stretch``, ``share`` is the share
    of it that is done; ``rest`` (n,): all speeds and accelerations are 0; ``noise`` (2, n): what the decimals of the
    table may do to tip [mm] and tilt [rad]. ``at``: where the new rows are among those of the batch. Of the new rows
    alone: ``dwelt``, those whose line moves nothing; ``several``, those whose line has several moves.
    """

    first: int
    old: int
    frame: int
    at: slice
    struts: StrutLengths
    poses: FoundPoses
    q: Array
    rate: Array
    stretch: Stretch
    zones: Zones
    move: Ints
    share: Array
    rest: Flags
    noise: Array
    dwelt: Flags
    several: Flags

    @property
    def moves(self) -> Ints:
        """Return the moves (m,) of the new rows, counted over the program."""
        return self.move[self.old :] + self.stretch.low


@dataclass(slots=True)
class _State:
    """Where the rows have come to: group, move and share of the last one, and its coordinates."""

    group: int = 0
    move: int = 0
    share: float = 0.0
    stops: int = 0
    moving: bool = False
    placed: Placed | None = None


class Follower:
    """Gives every row its move. Moves of one line and one frame that follow each other are a group."""

    def __init__(self, moves: Moves, events: Events, machine: Machine, period: float, *, free_yaw: bool) -> None:
        self.moves, self.machine, self._period = moves, machine, period
        line, frame = moves.line, moves.frame
        new = np.append(True, (line[1:] != line[:-1]) | (frame[1:] != frame[:-1]))[: len(line)]
        self._first = np.append(np.flatnonzero(new), len(line)).astype(np.int32)
        self._lines = line[self._first[:-1]].astype(np.int64)
        self._dwells = distinct(events.line[events.pause > 0.0])
        self._axis = Axis(machine.tilt_order) if free_yaw else None
        self._struts: tuple[int, StrutLengths] | None = None
        self._tracker: Tracker | None = None
        self._state = _State()
        self.faults = Faults()
        self.lost = Faults()

    def pieces(self, rows: Rows) -> Iterator[Placed]:
        """Yield the new rows, cut where the frame changes; rows whose poses are not found are left out."""
        new = rows.new
        rest: Flags = ~np.logical_or(rows.speed[:, new].any(axis=0), rows.acceleration[:, new].any(axis=0))
        group, dwelt = self._groups(rows, rest)
        frame = self.moves.frame[self._first[group]]
        edges = [0, *(np.flatnonzero(frame[1:] != frame[:-1]) + 1).tolist(), len(group)]
        for a, b in pairwise(edges):
            placed = self._piece(rows, slice(a, b), group, rest, dwelt)
            if placed is not None:
                yield placed

    def _groups(self, rows: Rows, rest: Flags) -> tuple[Ints, Flags]:
        """Return the group of each new row (n,); and which rows stay in theirs, for their line moves nothing."""
        line = rows.line[rows.new]
        cut = np.append(0, np.flatnonzero(line[1:] != line[:-1]) + 1)
        told, g = line[cut], self._state.group
        dwelt = np.zeros(len(line), dtype=bool)
        for ahead in (0, 1):
            if np.array_equal(self._lines[g + ahead : g + ahead + len(told)], told):
                last = g + ahead + len(told) - 1
                if (self._lines[last + 1 : last + 2] != told[-1]).all():
                    self._state.group, self._state.moving = last, not rest[-1]
                    return np.repeat(np.arange(g + ahead, last + 1), np.diff(np.append(cut, len(line)))), dwelt
        out = np.empty(len(line), dtype=np.int64)
        for a, b, number in zip(cut, [*cut[1:], len(line)], told.tolist(), strict=True):
            dwelt[a:b] = self._next(number, rows.first + rows.old + int(a))
            self._within(out[a:b], number, rest[a:b])
        return out, dwelt

    def _next(self, line: int, row: int) -> bool:
        """Go on to the next group of a line; return whether there is none, which is so for dwells alone."""
        g = self._state.group
        ahead = np.flatnonzero(self._lines[g : g + _BRIDGE] == line)
        if len(ahead):
            if ahead[0]:
                self._state.group, self._state.stops = g + int(ahead[0]), 0
            return False
        if line not in self._dwells:
            self.faults.add(f"row {row}: line {line} is not that of a move or dwell that comes next")
        return True

    def _within(self, out: Ints, line: int, rest: Flags) -> None:
        """Put groups into ``out`` (n,): a line may go on in another frame once all stops in the one before are made."""
        state, begin = self._state, 0
        while (self._lines[state.group : state.group + 2] == line).sum() == 2:
            low, high = self._first[state.group : state.group + 2]
            wanted = int(np.count_nonzero(self.moves.stop[low:high]))
            moving = np.append(state.moving, ~rest[begin:-1]) if begin < len(rest) else np.zeros(0, dtype=bool)
            came = np.flatnonzero(rest[begin:] & moving)
            if len(came) + state.stops < wanted or not len(rest[begin:]):
                state.stops += len(came)
                break
            after = begin + (int(came[wanted - state.stops - 1]) if wanted > state.stops else -1) + 1
            leaves = np.flatnonzero(~rest[after:])
            if not len(leaves):
                state.stops = wanted
                break
            end = after + int(leaves[0])
            out[begin:end] = state.group
            state.group, state.stops, state.moving, begin = state.group + 1, 0, False, end
        out[begin:] = state.group
        if len(rest):
            state.moving = not rest[-1]

    def _piece(self, rows: Rows, at: slice, group: Ints, rest: Flags, dwelt: Flags) -> Placed | None:
        """Return rows of one frame on their moves; ``None`` where no pose is found."""
        columns = slice(rows.old + at.start, rows.old + at.stop)
        lengths, speeds = rows.length[:, columns], rows.speed[:, columns]
        low, high = int(self._first[group[at.start]]), int(self._first[group[at.stop - 1] + 1])
        frame = int(self.moves.frame[low])
        tracker, fresh = self._tracked(frame, lengths, low)
        poses = tracker.follow(lengths)
        first = rows.first + rows.old + at.start
        bad = np.flatnonzero(~poses.found)
        if len(bad):
            self.lost.add(
                f"row {first + bad[0]}, {in_line(rows.line[columns][bad[0]])}: its lengths fit no pose nearby"
            )
            self._state.placed = self._tracker = None
            self._state.move, self._state.share = low, 0.0
            return None
        rates = poses.rates(speeds, exact=self._axis is not None)
        q, rate = poses.q, rates
        stretch, area = self._stretch(min(low, self._state.move), high, tracker.struts)
        near = np.repeat(stretch.start[low - stretch.low, 3:, None], q.shape[1], axis=1)
        noise = _noise(poses, 1.0 if self._axis is None else 4.0)
        before = None if fresh else self._state.placed
        old = int(before is not None)
        still = np.concatenate([before.rest[-1:] if before is not None else rest[:0], rest[at]])
        if before is not None:
            noise = np.concatenate([before.noise[:, -1:], noise], axis=1)
        for _ in range(_YAW_ROUNDS):
            if self._axis is not None:
                q, rate = self._axis.of(poses.q, rates, near)
                still[old:] = _stands(rate)
            if before is not None:
                q, rate = (np.concatenate(x, axis=1) for x in ((before.q[:, -1:], q), (before.rate[:, -1:], rate)))
            move, share = self._places((stretch, area), q, rate, still, group[at])
            last = near
            near = stretch.start[move[old:], 3:].T + stretch.delta[move[old:], 3:].T * share[old:]
            if self._axis is None or not np.abs(near[2] - last[2]).max() > _SAME_YAW:
                break
        placed = Placed(
            first=first - old, old=old, frame=frame, at=at, struts=tracker.struts, poses=poses, q=q, rate=rate,
            stretch=stretch, zones=area, move=move, share=share, rest=still, noise=noise, dwelt=dwelt[at],
            several=self._first[group[at] + 1] - self._first[group[at]] > 1,
        )  # fmt: skip
        self._state.placed = placed
        self._state.move, self._state.share = int(move[-1]) + stretch.low, float(share[-1])
        return placed

    def _tracked(self, frame: int, lengths: Array, move: int) -> tuple[Tracker, bool]:
        """Return the tracker of a frame, and whether it begins with these rows."""
        if self._struts is None or self._struts[0] != frame:
            self._struts = frame, StrutLengths(self.machine, self.moves.frames[frame])
            self._tracker = None
        if self._tracker is not None:
            return self._tracker, False
        self._tracker = Tracker(self._struts[1], lengths[:, 0], self.moves.start[:, move])
        return self._tracker, True

    def _stretch(self, low: int, high: int, struts: StrutLengths) -> tuple[Stretch, Zones]:
        free, limits = self._axis is not None, self.machine.tool_tip
        stretch = Stretch(self.moves, max(low - _ABOUT, 0), min(high + _ABOUT, self.moves.count), limits, free_yaw=free)
        return stretch, zones(stretch, self.machine.tool_tip, struts.angles)

    def _places(
        self, where: tuple[Stretch, Zones], q: Array, rate: Array, rest: Flags, group: Ints
    ) -> tuple[Ints, Array]:
        """Return the moves (n,), counted from the stretch, and the shares done; the first row is known, if old."""
        s = where[0]
        old = q.shape[1] - len(group)
        move = np.empty(q.shape[1], dtype=np.int64)
        move[old:] = np.maximum(self._first[group] - s.low, 0)
        last = np.empty_like(move)
        last[old:] = self._first[group + 1] - 1 - s.low
        if old:
            here = self._state.move - s.low
            on = (move[1:] <= here) & (here <= last[1:])  # the line goes on from the batch before
            move[1:][on] = move[0] = here
            last[0] = last[1] if on[:1].any() else here
        if (last > move).any():
            gone = travelled(s, q, rate, self._period)
            known = self._state.share if old else None
            move = walked(where, q, (move, last), gone, rest=rest, known=known)
        share = s.share(q, move)
        at_end = rest & (np.arange(len(move)) > 0)
        known = self._state.share if old else None
        on_arcs(where, (q, rate), move, share, at_end=at_end, known=known, period=self._period)
        over = past_arcs(where, q, move, share, last)
        if len(over):
            move[over] += 1
            share[over] = s.share(q[:, over], move[over])
            on_arcs(where, (q, rate), move, share, at_end=at_end, known=known, period=self._period)
        if old:
            move[0], share[0] = self._state.move - s.low, self._state.share
        return move, share


def _stands(rate: Array) -> Flags:
    """Return where (n,) the tool rests while the platform may turn about it."""
    tip, tilt = np.sqrt((rate[:3] ** 2).sum(axis=0)), np.sqrt((rate[3:] ** 2).sum(axis=0))
    out: Flags = (tip <= _STILL_MM_S) & (tilt <= _STILL_RAD_S)
    return out


def _noise(poses: FoundPoses, more: float) -> Array:
    """Return what the decimals of lengths may do to tip and tilt (2, n)."""
    gains = poses.gains
    tip, tilt = np.sqrt((gains[:3] ** 2).sum(axis=0)), np.sqrt((gains[3:] ** 2).sum(axis=0))
    out: Array = np.stack([tip, tilt * more]) * (_SPARE * (ROUNDING_MM + FIT)) + np.array([[_DUST], [_DUST * 1e-2]])
    return out
