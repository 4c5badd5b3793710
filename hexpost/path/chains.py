"""Dense chains as smooth curves within the tolerances, window by window."""

import numpy as np

from hexpost.arrays import Array, distinct
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.cells import Nodes, cells
from hexpost.path.corridor import BLOCK, corners, corridor, parameter
from hexpost.path.curve import Knots, Splines, distance
from hexpost.path.fit import cone, fitted
from hexpost.path.joints import Tolerances
from hexpost.path.runs import LinesBeside
from hexpost.path.splice import SmoothCurve

WINDOW, HALO = 65_536, 8_192
"""Vertices that are smoothed at once, and those about them that are looked at, too; multiples of ``corridor.BLOCK``."""
SLOPE = 0.05
"""Steepest change of the size of cells per mm."""
NEAR = 1e-7
"""Knots so near to where a window begins, mm, are there."""
CORRIDOR, TURN, MOVED, WHOLE = 0.2, 0.4, 0.2, 0.98
"""Shares of the tolerance: width of the corridor; sag beyond which a turn is a corner; displacement of the fit; all."""
FEW = 4
"""Fewer nodes than this are not fitted."""
CELL, FINER = 0.04, 4.0
"""Size of cells, mm; where the fit is too far off they are so much finer."""
ROUNDS, COARSE = 5, 2
"""Times a curve that is too far off is fitted again: so often with smaller cells there, then through vertices."""
SHRINK, CORNER_ROUNDS = 0.6, 8
"""Corners that are too far off are made so much smaller, at most so often."""


def smooth(moves: Moves, first: int, last: int, beside: LinesBeside, machine: Machine) -> SmoothCurve | None:
    """Return the curve of a chain, or ``None`` where none is within the tolerances. In windows, if it is long."""
    limits = machine.tool_tip
    tolerances = Tolerances(tip=limits.corner_tolerance, tilt=limits.corner_tolerance_tilt)
    moved = _moved(moves, (first, last), beside, tolerances)
    used = 1.0 - moved / tolerances.tip
    tolerances = Tolerances(tip=used * tolerances.tip, tilt=used * tolerances.tilt)
    count = last - first + 2
    s, states, corner, ends, off = [], [], [], [], np.zeros(2)
    known = 0.0
    for begin in range(0, count, WINDOW):
        low, high = max(begin - HALO, 0), min(begin + WINDOW + HALO, count)
        stop = min(begin + WINDOW, count)
        part = Part(moves, (first, last), (low, high), beside, tolerances)
        if not part.fit():
            return None
        at = part.s[part.ahead :]
        shift = known - at[begin - low]
        a = 0 if begin == 0 else int(np.searchsorted(part.knots.s, at[begin - low] - NEAR))
        b = len(part.knots.s)
        if stop < count:
            known = float(at[stop - low] + shift)
            b = int(np.searchsorted(part.knots.s, at[stop - low] - NEAR))
        s.append(part.knots.s[a:b] + shift)
        states.append(part.states()[:, :, a:b])
        corner.append(part.knots.corner[a:b] >= 0)
        ends.append(at[max(begin, 1) - low : stop - low] + shift)
        off = np.maximum(off, part.off)
    knots, places = np.concatenate(s), np.concatenate(ends)
    start = knots[0]
    return SmoothCurve(
        first=first,
        last=last,
        s=knots - start,
        state=np.concatenate(states, axis=2),
        corner=np.concatenate(corner)[:-1],
        ends=places - start,
        before=float(-start) if beside.before is not None else 0.0,
        after=float(knots[-1] - places[-1]) if beside.after is not None else 0.0,
        off=(float(off[0] + moved), float(off[1] + moved / tolerances.rho)),
    )


def _moved(moves: Moves, chain: tuple[int, int], beside: LinesBeside, tolerances: Tolerances) -> float:
    """Return how far the ends of a chain are from where they are programmed, mm; angles by the ratio of tolerances."""
    out = 0.0
    for there, programmed in ((beside.first, moves.start[:, chain[0]]), (beside.last, moves.end[:, chain[1]])):
        if there is not None:
            d = _scaled((there - programmed)[:, None], tolerances)
            out = max(out, float(np.sqrt((d[:3] ** 2).sum())), float(np.sqrt((d[3:] ** 2).sum())))
    return out


