"""Convex programs in quadratic B-splines, by a banded primal-dual interior-point method with a bound on its steps.

How much faster than a reference motion can a tool be? With the reference's time tau and r = d tau / d t, z = r^2 is a
quadratic B-spline on even cells. The rates of a coordinate c(tau) are c' r, c'' z + c' z' / 2 and
r (c''' z + 3 c'' z' / 2 + c' z'' / 2): limits of speed and acceleration are convex in z, and one of the jerk says
|.|^2 <= J^2 / z. A tangent stands in for 1 / z; it lies below, so every step keeps the limits (J. E. Bobrow,
S. Dubowsky, J. S. Gibson, Int. J. Robotics Research 4(3) 1985, for squares of speeds as unknowns; S. Mehrotra, SIAM J.
Optimization 2 (1992) 575, for the steps; S. Boyd, L. Vandenberghe, Convex Optimization, 2004, 11.7).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from hexpost.arrays import Array, Ints
from hexpost.feed.spline_limits import Limits, Slacks, at, basis
from hexpost.lapack import dpbtrf, dpbtrs

STEPS = 40
"""Most steps of one program."""
CLOSE = 1e-3
"""It ends where so small a share of the time is left to gain, to first order."""
FAR = 0.97
"""Share of the way to the nearest limit that a step goes."""
LEFT = 0.003
"""Share of each slack that a step leaves: what bends of limits take from it is seen only afterwards."""
SHORTER, SHORTEST = 0.7, 1e-4
"""Steps that leave less are made shorter by this factor; the shortest that is tried."""
NEAR = 4
"""Over so many cells to both sides a start is as slow as somewhere there, and over so many smooth."""
SHRINK, ROOM, SLOWEST = 0.9, 0.02, 1e-6
"""A start is made slower by the first until all limits have the second as their room, at most down to the third."""
BEGIN = 0.1
"""What all limits weigh at first, as a share of the time."""
GAUSS = 0.5 - 3.0**0.5 / 6.0, 0.5 + 3.0**0.5 / 6.0
"""Places in a cell where the time is summed (C. F. Gauss, two points)."""
PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
"""The coefficients of a cell, two by two."""


class NoRoomError(ArithmeticError):
    """Limits leave a motion no room, however slow it is."""


def start(limits: Limits, cells: int) -> Array:
    """Return coefficients (cells + 2,) to begin with: at most 1, the less the less limits allow there and nearby."""
    most = np.ones(cells)
    for x in limits:
        np.minimum.at(most, np.arange(cells) if x.cell is None else x.cell, x.most_even())
    wide = np.pad(most, 2 * NEAR + 2, mode="edge")
    low = sliding_window_view(wide, 2 * NEAR + 3).min(axis=1)
    out: Array = sliding_window_view(low, 2 * NEAR + 1).mean(axis=1)
    return out


def time_of(d: Array) -> float:
    """Return the time that coefficients (cells + 2,) take, in cells of the reference."""
    return _time(d)[0]


def fastest(limits: Limits, d: Array, steps: int = STEPS) -> tuple[Array, float, int]:
    """Return coefficients (cells + 2,) of the least time, begun with ``d`` or slower; how far off; steps taken.

    Far off is the share of the time that may be left to gain, to first order. At most ``steps`` are taken; all keep the
    limits. Where one leads nowhere, a slower start is made of what was found.

    Raises
    ------
    NoRoomError
        Some limit leaves no motion room.
    FloatingPointError
        A number left its range.
    """
    d, states, forces = _begun(limits, d)
    off = np.inf
    for step in range(steps + 1):
        time, down, bent = _time(d)
        gap = sum(float((f * s.slack).sum()) for f, s in zip(forces, states, strict=True))
        try:
            newton = _Newton.of(limits, states, forces, down, bent)
        except np.linalg.LinAlgError:
            d, states, forces = _begun(limits, d)
            continue
        off = (gap + float(np.abs(newton.rest * d).sum())) / time
        if off < CLOSE or step == steps:
            break
        dd, df = newton.step(gap / sum(s.slack.size for s in states))
        a = _length(limits, states, d, dd)
        if a == 0.0:
            d, states, forces = _begun(limits, d)
            continue
        d, b = d + a * dd, min(1.0, FAR * _most(forces, df))
        states, forces = [x.state(d) for x in limits], [f + b * g for f, g in zip(forces, df, strict=True)]
    return d, off, step


def _begun(limits: Limits, d: Array) -> tuple[Array, list[Slacks], list[Array]]:
    """Return coefficients with room in all limits, those given or slower, their states, and forces to begin with.

    Raises
    ------
    NoRoomError
        However slow, some limit has none: what stands still uses it up.
    """
    while not all((x.state(d).slack > ROOM).all() for x in limits):
        if d.max() < SLOWEST:
            raise NoRoomError
        d = SHRINK * d
    states = [x.state(d) for x in limits]
    mean = BEGIN * time_of(d) / sum(s.slack.size for s in states)
    return d, states, [mean / s.slack for s in states]


def _length(limits: Limits, states: list[Slacks], d: Array, dd: Array) -> float:
    """Return the share of a step that keeps all limits, 0 where it is next to nothing."""
    z, dz = ([at(x, basis(place)) for place in (0.0, *GAUSS, 1.0)] for x in (d, dd))
    ds = [-at(dd, s.slope, x.cell) for x, s in zip(limits, states, strict=True)]
    a = min(1.0, FAR * _most([*z, *(s.slack for s in states)], [*dz, *ds]))
    while a > SHORTEST:
        new = (x.state(d + a * dd) for x in limits)
        if all((n.slack > LEFT * old.slack).all() for n, old in zip(new, states, strict=True)):
            return a
        a *= SHORTER
    return 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Newton:
    """The equations of a step: what is out of balance (cells + 2,), and the matrix, scaled, as a band of factors."""

    limits: Limits
    states: list[Slacks]
    forces: list[Array]
    rest: Array
    factor: Array
    scale: Array

    @classmethod
    def of(cls, limits: Limits, states: list[Slacks], forces: list[Array], down: Array, bent: list[Array]) -> "_Newton":
        """Return the equations; ``down`` and ``bent``: first and second derivatives of the time.

        Raises
        ------
        LinAlgError
            Rounding left the matrix without a factor.
        """
        rest, band, cells = down.copy(), np.zeros((3, len(down))), len(down) - 2
        for x, s, f in zip(limits, states, forces, strict=True):
            _spread(rest, (f * s.slope).sum(axis=1), x.cell)
            stiff = f / s.slack
            for k, (i, j) in enumerate(PAIRS):
                part = (stiff * s.slope[i] * s.slope[j]).sum(axis=0) + x.bend(f, i, j)
                bent[k] += part if x.cell is None else np.bincount(x.cell, part, cells)
        for (i, j), part in zip(PAIRS, bent, strict=True):
            band[2 - (j - i), j : j + cells] += part
        scale = 1.0 / np.sqrt(band[2])
        band *= scale
        band[2] *= scale
        band[1, 1:] *= scale[:-1]
        band[0, 2:] *= scale[:-2]
        factor, wrong = dpbtrf(band)
        if wrong:
            raise np.linalg.LinAlgError(f"the equations of a step are singular at coefficient {wrong}")
        return cls(limits=limits, states=states, forces=forces, rest=rest, factor=factor, scale=scale)

    def step(self, mu: float) -> tuple[Array, list[Array]]:
        """Return the steps of coefficients and forces, by a trial step that says how far the mean product can fall.

        ``mu``: that mean of slacks times forces now.
        """
        _, ds, df = self.way([0.0] * len(self.states))
        a, b = _most([s.slack for s in self.states], ds), _most(self.forces, df)
        left = [(s.slack + a * e) * (f + b * g) for s, e, f, g in zip(self.states, ds, self.forces, df, strict=True)]
        share = sum(float(x.sum()) for x in left) / (mu * sum(x.size for x in left))
        dd, _, df = self.way([share**3 * mu - e * g for e, g in zip(ds, df, strict=True)])
        return dd, df

    def way(self, targets: Sequence[Array | float]) -> tuple[Array, list[Array], list[Array]]:
        """Return the steps of coefficients, slacks and forces to products of the last two that are ``targets``."""
        right = -self.rest
        for x, f, t, s in zip(self.limits, self.forces, targets, self.states, strict=True):
            _spread(right, -((t / s.slack - f) * s.slope).sum(axis=1), x.cell)
        dd: Array = self.scale * dpbtrs(self.factor, right * self.scale)[0]
        ds = [-at(dd, s.slope, x.cell) for x, s in zip(self.limits, self.states, strict=True)]
        df = [(t - f * e) / s.slack - f for t, f, e, s in zip(targets, self.forces, ds, self.states, strict=True)]
        return dd, ds, df


def _time(d: Array) -> tuple[float, Array, list[Array]]:
    """Return the time in cells, its first derivatives (cells + 2,), and its second ones (cells,), of ``PAIRS``."""
    total, slope = 0.0, np.zeros(len(d))
    bent: list[Array] = [np.zeros(len(d) - 2) for _ in PAIRS]
    for x in GAUSS:
        w = basis(x)
        z = at(d, w)
        r = 1.0 / np.sqrt(z)
        total += 0.5 * float(r.sum())
        _spread(slope, w[:, None] * (-0.25 * r / z))
        for k, (i, j) in enumerate(PAIRS):
            bent[k] += w[i] * w[j] * (0.375 * r / (z * z))
    return total, slope, bent


def _spread(out: Array, parts: Array, cell: Ints | None = None) -> None:
    """Add what cells have for each of their three coefficients, (3, cells), to the coefficients ``out``."""
    n = len(out) - 2
    for k, part in enumerate(parts):
        out[k : k + n] += part if cell is None else np.bincount(cell, part, n)


def _most(x: Sequence[Array], step: Sequence[Array]) -> float:
    """Return the largest share of a step, at most 1 / FAR, that keeps positive values positive."""
    return 1.0 / max(FAR, *(float((-b / a).max()) for a, b in zip(x, step, strict=True)))
