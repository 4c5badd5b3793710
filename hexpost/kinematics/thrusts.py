"""The thrusts of six struts that carry a body along a path, worked out in the axes of the platform.

There the platform joints, the centre of mass and the inertia stand still: the wrench that moves the body is one matrix
times rows of the motion, and the wrench of six forces at the joints is one matrix times these forces.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hexpost.arrays import Array, Columns, Flags
from hexpost.kinematics.dynamics import PULL, TURNING, RigidBody, demand
from hexpost.kinematics.platform_from_work import looked_back, strut_matrix, turned_back
from hexpost.kinematics.statics import Balance, wrenches
from hexpost.kinematics.struts import Struts
from hexpost.kinematics.turning import turning

CHUNK = 4096
"""Samples balanced at a time, so that the work arrays stay in the processor's cache; a multiple of every step."""

STEPS = (8, 64)
"""Fewest and most samples from one inverted pose to the next; powers of two."""

REACH = 32.0
"""Travel from one inverted pose to the next, mm; a turn of one rad counts as the distance of the joints."""

FEWEST = 4
"""Fewest pieces that cubics are worth."""

CLOSE = 1e-5
"""Share of the thrusts that their correction may be: what is left is about its square."""

CUBIC = np.array([[0, 6, 0, 0], [-2, -3, 6, -1], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6.0
"""Coefficients of 1, t, t2, t3 of the cubic through values at t = -1, 0, 1, 2."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut(Columns):
    """What acts on the tool at n samples, (n,) each; ``None`` for nothing.

    ``on``: 1 where the constant force acts, else 0; ``axial`` [N]: force along z of the platform; ``drag`` [N s/mm]:
    force against the motion of the tip over its speed.
    """

    on: Array | None = None
    axial: Array | None = None
    drag: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadedMotion(Columns):
    """Poses (6, n) at a steady ``period`` [s] with their rates and accelerations, and what acts on the tool.

    ``turned`` (11, n): what is known of the poses already, see ``Struts.derivatives_and_turned``. ``still``: nothing
    accelerates, as if the machine stood in each pose; what acts on the tool stays.
    """

    pose: Array
    rate: Array
    bend: Array
    period: float
    cut: Cut
    turned: Array | None = None
    still: bool = False


class Thrusts:
    """Thrusts along six ``struts`` that carry a ``body`` seen from the tip, under ``gravity`` (3,) of the work frame.

    ``force`` (6,) is the constant force [N] and moment [N mm] on the tool, in the axes of the platform.

    Every few samples the balance of forces is inverted; between them the inverse is taken as a cubic in time. What it
    gives is put into the balance, and what is missing there corrects it, by the same inverse: the error is squared.
    Samples whose correction is not small, as near a singular pose, are balanced by elimination.
    """

    def __init__(self, struts: Struts, body: RigidBody, gravity: Array, force: Array) -> None:
        self._order = struts.order
        self._gravity = gravity[:, None]
        joints = struts.platform.T  # (3, 6)
        self._joints = joints[:, :, None]
        lever = float(np.sqrt((joints * joints).sum(axis=0).mean())) or 1.0
        self._lever = lever
        scale = np.array([1.0, 1.0, 1.0, 1.0 / lever, 1.0 / lever, 1.0 / lever])[:, None]
        self._demand = scale * np.hstack([demand(body), -force[:, None], -np.eye(6)[:, 2:3]])
        self._strut_matrix = strut_matrix(struts)
        unit = np.eye(18).reshape(18, 3, 6).transpose(1, 2, 0)
        self._total = wrenches(unit, self._joints, lever).sum(axis=1)  # (6, 18): of six forces (3, 6)

    @cached_property
    def _room(self) -> "_Room":
        return _Room()

    def along(self, motion: LoadedMotion, length: Array) -> Array:
        """Return the thrusts (6, n), positive where a strut pushes, at samples whose struts have ``length`` (6, n)."""
        n = length.shape[1]
        out: Array = np.empty_like(length)
        good = np.zeros(n, dtype=bool)
        step = self._step(motion)
        whole = n - n % step
        with np.errstate(all="ignore"):
            cubics = self._cubics(motion, step) if whole >= FEWEST * step else None
            if cubics is not None:
                for first in range(0, whole, CHUNK):
                    part = slice(first, min(first + CHUNK, whole))
                    pieces = cubics.at(slice(first // step, part.stop // step))
                    good[part] = self._interpolated(motion.take(part), pieces, length[:, part], out[:, part])
        left = np.flatnonzero(~good)
        if len(left):
            out[:, left] = self.balanced(motion.take(left), length[:, left])
        return out

    def balanced(self, motion: LoadedMotion, length: Array) -> Array:
        """Return the same by elimination at each sample."""
        out: Array = np.empty_like(length)
        for first in range(0, length.shape[1], CHUNK):
            part = slice(first, min(first + CHUNK, length.shape[1]))
            here = motion.take(part)
            seen = self._looked_back(here.pose, here.turned)
            directions = self._struts(seen)
            directions /= length[:, part]
            right = self._room.powers[:6, : seen.shape[2]]
            self._wrench(here, seen, right)
            out[:, part] = self._room.balance.solve(wrenches(directions, self._joints, self._lever), right)
        return out

    def _step(self, motion: LoadedMotion) -> int:
        """Return the samples from one inverted pose to the next, by the fastest motion of the batch."""
        fastest = np.maximum(motion.rate.max(axis=1), -motion.rate.min(axis=1))
        travel = float(np.sqrt((fastest[:3] ** 2).sum()) + self._lever * fastest[3:].sum()) * motion.period
        ticks = 1 << int(np.log2(max(REACH / max(travel, REACH / STEPS[1]), 1.0)))
        return min(max(ticks, STEPS[0]), STEPS[1])

    def _cubics(self, motion: LoadedMotion, step: int) -> "_Cubics | None":
        """Return the cubics over pieces of ``step`` samples, or none where a pose between two of them is singular.

        The last piece may end one sample after the batch, where its last sample leads on to.
        """
        pieces = motion.pose.shape[1] // step
        nodes = motion.pose[:, ::step][:, : pieces + 1]
        if nodes.shape[1] == pieces:
            last, dt = motion.take(slice(-1, None)), motion.period
            nodes = np.concatenate([nodes, last.pose + dt * (last.rate + dt / 2.0 * last.bend)], axis=1)
        matrix = wrenches(self._struts(self._looked_back(nodes)), self._joints, self._lever)
        try:
            inverse = np.linalg.inv(matrix.transpose(2, 0, 1)).reshape(-1, 36)
        except np.linalg.LinAlgError:
            return None
        piece = np.arange(pieces)
        start = np.clip(piece - 1, 0, pieces - 3)
        cubics = CUBIC @ inverse[start + np.arange(4)[:, None]].reshape(4, -1)
        return _Cubics(
            time=np.arange(step) / step + (piece - start - 1.0)[:, None],
            inverse=cubics.reshape(4, pieces, 6, 6).transpose(1, 2, 0, 3).reshape(pieces, 6, 24),
        )

    def _interpolated(self, motion: LoadedMotion, cubics: "_Cubics", length: Array, out: Array) -> Flags:
        """Fill ``out`` (6, n) with thrusts by the interpolated inverse; return where (n,) they are right."""
        n = length.shape[1]
        seen = self._looked_back(motion.pose, motion.turned)
        vectors = self._struts(seen)
        powers, (found, change) = self._room.powers[:, :n], self._room.found[:, :, :n]
        missing = powers[:6]
        self._wrench(motion, seen, missing)
        cubics.times(powers, found)  # thrusts over lengths
        vectors *= found  # the forces at the joints
        missing -= np.matmul(self._total, self._room.vectors[:, :n], out=change)
        cubics.times(powers, change)
        found += change
        np.multiply(found, length, out=out)
        size = np.einsum("kn,kn->n", found, found)
        size *= CLOSE * CLOSE
        good: Flags = np.einsum("kn,kn->n", change, change) <= size
        return good

    def parts(self, q: Sequence[Array]) -> Array:
        """Return four thrusts (4, 6, n) along a path, for poses and their two derivatives ``q`` (6, n) along it.

        Newton's and Euler's equations are linear in the second derivatives and quadratic in the first, so the thrust
        is that of standing still, plus s'' and s'^2 times two others; the last is what the constant force adds.
        """
        pose, slope, curve = q
        n = pose.shape[1]
        seen: Array = np.empty((3, 5, n))
        looked_back(pose, self._order, seen)
        rows: Array = np.zeros((4, 14, n))
        for k, pull in enumerate((-self._gravity, slope[:3], curve[:3])):
            turned_back(seen, np.broadcast_to(pull, (3, n)), rows[k, PULL])
        none = np.zeros_like(pose)
        self._turning((pose, none, slope), seen, rows[1, TURNING])
        self._turning((pose, slope, curve), seen, rows[2, TURNING])
        rows[3, 12] = 1.0
        matrix = self._matrix(np.matmul(self._strut_matrix, seen))
        balance = Balance()
        return np.stack([balance.solve(matrix, self._demand @ x) for x in rows])

    def along_axes(self, pose: Array) -> tuple[Array, Array]:
        """Return thrusts at rest (6, n), and those (3, 6, n) that 1 mm/s2 along each axis of the platform adds.

        Poses (6, n) need not be near each other. numpy's error where one is singular.
        """
        n = pose.shape[1]
        seen: Array = np.empty((3, 5, n))
        looked_back(pose, self._order, seen)
        pulls = np.zeros((4, 3, n))
        turned_back(seen, np.broadcast_to(-self._gravity, (3, n)), pulls[0])
        pulls[1:] = np.eye(3)[:, :, None]
        matrix = self._matrix(np.matmul(self._strut_matrix, seen)).transpose(2, 0, 1)
        found: Array = np.empty((4, 6, n))
        found.T[:] = np.linalg.solve(matrix, (self._demand[:, PULL] @ pulls).T)
        return found[0], found[1:]

    def _matrix(self, vectors: Array) -> Array:
        """Return the matrices (6, 6, n) of the balance, for ``vectors`` (3, 6, n) along the struts, which are spent."""
        vectors /= np.sqrt(np.einsum("ikn,ikn->kn", vectors, vectors))
        return wrenches(vectors, self._joints, self._lever)

    def _turning(self, q: Sequence[Array], seen: Array, out: Array) -> None:
        """Fill the rows ``TURNING`` (9, n) for poses and their two derivatives ``q`` (6, n)."""
        w: Array = np.empty((4, out.shape[1]))
        turning(q, seen[:, :3], self._order, w[:3], out[:3])
        w[3] = w[0]
        np.multiply(w[:3], w[:3], out=out[3:6])
        np.multiply(w[:3], w[1:], out=out[6:])

    def _looked_back(self, pose: Array, turned: Array | None = None) -> Array:
        """Return the rows (3, 5, n) of ``looked_back``."""
        seen = self._room.seen[:, :, : pose.shape[1]]
        looked_back(pose, self._order, seen, turned)
        return seen

    def _struts(self, seen: Array) -> Array:
        """Return the vectors (3, 6, n) along the struts, base to platform, in the axes of the platform."""
        out: Array = self._room.vectors.reshape(3, 6, CHUNK)[:, :, : seen.shape[2]]
        np.matmul(self._strut_matrix, seen, out=out)
        return out

    def _wrench(self, motion: LoadedMotion, seen: Array, out: Array) -> None:
        """Fill ``out`` (6, n) with the wrench that the struts have to give, moments over the lever."""
        rows, cut = self._room.rows[:, : out.shape[1]], motion.cut
        turned_back(seen, -self._gravity if motion.still else motion.bend[:3] - self._gravity, rows[PULL])
        if not motion.still and (motion.rate[3:].any() or motion.bend[3:].any()):
            self._turning((motion.pose, motion.rate, motion.bend), seen, rows[TURNING])
        else:
            rows[TURNING] = 0.0
        for row, x in ((rows[12], cut.on), (rows[13], cut.axial)):
            row[:] = 0.0 if x is None else x
        np.matmul(self._demand, rows, out=out)
        if cut.drag is not None:
            out[:3] += turned_back(seen, motion.rate[:3] * cut.drag, rows[PULL])


class _Room:
    """Work arrays for the samples of a chunk, and the pivots of their balance."""

    def __init__(self) -> None:
        self.balance = Balance()
        self.seen: Array = np.empty((3, 5, CHUNK))
        self.rows: Array = np.zeros((14, CHUNK))
        self.powers: Array = np.empty((24, CHUNK))
        self.found: Array = np.empty((2, 6, CHUNK))
        self.vectors: Array = np.empty((18, CHUNK))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cubics:
    """Inverses of the balance over m pieces: ``time`` (m, s) of the samples, ``inverse`` (m, 6, 24) by powers of it."""

    time: Array
    inverse: Array

    def at(self, pieces: slice) -> "_Cubics":
        """Return some of the pieces."""
        return _Cubics(time=self.time[pieces], inverse=self.inverse[pieces])

    def times(self, powers: Array, out: Array) -> None:
        """Fill ``out`` (6, n) with the inverse times the first six rows of ``powers`` (24, n); the others are spent."""
        time = self.time.reshape(-1)
        for k in (6, 12, 18):
            np.multiply(powers[k - 6 : k], time, out=powers[k : k + 6])
        by_piece = (x.reshape(len(x), *self.time.shape).transpose(1, 0, 2) for x in (powers, out))
        np.matmul(self.inverse, next(by_piece), out=next(by_piece))
