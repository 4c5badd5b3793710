"""One smooth curve through fitted nodes: knots with derivatives, corners rounded, and its distance from the program.

Between fixed nodes a cubic spline goes through the fitted ones; it is handed on as quintics between knots, which meet
in position, first and second derivative. At a fixed node one quintic leads from spline to spline.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from math import comb

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.path.arc import TINY
from hexpost.path.cells import Nodes
from hexpost.path.corner import BEND_SHARE_EVEN, CORNER_SHARE, MOST_UNEQUAL, hermite
from hexpost.path.cubic import Cubic
from hexpost.path.fit import cone, sizes

SAG = 0.1
"""Sag of a chord from knot to knot as a share of the tolerance: how close knots are."""
MOST, LEAST = 1.0, 0.004
"""Longest and shortest way from knot to knot, mm."""
ROUNDED = 0.95
"""Share of the tolerance that a corner is planned with."""
LONGEST_CORNER = 2.0
"""A corner reaches at most so many mm to each side."""
KNOT = 1e-9
"""Knots nearer to each other than this, mm, are one."""
_BERNSTEIN = np.array([[comb(j, k) / comb(5, k) for k in range(6)] for j in range(6)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Knots:
    """Knots of a curve: parameter ``s`` (k,), ``state`` (3, d, k) place and two derivatives by it.

    ``corner`` (k,): the index of the corner that begins at the knot, else -1.
    """

    s: Array
    state: Array
    corner: Ints

    def coefficients(self) -> Array:
        """Return the quintics between them: coefficients (6 powers of u/size, d, k - 1)."""
        left, right = [x[:, :-1] for x in self.state], [x[:, 1:] for x in self.state]
        c = hermite([np.zeros_like(left[0]), *left[1:]], [right[0] - left[0], *right[1:]], np.diff(self.s))
        c[0] += left[0]
        return c


@dataclass(slots=True, kw_only=True, eq=False)
class Splines:
    """Curves between fixed nodes; ``reach`` (corners, 2): how far each corner goes to both sides, mm.

    ``straight``: the first and the last of them are parts of lines outside, which corners may take whole.
    """

    nodes: Nodes
    tips: int
    tolerance: float
    straight: tuple[bool, bool]
    parts: list[Cubic] = field(default_factory=list)
    edges: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    reach: Array = field(default_factory=lambda: np.zeros((0, 2)))

    def __post_init__(self) -> None:
        """Lay the splines, and let corners reach as far as they may."""
        s, q = self.nodes.s, self.nodes.place
        self.edges = np.flatnonzero(self.nodes.fixed)
        for a, b in pairwise(self.edges.tolist()):
            self.parts.append(Cubic(s[a : b + 1], q[:, a : b + 1]))
        self.reach = self._reach()

    def _reach(self) -> Array:
        at = self.nodes.s[self.edges]
        if len(at) <= 2:
            return np.zeros((0, 2))
        size = np.diff(at)
        room = 0.5 * size
        room[0] *= 2.0 if self.straight[0] else 1.0
        room[-1] *= 2.0 if self.straight[1] else 1.0
        sides = list(zip(pairwise(self.parts), at[1:-1], strict=True))
        both = [np.subtract(b(x, 1, 2), a(x, 1, 2)) for (a, b), x in sides]
        jump, bend = np.stack(both, axis=2)
        first, second = CORNER_SHARE * sizes(jump, self.tips), BEND_SHARE_EVEN * sizes(bend, self.tips)
        tolerance = ROUNDED * self.tolerance
        most = 2.0 * tolerance / np.maximum(first + np.sqrt(first**2 + 4.0 * tolerance * second), TINY)
        most = np.minimum(most, LONGEST_CORNER)
        d1, d2 = np.minimum(most, room[:-1]), np.minimum(most, room[1:])
        return np.stack([np.minimum(d1, MOST_UNEQUAL * d2), np.minimum(d2, MOST_UNEQUAL * d1)], axis=1)

    def knots(self, marks: Array) -> Knots:
        """Return knots close enough for the curve; some of them at parameters ``marks`` (m,) outside corners."""
        s, out_s, out_x, corner = self.nodes.s, [], [], []
        for k, ((a, b), part) in enumerate(zip(pairwise(self.edges.tolist()), self.parts, strict=True)):
            low = s[a] + (self.reach[k - 1, 1] if k else 0.0)
            high = s[b] - (self.reach[k, 0] if k < len(self.reach) else 0.0)
            if k == 0 and self.straight[0]:
                low = high
            if k == len(self.parts) - 1 and self.straight[1]:
                high = low
            t = self._along(slice(a, b + 1), part, low, high, marks)
            out_s.append(t)
            out_x.append(np.stack(part(t, 0, 1, 2)))
            own = np.full(len(t), -1)
            own[-1] = k if k < len(self.reach) else -1
            corner.append(own)
        return Knots(s=np.concatenate(out_s), state=np.concatenate(out_x, axis=2), corner=np.concatenate(corner))

    def _along(self, own: slice, part: Cubic, low: float, high: float, marks: Array) -> Array:
        """Return the knots from ``low`` to ``high`` on a spline: close where it bends, at slowly changing steps."""
        if high - low <= KNOT:
            return np.array([low])
        s = self.nodes.s[own]
        bend = np.sqrt((part(s, 2)[0] ** 2).sum(0))
        bend = np.maximum(bend, np.concatenate([[0.0], bend[:-1]]))
        sag = 8.0 * SAG * self.tolerance
        h = np.clip(np.sqrt(sag / np.maximum(bend, TINY)), LEAST, MOST)
        h = np.sqrt(cone(s, h * h, sag))
        rate = np.concatenate([[0.0], np.cumsum(np.diff(s) * 0.5 * (1.0 / h[1:] + 1.0 / h[:-1]))])
        inner = marks[(marks > low + KNOT) & (marks < high - KNOT)]
        stops = np.concatenate([[low], inner, [high]])
        level = np.interp(stops, s, rate)
        out = [stops[:1]]
        for i in range(len(stops) - 1):
            count = max(1, int(np.ceil(level[i + 1] - level[i] - 1e-6)))
            t = np.interp(np.linspace(level[i], level[i + 1], count + 1)[1:], rate, s)
            t[-1] = stops[i + 1]
            out.append(t)
        return np.concatenate(out)


def distance(knots: Knots, x: Array, s: Array, tips: int) -> tuple[Ints, Array, Array]:
    """Return bounds of the distance of the curve from the polyline ``x`` (d, n) at parameters ``s`` (n,), by part.

    Both run over the same growing parameter, so the largest distance at equal parameters bounds how far each is from
    the other, in order (the Frechet distance). Where neither has a break their difference is a quintic, which lies in
    the hull of its Bernstein coefficients (Farouki & Rajan 1988). Returned are, per part (m,), the piece of the curve,
    the parameter where the part begins, and the bounds (2, m) of tip and tilt.
    """
    low, high = knots.s[0], knots.s[-1]
    inner = s[(s > low) & (s < high)]
    u = distinct(np.concatenate([knots.s, inner]))
    piece = np.clip(np.searchsorted(knots.s, u[:-1], side="right") - 1, 0, len(knots.s) - 2)
    size = np.diff(knots.s)[piece]
    begin, width = (u[:-1] - knots.s[piece]) / size, np.diff(u) / size
    c = knots.coefficients()[:, :, piece]
    local, power = np.zeros_like(c), [np.ones(len(piece)), begin]
    for _ in range(4):
        power.append(power[-1] * begin)
    for j in range(6):
        for i in range(j, 6):
            local[j] += comb(i, j) * power[i - j] * c[i]
    wide = np.ones(len(piece))
    for j in range(1, 6):
        wide *= width
        local[j] *= wide
    line = np.stack([np.interp(u, s, row) for row in x])
    local[0] -= line[:, :-1]
    local[1] -= np.diff(line, axis=1)
    points = np.tensordot(_BERNSTEIN, local, axes=(1, 0)) ** 2
    bound = np.sqrt(np.stack([points[:, :tips].sum(1).max(0), points[:, tips:].sum(1).max(0)]))
    return piece, u[:-1], bound
