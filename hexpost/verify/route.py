"""A stretch of the moves that the program asks for, as curves in its own six coordinates.

A line runs straight in X Y Z A B C; an arc turns about its axis, rises along it, and its radius and angles change
evenly. A move is measured in mm, tilt counted by the ratio of the corner tolerances.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import ToolTip
from hexpost.moves.model import Moves

_LEAST = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArcMoves:
    """Arcs among the moves of a stretch, shape (k,): local index, centre (3, k), axes, radii, angle, sweep, rise."""

    move: Ints
    axis: Ints
    across: tuple[Ints, Ints]
    centre: Array
    radii: tuple[Array, Array]
    angle: Array
    sweep: Array
    rise: Array

    def bends(self, u: float, length: Array) -> list[Array]:
        """Return the first three derivatives (3, k) of the tip by mm of the moves (of ``length``), at share ``u``."""
        n, (i, j) = np.arange(len(self.move)), self.across
        angle, radius, growth = self.angle + self.sweep * u, self.radii[0], self.radii[1] - self.radii[0]
        radius = radius + growth * u
        sweep = self.sweep
        out = []
        for order, (outwards, around) in enumerate(
            (
                (growth, radius * sweep),
                (-radius * sweep**2, 2.0 * growth * sweep),
                (-3.0 * growth * sweep**2, -radius * sweep**3),
            ),
            1,
        ):
            d: Array = np.zeros((3, len(n)))
            c, s = np.cos(angle), np.sin(angle)
            d[i, n], d[j, n] = outwards * c - around * s, outwards * s + around * c
            if order == 1:
                d[self.axis, n] = self.rise
            out.append(d / length**order)
        return out


class Stretch:
    """Moves ``low`` to ``high`` (left out): every index here counts from ``low``."""

    def __init__(self, moves: Moves, low: int, high: int, tip: ToolTip, *, free_yaw: bool = False) -> None:
        part = moves.part(low, high)
        self.low, self.count = low, high - low
        self.rho = tip.corner_tolerance / tip.corner_tolerance_tilt
        self.start = np.ascontiguousarray(part.start.T)
        self.delta = np.ascontiguousarray((part.end - part.start).T)
        self.stop, self.feed, self.mode = part.stop, part.feed, part.feed_mode
        self.frame, self.line = part.frame, part.line
        self.curved = np.full(self.count, -1)
        self.curved[part.arcs.move] = np.arange(len(part.arcs.move))
        self.arcs = _arcs(part)
        self.tip: Array = np.sqrt((self.delta[:, :3] ** 2).sum(axis=1))
        k = self.arcs.move
        self.tip[k] = np.hypot(0.5 * (self.arcs.radii[0] + self.arcs.radii[1]) * self.arcs.sweep, self.arcs.rise)
        self.tilt: Array = np.sqrt((self.delta[:, 3 : 5 if free_yaw else 6] ** 2).sum(axis=1))
        self.length = np.maximum(np.hypot(self.tip, self.rho * self.tilt), _LEAST)
        self._weight = weight = np.array([1.0] * 3 + [self.rho**2] * 2 + [0.0 if free_yaw else self.rho**2])
        self._slope = self.delta * weight / np.maximum((self.delta**2 * weight).sum(axis=1), _LEAST)[:, None]
        self._base = (self.start * self._slope).sum(axis=1)
        self.way = np.concatenate([[0.0], np.cumsum(self.length)])

    def share(self, q: Array, move: Ints) -> Array:
        """Return the shares (n,) of straight moves ``move`` (n,) at which q (6, n) is nearest; not cut to 0 ... 1."""
        out: Array = np.einsum("in,ni->n", q, self._slope[move])
        out -= self._base[move]
        return out

    def turned(self, q: Array, rate: Array, move: Ints) -> tuple[Array, Array]:
        """Return the angles (n,) of tips past the start of their arcs, in the sense of the sweep, and their rates."""
        k, n = self.curved[move], np.arange(len(move))
        i, j = (x[k] for x in self.arcs.across)
        x, y = q[i, n] - self.arcs.centre[i, k], q[j, n] - self.arcs.centre[j, k]
        sense = np.sign(self.arcs.sweep[k])
        angle = (np.arctan2(y, x) - self.arcs.angle[k]) * sense
        return angle, sense * (x * rate[j, n] - y * rate[i, n]) / np.maximum(x * x + y * y, _LEAST)

    def off(self, q: Array, share: Array, move: Ints) -> Array:
        """Return q less the place (6, n) on moves ``move`` at shares (n,)."""
        place = self.delta[move]
        place *= share[:, None]
        place += self.start[move]
        out: Array = q - place.T
        if len(self.arcs.move):
            on = np.flatnonzero(self.curved[move] >= 0)
            if len(on):
                out[:3, on] = q[:3, on] - self._round(share[on], move[on])
        if self._weight[5] == 0.0:
            out[5] = 0.0
        return out

    def nearer(self, q: Array, share: Array, move: Ints) -> Array:
        """Return the shares (n,) on arcs ``move`` after a step to where q (6, n) is nearest."""
        k, n = self.curved[move], np.arange(len(move))
        arcs = self.arcs
        (i, j), growth = (x[k] for x in arcs.across), arcs.radii[1][k] - arcs.radii[0][k]
        angle, radius = arcs.angle[k] + arcs.sweep[k] * share, arcs.radii[0][k] + growth * share
        c, s, around = np.cos(angle), np.sin(angle), radius * arcs.sweep[k]
        along = self.delta[move].T.copy()
        along[i, n], along[j, n] = growth * c - around * s, growth * s + around * c
        along[arcs.axis[k], n] = arcs.rise[k]
        weighed = along * self._weight[:, None]
        step = (self.off(q, share, move) * weighed).sum(axis=0) / np.maximum((along * weighed).sum(axis=0), _LEAST)
        out: Array = share + step
        return out

    def _round(self, u: Array, move: Ints) -> Array:
        k, n = self.curved[move], np.arange(len(move))
        arcs = self.arcs
        i, j = (x[k] for x in arcs.across)
        angle = arcs.angle[k] + arcs.sweep[k] * u
        radius = arcs.radii[0][k] + (arcs.radii[1][k] - arcs.radii[0][k]) * u
        out: Array = np.empty((3, len(n)))
        out[i, n] = arcs.centre[i, k] + radius * np.cos(angle)
        out[j, n] = arcs.centre[j, k] + radius * np.sin(angle)
        axis = arcs.axis[k]
        out[axis, n] = self.start[move, axis] + arcs.rise[k] * u
        return out

    def tangents(self, *, end: bool) -> tuple[Array, Array, Array]:
        """Return, at one end of all moves: derivative (6, w) by mm, second (3, w) and size of the third (w,)."""
        first = np.ascontiguousarray((self.delta / self.length[:, None]).T)
        second, third = np.zeros((3, self.count)), np.zeros(self.count)
        k = self.arcs.move
        if len(k):
            first[:3, k], second[:, k], last = self.arcs.bends(float(end), self.length[k])
            third[k] = np.sqrt((last**2).sum(axis=0))
        return first, second, third


def _arcs(moves: Moves) -> ArcMoves:
    """Return the arcs; sweeps are those turns that lead exactly from start to end."""
    arcs, at = moves.arcs, moves.arcs.move
    n, axis = np.arange(len(at)), arcs.axis.astype(np.int64)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    angles, radii = [], []
    for place in (moves.start[:3, at], moves.end[:3, at]):
        v = place - arcs.centre
        angles.append(np.arctan2(v[j, n], v[i, n]))
        radii.append(np.hypot(v[i, n], v[j, n]))
    exact = angles[1] - angles[0]
    return ArcMoves(
        move=at,
        axis=axis,
        across=(i, j),
        centre=arcs.centre,
        radii=(radii[0], radii[1]),
        angle=angles[0],
        sweep=exact + 2.0 * pi * np.round((arcs.turn - exact) / (2.0 * pi)),
        rise=moves.end[axis, at] - moves.start[axis, at],
    )
