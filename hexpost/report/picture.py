"""What the charts and views of a report show, gathered while the samples stream by, whatever their number."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, distinct
from hexpost.audit.model import Charted, Followed
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, FEED_TIP, Moves
from hexpost.report.curves import Curves, Drawn, curves_of
from hexpost.report.track import DrawnWay, Track
from hexpost.setpoints.model import Setpoints
from hexpost.shelf import windows

WIDE = 420
"""Cells across the wider side of the box."""
_MARGIN = 0.06
_LEAST_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ViewBox:
    """A box in the pallet frame: ``low`` and ``high`` (3,) in mm, and the side of a square cell in mm."""

    low: Array
    high: Array
    cell: float

    @property
    def shapes(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """Return rows and columns of the view from above and of the one from the front."""
        x, y, z = (max(int(np.ceil(s / self.cell)), 1) for s in self.high - self.low)
        return (y, x), (z, x)

    def cells(self, points: Array, up: int, shape: tuple[int, ...]) -> tuple[Flags, Ints]:
        """Return which points (3, n) are in a view (``up`` is the axis that points up in it), and their cells."""
        column = np.floor((points[0] - self.low[0]) / self.cell)
        row = shape[0] - 1 - np.floor((points[up] - self.low[up]) / self.cell)
        inside: Flags = (column >= 0) & (column < shape[1]) & (row >= 0) & (row < shape[0])
        return inside, (row[inside] * shape[1] + column[inside]).astype(np.int64)


def pallet_from_work(moves: Moves, machine: Machine) -> Array:
    """Return the frames of a job (k, 4, 4) seen from the pallet."""
    pallet = np.linalg.inv(pose_matrix(machine.pallet.pose, machine.tilt_order))
    out: Array = np.array([pallet @ f.base_from_work for f in moves.frames]).reshape(-1, 4, 4)
    return out


def cut_box(moves: Moves, frames: Array) -> ViewBox:
    """Return the box around all feed moves (all moves, if there are none), with a margin."""
    cutting: Flags = moves.feed_mode != FEED_RAPID
    if not cutting.any():
        cutting = np.ones(moves.count, dtype=np.bool_)
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    arc = moves.arcs.move
    radius = np.sqrt(((moves.start[:3, arc] - moves.arcs.centre) ** 2).sum(axis=0))
    reach = radius * _square(moves.arcs.axis)
    corners = [(moves.start[:3], cutting, moves.frame), (moves.end[:3], cutting, moves.frame)]
    corners += [(moves.arcs.centre + s * reach, cutting[arc], moves.frame[arc]) for s in (-1.0, 1.0)]
    for points, shown, frame in corners:
        for part in windows(len(frame)):
            for k in distinct(frame[part][shown[part]]):
                mine = points[:, part][:, shown[part] & (frame[part] == k)]
                seen = frames[k][:3, :3] @ mine + frames[k][:3, 3:]
                low, high = np.minimum(low, seen.min(axis=1)), np.maximum(high, seen.max(axis=1))
    if not np.isfinite(low).all():
        low, high = np.zeros(3), np.ones(3)
    size = np.maximum(high - low, _LEAST_MM)
    room = _MARGIN * float(size.max()) + np.maximum(size - (high - low), 0.0) / 2.0
    low, high = low - room, high + room
    return ViewBox(low=low, high=high, cell=float((high - low).max()) / WIDE)


def _square(axis: Codes) -> Array:
    """Return 1 for the two coordinates square to the axes (k,), else 0, shape (3, k)."""
    out: Array = np.ones((3, len(axis)))
    out[axis.astype(np.int64), np.arange(len(axis))] = 0.0
    return out


COLUMNS = 420
"""Columns of a chart: fewer than the pixels it is shown on, so that a peak of one sample stays in sight."""
FINE = 4 * COLUMNS
"""Columns that are kept of a chart, for those who zoom into it."""
GROUP = 16
"""Samples of a job long enough that are looked at together: a power of two."""
EDGES = (0.5, 0.75, 0.9, 1.0)
"""Shares of the limits between the levels of the tool path: level 1 is the lowest, the last is beyond a limit."""
MOST_STEPS = 24
"""Cells that a straight piece between two groups is drawn over at most."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """Envelopes and views of a job, in ``w`` fine columns of equal time.

    ``low`` and ``high`` (q, 6, w): smallest and largest value of each of the ``charted`` limits, by strut and column.
    ``use`` (w,): the largest use of any limit of a strut in each column. ``views``: levels of use in cells (rows from
    the top, columns), 0 where the tool never was: from above (x to the right, y up), and from the front (x to the
    right, z up). ``box``: what they show. ``feed``: smallest and largest feed of the tip (w,) in each column, mm/s;
    ``asked`` (w,): the largest that is programmed there, nan for none. ``peak`` (``COLUMNS``,): the tick of the
    first sample of the ``group`` with the most use, in columns as wide as they are drawn. ``curves``: of the whole
    tool. ``track``: the rows that are kept; ``way``: the path that is drawn of them.
    """

    charted: tuple[Charted, ...]
    until: float
    low: Array
    high: Array
    use: Array
    views: tuple[Codes, Codes]
    box: ViewBox
    feed: tuple[Array, Array]
    asked: Array
    peak: Ints
    group: int
    curves: tuple[Drawn, ...] = ()
    track: Track | None = None
    way: DrawnWay | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    """Where groups of samples lie among columns: columns ``to`` begin at the groups ``new``.

    The groups ``late`` end in the column ``beside``: they count there, too, so that no sample is outside its envelope.
    """

    to: Ints
    new: Ints
    late: Ints
    beside: Ints

    def take(self, ends: Array, values: Array, ufunc: np.ufunc) -> None:
        """Put the extremes of ``values`` (..., m) of the groups into those of the columns, ``ends`` (..., w)."""
        ends[..., self.to] = ufunc(ends[..., self.to], ufunc.reduceat(values, self.new, axis=-1))
        ends[..., self.beside] = ufunc(ends[..., self.beside], values[..., self.late])


class Picture:
    """Takes batches of setpoints in the order of time; ``total`` is the number of samples of the job.

    ``way``: the path that is drawn, which follows the samples, too; so do those ``followed`` along the job.
    """

    def __init__(
        self, total: int, moves: Moves, machine: Machine, charted: Sequence[Charted], *, way: DrawnWay | None = None,
        followed: Sequence[Followed] = (),
    ) -> None:  # fmt: skip
        self._charted = tuple(charted)
        self._total = max(total, 1)
        self._width = min(FINE, self._total)
        self._group = GROUP if self._total >= 4 * GROUP * self._width else 1
        self._period = machine.period
        self._low: Array = np.full((len(charted), 6, self._width), np.inf)
        self._high: Array = np.full((len(charted), 6, self._width), -np.inf)
        self._use: Array = np.zeros(self._width)
        self._feed: Array = np.array([[np.inf], [-np.inf]]) * np.ones(self._width)
        self._asked: Array = np.full(self._width, -np.inf)
        self._peak: Ints = np.full(min(COLUMNS, self._total), -1)
        self._most_used: Array = np.zeros(len(self._peak))
        self._curves = Curves(curves_of(machine, moves, followed, self._total, self._width), self._total, self._width)
        self._moves, self._way = moves, way
        self._frames = pallet_from_work(moves, machine)
        self._box = cut_box(moves, self._frames)
        self._views = tuple(np.zeros(shape, dtype=np.uint8) for shape in self._box.shapes)
        self._last: tuple[int, Array] | None = None

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        tick = setpoints.poses.tick
        if not len(tick):
            return
        cells = self._cells(tick, self._width)
        used = np.zeros(-(-len(tick) // self._group))
        for q, one in enumerate(self._charted):
            values = one.measure(setpoints)
            if values is None:
                continue
            low, high = self._extremes(values)
            cells.take(self._low[q], low, np.minimum)
            cells.take(self._high[q], high, np.maximum)
            np.maximum(used, _share(one, low, high), out=used)
        cells.take(self._use, used, np.maximum)
        self._most(used, tick)
        self._feeds(setpoints, cells)
        self._curves.add(setpoints)
        self._draw(setpoints, used)
        if self._way is not None:
            self._way.add(setpoints, used, self._group)

    def _cells(self, tick: Ints, width: int) -> _Cells:
        """Return where the groups of samples at ticks (n,) lie among ``width`` columns."""
        first = tick[:: self._group]
        column: Ints = first * width // self._total
        end: Ints = np.minimum(first + self._group - 1, tick[-1]) * width // self._total
        new = np.flatnonzero(np.append(True, column[1:] != column[:-1]))
        return _Cells(to=column[new], new=new, late=np.flatnonzero(end != column), beside=end[end != column])

    def _most(self, used: Array, tick: Ints) -> None:
        """Take the most use of each column that is drawn, and where it begins."""
        cells, first = self._cells(tick, len(self._peak)), tick[:: self._group]
        at, new, most = cells.to, cells.new, np.maximum.reduceat(used, cells.new)
        better = (most > self._most_used[at]) | (self._peak[at] < 0)
        hit = np.flatnonzero(used == np.repeat(most, np.diff(np.append(new, len(used)))))
        hit = hit[np.unique(np.searchsorted(new, hit, side="right"), return_index=True)[1]]
        self._peak[at[better]] = first[hit][better]
        self._most_used[at[better]] = most[better]

    def _feeds(self, setpoints: Setpoints, cells: _Cells) -> None:
        """Take the feed of the tip, and the largest that is programmed for it."""
        rate = setpoints.poses.rate[:3]
        low, high = self._extremes(np.sqrt(np.einsum("ij,ij->j", rate, rate))[None])
        cells.take(self._feed[0], low[0], np.minimum)
        cells.take(self._feed[1], high[0], np.maximum)
        move = np.maximum(setpoints.poses.move[:: self._group], 0)
        asked = np.where(self._moves.feed_mode[move] == FEED_TIP, self._moves.feed[move], -np.inf)
        cells.take(self._asked, asked, np.maximum)

    def finish(self) -> Drawing:
        """Return the drawing."""
        return Drawing(
            charted=self._charted,
            until=(self._total - 1) * self._period,
            low=self._low,
            high=self._high,
            use=self._use,
            views=(self._views[0], self._views[1]),
            box=self._box,
            feed=(self._feed[0], self._feed[1]),
            asked=np.where(np.isfinite(self._asked), self._asked, np.nan),
            peak=self._peak,
            group=self._group,
            curves=self._curves.finish(),
            way=self._way,
        )

    def _extremes(self, values: Array) -> tuple[Array, Array]:
        """Return the smallest and the largest of values (k, n) in each group, (k, m); halving is the fastest way."""
        whole = values.shape[1] // self._group * self._group
        low = high = values[:, :whole]
        for _ in range(self._group.bit_length() - 1):
            low = np.minimum(low[:, 0::2], low[:, 1::2])
            high = np.maximum(high[:, 0::2], high[:, 1::2])
        rest = values[:, whole:]
        if rest.shape[1]:
            low = np.concatenate([low, rest.min(axis=1, keepdims=True)], axis=1)
            high = np.concatenate([high, rest.max(axis=1, keepdims=True)], axis=1)
        return low, high

    def _draw(self, setpoints: Setpoints, used: Array) -> None:
        """Put the way of the tip, from the last group's start to each next one, into the views."""
        poses = setpoints.poses
        m = self._frames[poses.frame]
        tip = m[:3, :3] @ poses.pose[:3, :: self._group] + m[:3, 3:]
        end = m[:3, :3] @ poses.pose[:3, -1:] + m[:3, 3:]
        before = tip[:, :1] if self._last is None or self._last[0] != poses.frame else self._last[1]
        place = np.concatenate([before, tip, end], axis=1)
        self._last = (poses.frame, end)
        level = np.searchsorted(EDGES, np.append(used[:1], used)).astype(np.uint8) + 1
        order = np.argsort(level, kind="stable")
        start, way = place[:, :-1][:, order], np.diff(place)[:, order]
        cells = np.abs(way).max() / self._box.cell
        steps = int(min(max(np.ceil(cells), 1), MOST_STEPS))
        share = (np.arange(steps) + 0.5) / steps
        points = (start[:, :, None] + way[:, :, None] * share).reshape(3, -1)
        levels = np.repeat(level[order], steps)
        for view, rows in zip(self._views, (1, 2), strict=True):
            inside, at = self._box.cells(points, rows, view.shape)
            flat = view.reshape(-1)
            flat[at] = np.maximum(flat[at], levels[inside])


def _share(one: Charted, low: Array, high: Array) -> Array:
    """Return the use of a limit (m,) by the worst strut, from extremes (6, m)."""
    middle, half = ((one.high + one.low) / 2.0)[:, None], ((one.high - one.low) / 2.0)[:, None]
    out: Array = (np.maximum(high - middle, middle - low) / half).max(axis=0)
    return out


def use_of(setpoints: Setpoints, charted: Sequence[Charted]) -> Array:
    """Return how much (n,) of its most used limit any strut uses at each sample."""
    out: Array = np.zeros(setpoints.length.shape[1])
    for one in charted:
        values = one.measure(setpoints)
        if values is not None:
            np.maximum(out, _share(one, values, values), out=out)
    return out
