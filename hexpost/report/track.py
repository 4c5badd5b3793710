"""The rows of a job that its page keeps: every number of a moment, exact, in a size that does not grow with the job."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines, distinct
from hexpost.audit.model import Charted
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, LINE, Frame, Moves
from hexpost.setpoints.model import Setpoints
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

WAY = 3000
"""Points of the tool path that are drawn, evenly in time; the ends of up to ``ENDS`` moves come on top."""
ROWS = 600
"""Rows that are kept evenly in time; ends of moves, findings and the worst of each column of a chart come on top."""
ENDS = 300
TIP, TILT, INVERSE, RAPID = range(4)
"""How a feed is written: mm/min, deg/min, 1/min, not at all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Track(Columns):
    """Rows of a job, shape (n,), rising in time; ``tick`` is the row of the table.

    ``pose`` (6, n): x y z a b c in the frame ``frame`` of the moves, mm and rad. ``tip`` (3, n) in the base frame.
    ``length`` (6, n) in mm. ``feed``: of the tip in mm/min, in deg/min where a move only turns; ``asked``: programmed,
    as ``kind`` says. ``use`` (6, n): by each strut of its most used limit, ``what`` (6, n): which of the charted ones.
    ``full``: all numbers are on the page; ``way``: a point of the drawn path. ``frames`` are those of the moves.
    """

    tick: Ints
    line: Lines
    frame: Ints
    pose: Array
    tip: Array
    length: Array
    feed: Array
    asked: Array
    kind: Codes
    use: Array
    what: Codes
    full: Flags
    way: Flags
    frames: tuple[Frame, ...]


def gather(found: Iterable[tuple[Setpoints, Flags]], moves: Moves, charted: Sequence[Charted]) -> Track | None:
    """Return the rows that were asked for, neither ``full`` nor ``way``; ``None`` for none."""
    parts = [_part(setpoints, moves, charted).take(wanted) for setpoints, wanted in found]
    return Track.joined(parts) if parts else None


def way_ticks(last: int, ends: Ints) -> Ints:
    """Return the ticks of the path that is drawn, of a job with the last tick ``last``."""
    return _unique(np.linspace(0, last, WAY), ends)


def row_ticks(last: int, ends: Ints) -> Ints:
    """Return the ticks of the rows that are kept whatever is found."""
    return _unique(np.linspace(0, last, ROWS), ends)


def merged(parts: Iterable[Track | None]) -> Track | None:
    """Return the rows of some tracks in the order of time; what is in several of them is kept once."""
    known = [part for part in parts if part is not None]
    if not known:
        return None
    whole = Track.joined(known)
    order = np.argsort(whole.tick, kind="stable")
    whole = whole.take(order)
    first = np.flatnonzero(np.append(True, whole.tick[1:] != whole.tick[:-1]))
    full, way = (np.logical_or.reduceat(flags, first) for flags in (whole.full, whole.way))
    return whole.take(first, full=full, way=way)


def worst_of(track: Track, column: Ints) -> Track:
    """Return of rows with the columns (n,) of a chart, rising, the one with the most use in each column."""
    most = track.use.max(axis=0)
    order = np.lexsort((-track.tick, most, column))
    last = np.append(column[order][1:] != column[order][:-1], True)
    return track.take(np.sort(order[last]))


def _unique(even: Array, ends: Ints) -> Ints:
    return distinct(np.concatenate([even.round().astype(np.int64), ends]))


def _part(setpoints: Setpoints, moves: Moves, charted: Sequence[Charted]) -> Track:
    """Return all rows of a batch."""
    poses = setpoints.poses
    n, move = len(poses.tick), np.maximum(poses.move, 0)
    mode = moves.feed_mode[move]
    still = (moves.start[:3, move] == moves.end[:3, move]).all(axis=0) & (moves.kind[move] == LINE)
    turning = (mode == FEED_TILT) | still
    tip, tilt = (np.sqrt((x**2).sum(axis=0)) for x in (poses.rate[:3], poses.rate[3:] * DEG_PER_RAD))
    kind = np.where(turning, TILT, TIP)
    kind = np.where(mode == FEED_INVERSE, INVERSE, np.where(mode == FEED_RAPID, RAPID, kind)).astype(np.uint8)
    scale = SECONDS_PER_MINUTE * np.where(mode == FEED_TILT, DEG_PER_RAD, 1.0)
    shares = [np.zeros((6, n)) if (x := one.measure(setpoints)) is None else _shares(one, x) for one in charted]
    uses = np.array(shares).reshape(-1, 6, n)
    m = moves.frames[poses.frame].base_from_work
    return Track(
        tick=poses.tick,
        line=poses.line,
        frame=np.full(n, poses.frame, dtype=np.int64),
        pose=poses.pose,
        tip=m[:3, :3] @ poses.pose[:3] + m[:3, 3:],
        length=setpoints.length,
        feed=np.where(turning, tilt, tip) * SECONDS_PER_MINUTE,
        asked=np.where(mode == FEED_RAPID, 0.0, moves.feed[move]) * scale,
        kind=kind,
        use=uses.max(axis=0),
        what=uses.argmax(axis=0).astype(np.uint8),
        full=np.zeros(n, dtype=np.bool_),
        way=np.zeros(n, dtype=np.bool_),
        frames=moves.frames,
    )


def _shares(one: Charted, values: Array) -> Array:
    """Return values (6, n) of a limit as shares of it."""
    middle, half = ((one.high + one.low) / 2.0)[:, None], ((one.high - one.low) / 2.0)[:, None]
    out: Array = np.abs(values - middle) / half
    return out


class DrawnWay:
    """Follows the samples along a drawn path: how far they leave it, and the most use of each piece of it.

    ``tick`` (g,) and ``tip`` (3, g) in the base frame are its points.
    """

    def __init__(self, tick: Ints, tip: Array, frames: Sequence[Array]) -> None:
        self._tick, self._tip, self._frames = tick, tip, frames
        self._square = 0.0
        self.use: Array = np.zeros(len(tick))

    @property
    def off(self) -> float:
        """Return how far samples are from the piece of the path that is drawn for their time, at most, mm."""
        return float(np.sqrt(self._square))

    def add(self, setpoints: Setpoints, used: Array, group: int) -> None:
        """Take the next batch; ``used`` (m,): the use of each ``group`` of its samples."""
        poses = setpoints.poses
        m = self._frames[poses.frame]
        place = m[:3, :3] @ poses.pose[:3] + m[:3, 3:]
        to = np.searchsorted(self._tick, poses.tick)
        start = self._tip[:, np.maximum(to - 1, 0)]
        way = self._tip[:, to] - start
        place -= start
        size = np.einsum("ij,ij->j", way, way)
        share = np.clip(np.einsum("ij,ij->j", place, way) / np.where(size > 0.0, size, 1.0), 0.0, 1.0)
        place -= way * share
        self._square = max(self._square, float(np.einsum("ij,ij->j", place, place).max()))
        np.maximum.at(self.use, to[::group], used)
