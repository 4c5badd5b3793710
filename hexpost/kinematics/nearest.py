"""Where a way is nearest to a point that went along it a while ago, among the last rows of the way.

Branch and bound (A. H. Land, A. G. Doig, 1960; from memory): no row of a cell is nearer than the row at its end less
the length of the way through the cell. Cells that cannot hold the nearest place are left out, the others halved.

Most points need no search: going down from a likely place finds one that is square to the way, and a way that hardly
bends about it has no other. With the gap e to that place, a direction that differs from the one there by no more than
k + K l at a length l along the way, and c as the cosine that the whole stretch keeps, the squared gap changes by at
least (c2 - e K) l2 - 2 (e k + r) l, r [mm] being how far the foot lies beyond its piece. The least of that is
-(e k + r)2 / (c2 - e K). Cells that reach beyond the stretch must not hold anything nearer, as above.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hexpost.arrays import Array, Flags, Ints

NODES = 4
"""Cells that the rows which are looked at are cut into at first, at most."""
CLEAR = 1e-5
"""A place that is nearer by less than this is not looked for, mm."""
SHORT = 1e-9
"""Rows that are no farther apart are the same, mm: the way keeps its direction."""
STEPS = 3
"""Pieces of the way that are tried on the way down from a likely place."""
BESIDE = 2
"""Cells on both sides of that of a place in which the way must hardly bend."""


def nearest(way: Array, place: Array, first: int, kept: int, likely: Array) -> Array:
    """Return where (n,), in rows and parts of them, the polyline ``way`` (k, m) is nearest to places (k, n).

    Place i belongs to row ``first`` + i: looked at are that row and ``kept`` before it, of which there are as many.
    The nearer a way is at ``likely`` (n,) rows, the sooner it is found.
    """
    now: Ints = first + np.arange(place.shape[1])
    course = _Course(way, kept)
    foot = _down(course, place, now, likely)
    out, left = foot.where, np.flatnonzero(~_surely(course, place, now, foot))
    if len(left):
        out[left] = _searched(course, place[:, left], now[left], out[left])
    return out


def beside(way: Array, place: Array, first: int, kept: int, likely: Array) -> Array:
    """Return as ``nearest`` places (n,) of the way that nothing close to them is nearer than, down from ``likely``."""
    return _down(_Course(way, kept), place, first + np.arange(place.shape[1]), likely).where


class _Course:
    """A ``way`` (k, m) of which ``kept`` rows before each are looked at, its lengths and bends."""

    def __init__(self, way: Array, kept: int) -> None:
        self.way, self.kept = way, kept
        self.pieces = np.diff(way)
        self.size = np.sqrt(squares(self.pieces))
        self.step = 1
        while NODES * self.step < kept:
            self.step *= 2
        self.cell = max(self.step // 2, 1)

    @cached_property
    def arc(self) -> Array:
        """Return the length of the way up to each row (m,)."""
        return np.append(0.0, np.cumsum(self.size))

    def foot(self, place: Array, i: Ints) -> tuple[Array, Array]:
        """Return gaps (k, n) from the rows to places, and the shares of the pieces behind them (n,) passed."""
        gap, piece = place - self.way.take(i, axis=1), self.pieces.take(i, axis=1)
        return gap, np.einsum("in,in->n", gap, piece) / np.maximum(self.size.take(i), SHORT) ** 2

    def bent(self, where: Array) -> tuple[Array, Array, Array]:
        """Return of the stretches about places (n,): turns in all and the largest, rad; the largest by length, 1/mm."""
        cell = (where / self.cell).astype(np.int64)
        all_, most, sharp = (x.take(cell) for x in self._bends)
        return all_, most, sharp

    @cached_property
    def _bends(self) -> tuple[Array, Array, Array]:
        """Return the same of the stretch about each cell."""
        moving = np.maximum.accumulate(np.where(self.size > SHORT, np.arange(len(self.size)), 0))
        size = self.size.take(moving)
        along = self.pieces.take(moving, axis=1) / np.where(size > SHORT, size, np.inf)
        turn = np.append(0.0, np.sqrt(squares(np.diff(along))))
        shorter = np.minimum(size, np.append(size[:1], size[:-1]))
        bend = turn / np.where(shorter > SHORT, shorter, SHORT)
        cells = np.arange(0, len(turn) + 1, self.cell)
        turn, bend = np.append(turn, 0.0), np.append(bend, 0.0)
        return (
            _about(np.add.reduceat(turn, cells), np.add), _about(np.maximum.reduceat(turn, cells), np.maximum),
            _about(np.maximum.reduceat(bend, cells), np.maximum),
        )  # fmt: skip


def _about(values: Array, joined: np.ufunc) -> Array:
    """Return what values (b,) of cells and of those beside them make together."""
    wide = np.pad(values, BESIDE)
    return np.asarray(joined.reduce([wide[k : k + len(values)] for k in range(2 * BESIDE + 1)], axis=0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Foot:
    """Rows (n,) of a way, the ``share`` (n,) of the piece behind each that a place has passed, and its ``gap`` (k, n).

    The share may be below 0 or above 1; the gap is that to the row.
    """

    row: Ints
    share: Array
    gap: Array

    @property
    def where(self) -> Array:
        """Return the places (n,) on the way."""
        out: Array = np.asarray(self.row + np.clip(self.share, 0.0, 1.0), dtype=np.float64)
        return out


def _down(course: _Course, place: Array, now: Ints, likely: Array) -> _Foot:
    """Return where places (k, n) are square to the way, down from what is ``likely`` (n,)."""
    low = now - course.kept
    i = np.clip(likely, low, now - 1).astype(np.int64)
    gap, share = course.foot(place, i)
    for _ in range(STEPS):
        there = np.clip(i + np.floor(np.clip(share, -course.kept, course.kept)).astype(np.int64), low, now - 1)
        at = np.flatnonzero(there != i)
        if not len(at):
            break
        i[at] = there[at]
        gap[:, at], share[at] = course.foot(place[:, at], i[at])
    return _Foot(row=i, share=share, gap=gap)


def _surely(course: _Course, place: Array, now: Ints, foot: _Foot) -> Flags:
    """Return which places (n,) are surely nearest to the way at their feet."""
    i, share, where = foot.row, foot.share, foot.where
    size, on = course.size.take(i), np.clip(foot.share, 0.0, 1.0)
    off = np.sqrt(squares(foot.gap - on * course.pieces.take(i, axis=1)))
    ends = ((i == now - 1) & (share > 1.0)) | ((i == now - course.kept) & (share < 0.0))
    beyond = np.where(ends, 0.0, np.abs(share - on) * size)
    turn, most, sharp = course.bent(where)
    narrow = np.maximum(1.0 - turn * turn / 2.0, 0.0) ** 2 - off * sharp
    sure: Flags = (off * most + beyond) ** 2 <= narrow * CLEAR * (2.0 * off - CLEAR)
    sure &= (narrow > 0.0) & (size > SHORT)
    sure &= _others_away(course, place, now, where=where, off=off)
    return sure | (off <= CLEAR)


def _others_away(course: _Course, place: Array, now: Ints, *, where: Array, off: Array) -> Flags:
    """Return for which places (n,) nothing beyond the stretch about it is nearer than ``off``."""
    cell, whole = course.cell, place.shape[1]
    begin = ((where / cell).astype(np.int64) - BESIDE) * cell
    end = begin + (2 * BESIDE + 1) * cell
    out: Flags = np.ones(len(now), dtype=np.bool_)
    for back in range(0, course.kept, cell):
        before = min(back + cell, course.kept)
        away = (now - back <= end) & (now - before >= begin)
        if not away.all():
            rows, until = (slice(now[0] - x, now[0] - x + whole) for x in (back, before))
            size = np.sqrt(squares(place - course.way[:, rows]))
            away |= size - (course.arc[rows] - course.arc[until]) >= off - CLEAR
            out &= away
    return out


def _searched(course: _Course, place: Array, now: Ints, likely: Array) -> Array:
    """Return the nearest places (n,) by branch and bound."""
    way, arc, kept, step = course.way, course.arc, course.kept, course.step
    low = now - kept
    guess = np.rint(likely).astype(np.int64)
    best: Array = np.asarray(guess, dtype=np.float64)
    least = _sizes(way, place, guess)
    nodes = []
    for back in range(0, kept, step):
        size = _sizes(way, place, now - back)
        nearer = size < least
        best[nearer], least[nearer] = now[nearer] - back, size[nearer]
        nodes.append(size)
    row, size = np.concatenate([now - step * k for k in range(len(nodes))]), np.concatenate(nodes)
    who: Ints = np.tile(np.arange(len(now)), len(nodes))
    while True:
        back = np.maximum(row - step, low[who])
        open_ = np.flatnonzero(size - (arc[row] - arc[back]) < least[who] - CLEAR)
        who, row, size, back = who[open_], row[open_], size[open_], back[open_]
        if step == 1:
            break
        step //= 2
        middle = np.maximum(row - step, low[who])
        there = _sizes(way, place[:, who], middle)
        _take(best, least, who, middle.astype(np.float64), there)
        who, row, size = np.tile(who, 2), np.append(row, middle), np.append(size, there)
    a, b = way.take(back, axis=1), way.take(row, axis=1)
    b -= a
    gap = place[:, who] - a
    long = squares(b)
    share = np.clip(np.einsum("in,in->n", gap, b) / np.where(long > 0.0, long, 1.0), 0.0, 1.0)
    gap -= share * b
    _take(best, least, who, back + share, np.sqrt(squares(gap)))
    return best


def _take(best: Array, least: Array, who: Ints, at: Array, size: Array) -> None:
    """Enter places ``at`` that are nearer than the best so far; the nearest last, so that it stays."""
    nearer = np.flatnonzero(size < least[who])
    nearer = nearer[np.argsort(-size[nearer], kind="stable")]
    best[who[nearer]], least[who[nearer]] = at[nearer], size[nearer]


def _sizes(way: Array, place: Array, row: Ints) -> Array:
    """Return how far (n,) places are from rows of the way."""
    return np.sqrt(squares(place - way.take(row, axis=1)))


def squares(vectors: Array) -> Array:
    """Return the squared lengths (n,) of vectors (k, n)."""
    out: Array = np.einsum("in,in->n", vectors, vectors)
    return out
