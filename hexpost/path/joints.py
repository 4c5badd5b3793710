"""Where two moves meet: how direction and curvature jump, and how far a corner may reach into each."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.path.arc import TINY, Circles
from hexpost.path.corner import BEND_SHARE, BEND_SHARE_EVEN, CORNER_SHARE, MOST_UNEQUAL, TWIST_SHARE

SMOOTH = 1e-12
"""Jumps of q' and q'' (per mm) below this are rounding: no corner."""

ARC_TURN = 0.5
"""A corner takes at most this much of the turn of an arc, rad: the remainder series of ``TWIST_SHARE`` holds."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tolerances:
    """Corner tolerances in mm and rad, and the millimetres that count as much as one radian."""

    tip: float
    tilt: float

    @property
    def rho(self) -> float:
        """Return mm/rad: a corner then uses both tolerances up together."""
        return self.tip / self.tilt


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joints:
    """Joints between moves i and i + 1 for consecutive i, shape (m,): both sides and what jumps.

    ``before`` and ``after`` (6, m) are q' on the two sides; ``tip_jump`` mm per parameter and ``tilt_jump`` rad
    per parameter their difference as norms; ``bend_jump`` that of q''. ``twist``: norms of q''' of arcs, summed;
    ``limit``: longest cut the arcs allow; ``curved``: an arc on at least one side.
    """

    before: Array
    after: Array
    tip_jump: Array
    tilt_jump: Array
    bend_jump: Array
    twist: Array
    limit: Array
    curved: Flags

    def smooth(self, rho: float) -> Flags:
        """Return where nothing jumps."""
        out: Flags = (self.tip_jump < SMOOTH) & (rho * self.tilt_jump < SMOOTH) & (self.bend_jump < SMOOTH)
        return out

    def reach(self, tip: Array, tilt: Array) -> Array:
        """Return the longest equal cuts (m,) within the tolerances ``tip`` and ``tilt`` (m,); very long where straight.

        The distance from the vertex is at most c1 d |jump of q'| + c2 d^2 |jump of q''| (see ``corner``).
        """
        straight = CORNER_SHARE * self.tip_jump
        root = straight + np.sqrt(straight**2 + 4.0 * BEND_SHARE_EVEN * tip * self.bend_jump)
        d = np.minimum(2.0 * tip / np.maximum(root, TINY), tilt / np.maximum(CORNER_SHARE * self.tilt_jump, TINY))
        return np.minimum(d, self.limit)

    def cut(self, reach: Array, before: Array, after: Array, tip: Array) -> tuple[Array, Array]:
        """Return the cuts (m,) of the moves before and after, at most half of their lengths (``before``, ``after``)."""
        d1, d2 = np.minimum(reach, 0.5 * before), np.minimum(reach, 0.5 * after)
        d1, d2 = np.minimum(d1, MOST_UNEQUAL * d2), np.minimum(d2, MOST_UNEQUAL * d1)
        if self.curved.any():
            d = np.maximum(d1, d2)
            share = np.where(d1 == d2, BEND_SHARE_EVEN, BEND_SHARE)
            use = d * (CORNER_SHARE * self.tip_jump + d * (share * self.bend_jump + d * (TWIST_SHARE * self.twist)))
            factor = np.where(self.curved, np.minimum(1.0, tip / np.maximum(use, TINY)), 1.0)
            d1, d2 = d1 * factor, d2 * factor
        return d1, d2


def joints(tangent: Array, circles: Circles, i: Ints) -> Joints:
    """Return the joints behind consecutive moves ``i`` (m,), from ``tangent`` (6, n) and the arcs."""
    a, b = int(i[0]), int(i[-1]) + 1
    before, after = tangent[:, a:b].copy(), tangent[:, a + 1 : b + 1].copy()
    bend: Array = np.zeros((3, i.size))
    twist, limit = np.zeros(i.size), np.full(i.size, np.inf)
    curved = np.zeros(i.size, dtype=np.bool_)
    sides = ((circles.from_end, before, a, -1.0), (circles.from_start, after, a + 1, 1.0))
    for swing, side, low, sign in sides if circles.move.size else ():
        k = np.arange(*np.searchsorted(circles.move, (low, low + i.size)))
        at = circles.move[k] - low
        first, second, third = swing.displacement(k, np.zeros(k.size), 3, 1)
        side[:3, at] = first
        bend[:, at] += sign * second
        twist[at] += np.sqrt((third**2).sum(0))
        limit[at] = np.minimum(limit[at], ARC_TURN / np.maximum(np.abs(swing.rate[k]), TINY))
        curved[at] = True
    jump = after - before
    return Joints(
        before=before,
        after=after,
        tip_jump=np.sqrt((jump[:3] ** 2).sum(0)),
        tilt_jump=np.sqrt((jump[3:] ** 2).sum(0)),
        bend_jump=np.sqrt((bend**2).sum(0)),
        twist=twist,
        limit=limit,
        curved=curved,
    )