class Part:
    """A window of a chain, from vertex to vertex: ``x`` (rows, n) what moves, angles in mm; ``s`` (n,) parameter."""

    def __init__(
        self, moves: Moves, chain: tuple[int, int], window: tuple[int, int], beside: LinesBeside, tolerances: Tolerances
    ) -> None:
        (first, last), (low, high) = chain, window
        x = np.empty((6, high - low))
        x[:, max(1 - low, 0) :] = moves.end[:, first + max(low, 1) - 1 : first + high - 1]
        whole = high == last - first + 2
        if low == 0:
            x[:, 0] = moves.start[:, first] if beside.first is None else beside.first
        if whole and beside.last is not None:
            x[:, -1] = beside.last
        before, after = (beside.before if low == 0 else None), (beside.after if whole else None)
        feed = moves.feed[first + max(low, 1) - 1 : first + high - 1]
        blocks_at = np.arange(-low % BLOCK, high - low, BLOCK)
        marks = distinct(np.concatenate([blocks_at, np.flatnonzero(np.diff(feed)) + max(1 - low, 0)]))
        keep = corridor(_scaled(x, tolerances), CORRIDOR * tolerances.tip)
        self.ahead = int(before is not None)
        ends = [p[:, None] for p in (before, after) if p is not None]
        if before is not None:
            x = np.concatenate([ends.pop(0), x], axis=1)
        if after is not None:
            x = np.concatenate([x, ends.pop()], axis=1)
        self._base = x[:, 0].copy()
        x = _scaled(x, tolerances)
        self._rows = np.flatnonzero(np.ptp(x, axis=1) > 0.0)
        self.x, self.tips = x[self._rows], int((self._rows < 3).sum())
        self._rho, self._tip = tolerances.rho, tolerances.tip
        self._straight = before is not None, after is not None
        own = keep + self.ahead
        inner, real = corners(self.x[:, own[0] : own[-1] + 1], keep, TURN * self._tip)
        keep = np.concatenate([[0] * self.ahead, inner + self.ahead, [x.shape[1] - 1] * int(after is not None)])
        self._keep = keep.astype(np.int64)
        self.s = parameter(self.x, self._keep)
        self._fixed = np.zeros(x.shape[1], dtype=np.bool_)
        self._fixed[inner[real] + self.ahead] = True
        self._fixed[[0, -1]] = True
        self._anchor = self._fixed.copy()
        self._anchor[blocks_at + self.ahead] = True
        self._marks = self.s[marks + self.ahead]
        self.knots = Knots(s=np.zeros(0), state=np.zeros((3, 0, 0)), corner=np.zeros(0, dtype=np.int64))
        self.off = np.zeros(2)

    def fit(self) -> bool:
        """Find the curve; return whether it is within the tolerances."""
        size = np.full(len(self.s), CELL)
        for k in range(ROUNDS):
            nodes = cells(self.x, self.s, self._fixed, self._anchor, size)
            if len(nodes.s) > FEW:
                q = fitted(nodes, MOVED * self._tip, self.tips)
                nodes = Nodes(s=nodes.s, place=q, fixed=nodes.fixed)
            bad = self._rounded(Splines(nodes=nodes, tips=self.tips, tolerance=self._tip, straight=self._straight))
            if not len(bad):
                return True
            if k < COARSE:
                hard = np.zeros(len(self.s), dtype=np.bool_)
                hard[np.clip(np.searchsorted(self.s, bad), 0, len(self.s) - 1)] = True
                size = cone(self.s, np.where(hard, size / FINER, size), SLOPE)
            else:
                node = np.searchsorted(self.s[self._keep], bad, side="right")
                near = np.concatenate([node - 1, node])
                self._fixed[self._keep[np.clip(near, 0, len(self._keep) - 1)]] = True
                self._anchor |= self._fixed
        return False

    def _rounded(self, splines: Splines) -> Array:
        """Round the corners of splines within the tolerances; return parameters (m,) where they are too far off."""
        for _ in range(CORNER_ROUNDS):
            self.knots = splines.knots(self._marks)
            piece, u, bound = distance(self.knots, self.x, self.s, self.tips)
            self.off = bound.max(axis=1) / [1.0, self._rho]
            bad = np.flatnonzero(bound.max(axis=0) > WHOLE * self._tip)
            corner = self.knots.corner[piece[bad]]
            if (corner < 0).any() or not len(bad):
                break
            splines.reach[distinct(corner)] *= SHRINK
        return u[bad]

    def states(self) -> Array:
        """Return places and derivatives (3, 6, k) of the knots, angles in rad."""
        out = np.zeros((3, 6, len(self.knots.s)))
        out[0] = self._base[:, None]
        out[:, self._rows] = self.knots.state
        tilted = self._rows[self._rows >= 3]
        out[:, tilted] /= self._rho
        return out


def _scaled(x: Array, tolerances: Tolerances) -> Array:
    """Return poses (6, n) with their angles in mm, by the ratio of the tolerances."""
    out = x.copy()
    out[3:] *= tolerances.rho
    return out
