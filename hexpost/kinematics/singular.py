"""How near poses are to a singular one, on which side of it, and how far that can change on the way between them.

J has the rows [u, r x u / L]: u along a strut, r from the middle of the platform joints to its own, L the root mean
square of |r|. Its determinant is the same about every point, and over L it has no unit. The measure is

    conditioning = 6 det J / (|J| |adj J|) = sign(det J) 6 / (|J| |J^-1|),   norms of Frobenius,

1 at best (sum s^2 sum 1/s^2 >= 36 for six singular values s, by Cauchy and Schwarz) and 0 at a singular pose; its sign
tells the two sides of a singular pose apart. 1 / |J^-1| never changes by more than J does: for any other matrix K,
J^-1 - K^-1 = J^-1 (K - J) K^-1, so |J^-1| - |K^-1| <= |J^-1| |K - J| |K^-1|; divide by the norms of both inverses. So
what a way and a turn can do to J bounds the conditioning all along them.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.kinematics.links import Links, links
from hexpost.kinematics.statics import inverse_norms
from hexpost.kinematics.struts import Struts

LEAST = 1e-3
"""A pose below this counts as singular.

Joints that each lie e off what the file says change J by at most sqrt(30) e / L where struts are at least 2 L
long: u by 2 e / l, r by e. J stays regular under changes below 1 / |J^-1|, which is at least conditioning / sqrt(6).
So no pose of 1e-3 is singular on a machine that is built to L / 13,400: 0.02 mm at a mean joint radius of 300 mm.
"""

GROUP = 256
"""Samples for which one in the middle speaks, where it can."""
FINEST = 1.0 / 64.0
"""Shortest part of a control period that is looked at on its own."""
AGAIN = 1e-9
"""A conditioning that is less than this share below the lowest so far is the same."""


class Nearness:
    """How near the poses of six struts are to a singular one.

    ``length``: the characteristic length, mm. ``side``: the sign of the determinant that counts as the good one.
    """

    def __init__(self, struts: Struts, length: float, side: float) -> None:
        middle = struts.platform.mean(axis=0)
        self.struts = struts
        self._length, self._side = length, side
        self._offset = float(np.linalg.norm(middle))
        self._radii = np.linalg.norm(struts.platform - middle, axis=1)[:, None]

    def of(self, here: Links) -> tuple[Array, Array]:
        """Return the conditioning (n,), negative beyond a singular pose, and the norm of J (n,)."""
        (ux, uy, uz), arms = here.direction, here.arms
        rx, ry, rz = (arms - arms.mean(axis=1, keepdims=True)) / self._length
        rows = np.stack([ux, uy, uz, ry * uz - rz * uy, rz * ux - rx * uz, rx * uy - ry * ux])
        return conditioning(rows, self._side)

    def floor(self, here: Links, way: Array, turn: Array) -> tuple[Array, Array]:
        """Return the conditioning (n,) here, and the least it can be within a ``way`` and a ``turn`` from here (n,)."""
        found, norm = self.of(here)
        return found, self.least(found, norm, here.length, way, turn)

    def least(self, found: Array, norm: Array, length: Array, way: Array, turn: Array) -> Array:
        """Return the least conditioning (n,) within a ``way`` of the tip, mm, and a ``turn``, rad, from poses.

        There it is ``found`` (n,), the norm of J is ``norm`` (n,), the struts have ``length`` (6, n). Unit vectors
        along x and y, an angle f apart, differ by 2 sin(f / 2) <= 2 |x - y| / (|x| + |y|), for |x - y|^2 =
        (|x| - |y|)^2 + 4 |x| |y| sin^2(f / 2).
        """
        moved = way + turn * self._offset + turn * self._radii
        bent = np.minimum(2.0 * moved / np.maximum(2.0 * length - moved, moved), 2.0)
        swung = (turn + bent) * (self._radii / self._length)
        change = np.sqrt((bent * bent + swung * swung).sum(axis=0))
        out: Array = (found * norm - 6.0 * change) / (norm + change)
        return out


def conditioning(matrix: Array, side: float = 1.0) -> tuple[Array, Array]:
    """Return the conditioning (n,) of matrices (6, 6, n), with the sign of determinant times ``side``; and norms."""
    norm = np.sqrt(np.einsum("ijn,ijn->n", matrix, matrix))
    back, sign = inverse_norms(matrix)
    return 6.0 * side * sign / (norm * back), norm


def used(found: Array, least: float) -> Array:
    """Return what poses use of the ``least`` conditioning: it over what is found; below it, 1 and what is missing."""
    out: Array = np.where(found < least, 1.0 + least - found, least / np.maximum(found, least))
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """Consecutive samples of a motion: ``pose``, ``rate``, ``acceleration`` (6, n), ``period`` [s] apart.

    ``most`` (2,): acceleration of the tip [mm/s2] and of the angles [rad/s2] that none exceeds between two samples.
    """

    pose: Array
    rate: Array
    acceleration: Array
    period: float
    most: tuple[float, float]

    def paces(self, starts: Ints) -> tuple[Array, Array]:
        """Return speeds and accelerations (2, g) of tip and turn that hold from a sample before to one after groups.

        The angles turn about unit axes: the sum of their sizes bounds the turn. Inside a period no velocity changes by
        more than to its opposite.
        """
        speed, pull = (_most(x, starts) for x in (self.rate, self.acceleration))
        unseen = np.minimum(np.array(self.most)[:, None], 2.0 * speed / self.period)
        pull += unseen
        return speed + pull * self.period, pull

    def at(self, ticks: Array) -> tuple[Array, Ints, Array]:
        """Return poses (6, m) at times (m,) in periods, the samples that they are reckoned from, and the s from there.

        Off a sample a pose is reckoned by velocity and acceleration, which leaves out half the change of acceleration
        times the square of the time.
        """
        sample = np.clip(np.rint(ticks), 0, self.pose.shape[1] - 1).astype(np.int64)
        past = (ticks - sample) * self.period
        pose = self.pose[:, sample]
        if past.any():
            pose = pose + past * (self.rate[:, sample] + past / 2.0 * self.acceleration[:, sample])
        return pose, sample, np.abs(past)


class Watch:
    """A pose whose neighbourhood holds whole batches of samples, as long as they cannot come near a singular pose."""

    def __init__(self, near: Nearness) -> None:
        self.near = near
        self._pose: Array = np.zeros((6, 1))
        self._known: tuple[Array, Array, Array] | None = None

    def clear(self, course: Course, bound: float) -> bool:
        """Return whether no pose of a course, nor one between two or a period before, can be below ``bound``."""
        low, high = course.pose.min(axis=1), course.pose.max(axis=1)
        beyond = np.maximum(course.rate.max(axis=1), -course.rate.min(axis=1)) * course.period
        return self._holds(low, high, beyond, bound) or self._moved((low + high) / 2.0, low, high, beyond, bound)

    def _moved(self, middle: Array, low: Array, high: Array, beyond: Array, bound: float) -> bool:
        """Return the same from a new pose in the middle of the course."""
        self._pose = middle[:, None]
        here = links(self.near.struts, self._pose)
        self._known = (*self.near.of(here), here.length)
        return self._holds(low, high, beyond, bound)

    def _holds(self, low: Array, high: Array, beyond: Array, bound: float) -> bool:
        """Return whether what is known about the pose suffices for a box of poses."""
        if self._known is None:
            return False
        off = np.maximum(high - self._pose[:, 0], self._pose[:, 0] - low) + beyond
        way = np.sqrt(off[:3] @ off[:3])
        return bool(self.near.least(*self._known, way, off[3:].sum())[0] >= bound)


def lowest(near: Nearness, course: Course, bound: float, worst: float) -> tuple[Ints, Array]:
    """Return samples (m,) and their conditioning: all that is below ``bound``, and the lowest if below ``worst``.

    The search covers the time from one period before the first sample to half a period after the last. What is below
    the bound between samples, or cannot be told from it, is that of the nearest sample. One sample in the middle
    speaks for its neighbours as long as they cannot be lower than ``bound`` and ``worst``; else each half is looked at.
    """
    n = course.pose.shape[1]
    starts = np.arange(0, n, GROUP)
    speed, pull = course.paces(starts)
    out: Array = np.full(n, np.inf)
    group = np.arange(len(starts))
    low, high = starts - 0.5, np.append(starts[1:], n) - 0.5
    low[0] = -1.0
    while group.size:
        middle = (low + high) / 2.0
        whole = high - low > 1.0
        middle[whole] = np.rint(middle[whole])
        pose, sample, past = course.at(middle)
        half = np.maximum(high - middle, middle - low) * course.period
        way, turn = speed[:, group] * half + pull[:, group] * (past * past / 2.0)
        found, floor = near.floor(links(near.struts, pose), way, turn)
        told = whole | (found < bound)
        np.minimum.at(out, sample[told], found[told])
        worst = min(worst, float(found[whole].min(initial=np.inf)))
        open_ = ~(floor >= bound)
        fine = open_ & (high - low <= FINEST)
        np.minimum.at(out, sample[fine], floor[fine])
        worse: Flags = floor < worst * (1.0 - AGAIN)
        if not (open_.any() or worse.any()):
            break
        low, high, group = np.append(low, middle), np.append(middle, high), np.append(group, group)
        kept = _kept(high - low, open_, worse)
        nearest = np.clip(np.rint((low + high) / 2.0), 0, n - 1).astype(np.int64)
        kept &= (high - low > 1.0) | ~(out[nearest] < bound)
        low, high, group = low[kept], high[kept], group[kept]
    told_at = np.flatnonzero((out < bound) | (out <= worst))
    return told_at, out[told_at]


def _kept(width: Array, below: Flags, worse: Flags) -> Flags:
    """Return which halves of intervals (2 m,) may hold something below the bound or, at a sample, below the worst."""
    out: Flags = (np.append(below, below) & (width > FINEST / 2.0)) | (np.append(worse, worse) & (width > 1.0))
    return out


def _most(x: Array, starts: Ints) -> Array:
    """Return sizes (2, g) of tip and angles that no column of ``x`` (6, n) in a group and one around it exceeds."""
    size: Array = np.maximum(np.maximum.reduceat(x, starts, axis=1), -np.minimum.reduceat(x, starts, axis=1))
    beside = np.abs(x[:, np.stack([starts[1:] - 1, starts[1:]])])
    np.maximum(size[:, 1:], beside[:, 0], out=size[:, 1:])
    np.maximum(size[:, :-1], beside[:, 1], out=size[:, :-1])
    out: Array = np.stack([np.sqrt((size[:3] * size[:3]).sum(axis=0)), size[3:].sum(axis=0)])
    return out
