"""Arcs and helices of the tool tip, measured from one of their ends."""

from dataclasses import dataclass
from math import pi

import numpy as np

from hexpost.arrays import Array, Columns, Ints, Lines
from hexpost.moves.model import Moves

TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swing(Columns):
    """Arcs seen from one end, shape (k,) or (3, k), as functions of the parameter w (0 at that end).

    ``radius``: vector from the axis to the end point; ``side``: the same turned a quarter right-handed about the
    axis; ``rise``: change along the axis per parameter; ``rate``: turn per parameter, rad; ``growth``:
    relative change of the radius per parameter (the two ends of a programmed arc differ by rounding, so the
    radius runs linearly from one to the other and both ends are met exactly).
    """

    radius: Array
    side: Array
    rise: Array
    rate: Array
    growth: Array

    def displacement(self, k: Ints, w: Array, order: int, first: int = 0) -> list[Array]:
        """Return derivatives ``first`` to ``order`` of the way from w = 0, each (3, m), for arcs ``k`` at ``w``.

        p(w) - p(0) = r (cos - 1) + s sin + g w (r cos + s sin) + rise w, with cos - 1 as -2 sin^2 of half the
        angle so that short arcs of a large radius keep their digits.
        """
        r, s, rise = self.radius.take(k, axis=1), self.side.take(k, axis=1), self.rise.take(k, axis=1)
        rate, growth = self.rate[k], self.growth[k]
        angle = rate * w
        c, d = np.cos(angle), np.sin(angle)
        turned = [r * c + s * d, (s * c - r * d) * rate]
        for _ in range(2, order + 1):
            turned.append(turned[-2] * (-rate * rate))
        out = []
        for o in range(first, order + 1):
            if o == 0:
                q = r * (-2.0 * np.sin(0.5 * angle) ** 2) + s * d
                q += turned[0] * (growth * w)
                q += rise * w
            else:
                q = turned[o] * (1.0 + growth * w)
                q += turned[o - 1] * (o * growth)
                if o == 1:
                    q += rise
            out.append(q)
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Circles(Columns):
    """The arcs among the moves, shape (k,): move index (rising), the arc from its start and from its end."""

    move: Ints
    from_start: Swing
    from_end: Swing

    def norms_max(self, k: Ints | Lines) -> Array:
        """Return the largest norms of the first three derivatives of the tip of arcs ``k`` (m,), shape (3, m)."""
        w = self.from_end
        radius = w.radius[:, k]
        largest = np.sqrt(np.maximum((self.from_start.radius[:, k] ** 2).sum(0), (radius**2).sum(0)))
        grow = np.abs(w.growth[k]) * np.sqrt((radius**2).sum(0))
        rate, rise = np.abs(w.rate[k]), np.abs(w.rise[:, k]).sum(0)
        first = np.sqrt((largest * rate) ** 2 + grow**2 + rise**2)
        return np.stack([first, largest * rate**2 + 2.0 * grow * rate, largest * rate**3 + 3.0 * grow * rate**2])


def circles(moves: Moves, length: Array, rho: float) -> Circles:
    """Return the arcs of ``moves`` and set their ``length`` (n,): ds^2 = |dp|^2 + (rho dtheta)^2.

    The programmed turn is corrected, by less than half a turn, to lead exactly from start to end.
    """
    i, axis = moves.arcs.move, moves.arcs.axis.astype(np.int64)
    delta = moves.end[:, i] - moves.start[:, i]
    start, end = _arm(moves.start[:3, i] - moves.arcs.centre, axis), _arm(moves.end[:3, i] - moves.arcs.centre, axis)
    start_side, end_side = _quarter(start, axis), _quarter(end, axis)
    r0, r1 = (np.maximum(np.sqrt((x**2).sum(0)), TINY) for x in (start, end))
    between = np.arctan2((start_side * end).sum(0), (start * end).sum(0)) - moves.arcs.turn
    turn = moves.arcs.turn + between - 2.0 * pi * np.round(between / (2.0 * pi))
    column = np.arange(i.size)
    rise: Array = np.zeros((3, i.size))
    rise[axis, column] = delta[axis, column]
    travel2 = (0.5 * (r0 + r1) * turn) ** 2 + (rise**2).sum(0)
    whole = np.maximum(np.sqrt(travel2 + rho**2 * (delta[3:] ** 2).sum(0)), TINY)
    length[i] = whole
    rise /= whole
    rate = turn / whole
    ends = ((start, start_side, r0), (end, end_side, r1))
    from_start, from_end = (
        Swing(radius=v, side=s, rise=rise, rate=rate, growth=(r1 - r0) / (whole * r)) for v, s, r in ends
    )
    return Circles(move=i, from_start=from_start, from_end=from_end)


def _arm(v: Array, axis: Ints) -> Array:
    """Return vectors ``v`` (3, k) with the component along their ``axis`` removed."""
    out: Array = v.copy()
    out[axis, np.arange(axis.size)] = 0.0
    return out


def _quarter(v: Array, axis: Ints) -> Array:
    """Return vectors ``v`` (3, k), square to ``axis``, turned a quarter right-handed about it."""
    out: Array = np.zeros_like(v)
    column = np.arange(axis.size)
    j, k = (axis + 1) % 3, (axis + 2) % 3
    out[j, column] = -v[k, column]
    out[k, column] = v[j, column]
    return out
