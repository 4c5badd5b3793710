"""Limits of a motion whose squared speed is a quadratic B-spline: balls and tops, how much is left of them, and where.

``interior`` finds the least time within them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Ints

TINY = 1e-100
"""Keeps divisions in range."""


def basis(x: float | Array, order: int = 0) -> Array:
    """Return the three B-splines of a cell of size one at ``x`` (...) of it, 0 to 1, or their derivatives; (3, ...)."""
    values = (
        (0.5 * (1.0 - x) ** 2, 0.5 + x - x * x, 0.5 * x * x),
        (x - 1.0, 1.0 - 2.0 * x, x),
        (1.0, -2.0, 1.0),
    )
    return np.array(values[order])


def at(d: Array, weights: Array, cell: Ints | None = None) -> Array:
    """Return sums (..., cells) of coefficients ``d`` (cells + 2,) with ``weights``, (3, ..., cells) or (3,).

    ``cell`` (n,): the cells of places of their own, (n,) instead of (cells,).
    """
    a, b, c = (d[:-2], d[1:-1], d[2:]) if cell is None else (d[cell], d[cell + 1], d[cell + 2])
    out: Array = weights[0] * a + weights[1] * b + weights[2] * c
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slacks:
    """Limits (rows, cells) at some coefficients: ``slack`` is left of each, and falls by ``slope`` (3, rows, cells)."""

    slack: Array
    slope: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Balls:
    """Limits |w| <= 1 of vectors w at one place of all cells, or at places of some, or |w| <= 1 / r where ``jerk``.

    ``weights`` (3, parts, rows, cells) of the coefficients in w, to which ``offset`` (parts, rows, cells) is added;
    ``base`` (3, 1) or (3, cells): those of z. ``cell`` (n,): the cells of places of their own; ``None``: each has one.
    """

    weights: Array
    base: Array
    cell: Ints | None = None
    jerk: bool = False
    offset: Array | float = 0.0

    def state(self, d: Array) -> Slacks:
        """Return where these limits stand at coefficients (cells + 2,)."""
        w = at(d, self.weights, self.cell) + self.offset
        slope, square = (self.weights * w).sum(axis=1), (w * w).sum(axis=0)
        if not self.jerk:
            return Slacks(slack=0.5 - 0.5 * square, slope=slope)
        z = at(d, self.base, self.cell)
        slope += self.base[:, None] * (0.5 / (z * z))
        return Slacks(slack=0.5 / z - 0.5 * square, slope=slope)

    def most_even(self) -> Array:
        """Return the largest z (cells,) that all of these limits allow where it does not change."""
        w = self.weights.sum(axis=0)
        square = (w * w).sum(axis=0).max(axis=0)
        out: Array = np.maximum(square, TINY) ** (-1.0 / 3.0 if self.jerk else -0.5)
        return out

    def bend(self, force: Array, i: int, j: int) -> Array | float:
        """Return the second derivatives (cells,) of a pair of coefficients, limits weighed with ``force``."""
        out: Array = (force * self.weights[i] * self.weights[j]).sum(axis=(0, 1))
        return out

    def slower(self, factor: Array) -> "Balls":
        """Return limits that make the motion in each cell slower by a ``factor`` (cells,)."""
        own = factor if self.cell is None else factor[self.cell]
        return replace(self, weights=self.weights * own ** (3.0 if self.jerk else 2.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tops:
    """Limits z <= ``most`` (cells,) at one place of all cells, or at places of some; the rest as of ``Balls``."""

    most: Array
    base: Array
    cell: Ints | None = None

    def state(self, d: Array) -> Slacks:
        """Return where these limits stand at coefficients (cells + 2,)."""
        used = at(d, self.base, self.cell) / self.most
        return Slacks(slack=(1.0 - used)[None], slope=(self.base / self.most)[:, None])

    def most_even(self) -> Array:
        """Return the largest z (cells,) that these limits allow."""
        return self.most

    def bend(self, force: Array, i: int, j: int) -> Array | float:  # noqa: ARG002 - as those of balls
        """Return that these limits do not bend."""
        return 0.0

    def slower(self, factor: Array) -> "Tops":
        """Return limits that make the motion in each cell slower by a ``factor`` (cells,)."""
        own = factor if self.cell is None else factor[self.cell]
        return replace(self, most=self.most / own**2)


Limits = Sequence[Balls | Tops]
