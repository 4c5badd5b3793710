"""The check of how far the tool leaves the path when the struts move linearly between setpoints."""

from collections.abc import Iterator

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.audit.band import WHOLE, Band, Context
from hexpost.kinematics.struts import Struts, jacobian
from hexpost.moves.model import FEED_RAPID
from hexpost.setpoints.model import Setpoints

REACH = 40.0
"""Travel between two poses whose Jacobian is inverted, mm; it changes by a few percent over it."""

LEVER = 500.0
"""Travel counted for a turn of one rad, mm: about the distance of the joints from the tip."""

CHUNKS = (1, 1024)
"""Fewest and most samples between two such poses."""

NEAR = 0.9
"""Samples whose estimate, with what it may be off by, lies above this share of the limit are solved."""

BETWEEN = 1.1
"""How much more an inverse may change between two such poses than at them."""

SURE = 1.02
"""The worst deviation of a job, where it is far below the limit, is told to within this factor."""

STILL = 1e-6
"""Tip speed below which there is no direction of travel, mm/s."""

NO_BOUND = 1e12
"""Gain from strut error to tip error that stands for infinity at an exactly singular pose."""


class Deviation:
    """The tip error across the direction of travel in the middle of a tick, feed moves only.

    Between two setpoints a strut that moves linearly is off by l'' dt^2 / 8 at mid-tick (remainder of linear
    interpolation); the tip is off by the first three rows of J^-1 times that. What lies along the motion is a matter
    of time, not of shape. The Jacobian is inverted at a few poses of a batch and the inverse interpolated; samples
    near the limit, and those that may be the worst of the job so far, are solved exactly.
    """

    def __init__(self, context: Context) -> None:
        most = np.full(1, context.machine.tool_tip.deviation)
        margin = context.margins.get("deviation", 1.0)
        self.band = Band(
            limit="deviation", struts=WHOLE, low=np.full(1, -np.inf), high=most, centre=np.zeros(1), scale=most,
            slack=np.zeros(1),
        )  # fmt: skip
        self._near = NEAR * margin * float(most[0])
        self._poses = context.poses
        self._cutting: Flags = np.append(context.moves.feed_mode != FEED_RAPID, False)
        self._worst = 0.0

    def measure(self, setpoints: Setpoints) -> Array | None:
        """Return the deviation (1, n) of a batch in mm; ``None`` if there are only rapids, or if it is small.

        It is 0 on rapids, and where it is near neither the limit nor the worst so far.
        """
        poses = setpoints.poses
        cutting = self._cutting[poses.move]
        if not cutting.any():
            return None
        out: Array = np.zeros((1, len(cutting)))
        solved = False
        for at in self._candidates(setpoints, cutting):
            error = tip_errors(
                self._poses.struts(setpoints), poses.pose[:, at], setpoints.acceleration[:, at], setpoints.period
            )
            out[0, at] = across(error, poses.rate[:3, at])
            self._worst = max(self._worst, float(out.max()))
            solved = True
        return out if solved else None

    def _candidates(self, setpoints: Setpoints, cutting: Flags) -> Iterator[Ints]:
        """Yield the ``cutting`` samples (m,) that may be near the limit, with the largest; then what may be worse."""
        error, off = self._estimate(setpoints)
        low = min(SURE * self._worst, self._near)
        total = np.sqrt(np.einsum("in,in->n", error, error))
        at = np.flatnonzero((total + off >= low) & cutting)
        if not at.size:
            return
        size, off = across(error[:, at], setpoints.poses.rate[:3, at]), off[at]
        solve = size + off > self._near
        top = size.argmax()
        solve[top] |= size[top] + off[top] >= SURE * self._worst
        if solve.any():
            yield at[solve]
        rest = at[~solve & (size + off > SURE * self._worst)]
        if rest.size:
            yield rest

    def _estimate(self, setpoints: Setpoints) -> tuple[Array, Array]:
        """Return estimates (3, n) of the tip error, and what they may be off by (n,)."""
        poses = setpoints.poses
        n = len(poses.tick)
        step = _chunk(poses.rate, setpoints.period)
        chunks = -(-n // step)
        nodes = np.minimum(np.arange(chunks + 1) * step, n - 1)
        struts = self._poses.struts(setpoints)
        whole = _inverses(jacobian(struts, poses.pose[:, nodes]))
        gain = whole[:, :3] * (setpoints.period**2 / 8.0)
        bend = setpoints.acceleration
        if n % step:
            bend = np.concatenate([bend, np.zeros((6, chunks * step - n))], axis=1)
        both: Array = np.empty((6, chunks, step))
        gains = np.concatenate([gain[:-1], gain[1:] - gain[:-1]], axis=1)
        np.matmul(gains, bend.reshape(6, chunks, step).transpose(1, 0, 2), out=both.transpose(1, 0, 2))
        both[:3] += both[3:] * (np.arange(step) / step)
        most = _changes(struts, whole, _travel(poses.pose, step), setpoints.length)
        size = np.sqrt(np.einsum("in,in->n", bend, bend)).reshape(chunks, step)
        size *= most[:, None] * (setpoints.period**2 / 8.0)
        return both[:3].reshape(3, -1)[:, :n], size.reshape(-1)[:n]


def _travel(pose: Array, step: int) -> tuple[Array, Array]:
    """Return how far the tip goes, mm, and the tool turns at most, rad, from sample to sample of each chunk (m,)."""
    way, cuts = np.zeros(pose.shape), np.arange(0, pose.shape[1], step)
    np.subtract(pose[:, 1:], pose[:, :-1], out=way[:, :-1])
    shift, turn = (np.add.reduceat(np.sqrt(np.einsum("in,in->n", part, part)), cuts) for part in (way[:3], way[3:]))
    return shift, turn * 2.0**0.5  # the axes of two angles may be one


def _changes(struts: Struts, inverse: Array, travel: tuple[Array, Array], length: Array) -> Array:
    """Return by how much the tip's rows of an inverse change on the way of each chunk (m,), as a norm.

    ``inverse`` (m + 1, 6, 6) at its ends. With w = J^-1 e, d(J^-1) e = -J^-1 dJ w. A joint goes w_t + w_r x R b; the
    row of J for its strut turns with what it goes across the strut, over the length, and with R b. So each row of dJ w
    is at most |v| |d| / l + |w_r| |dr| |b|, where v and d are what the joint goes by w and on the way, dr the turn.
    """
    shift, turn = travel
    arm, shortest = float(np.linalg.norm(struts.platform, axis=1).max()), float(length.min())
    tip, tilt = (np.sqrt(np.einsum("nij,nij->n", part, part)) for part in (inverse[:, :3], inverse[:, 3:]))
    tip, tilt = np.maximum(tip[1:], tip[:-1]), np.maximum(tilt[1:], tilt[:-1])
    rows = (tip + arm * tilt) * (shift + arm * turn) / shortest + tilt * turn * arm
    out: Array = BETWEEN * 6.0**0.5 * tip * rows
    return out


def across(error: Array, velocity: Array) -> Array:
    """Return the size (n,) of the part of ``error`` (3, n) that is square to ``velocity`` (3, n)."""
    total: Array = np.einsum("in,in->n", error, error)
    speed2: Array = np.einsum("in,in->n", velocity, velocity)
    along: Array = np.einsum("in,in->n", error, velocity)
    speed2[speed2 <= STILL**2] = np.inf
    along *= along
    along /= speed2
    total -= along
    out: Array = np.sqrt(np.maximum(total, 0.0, out=total), out=total)
    return out


def tip_errors(struts: Struts, pose: Array, acceleration: Array, period: float) -> Array:
    """Return the tip error (3, n) in mm at mid-tick, at poses (6, n) with strut accelerations (6, n)."""
    gain = tip_gain(jacobian(struts, pose)) * (period**2 / 8.0)
    out: Array = np.einsum("nij,jn->in", gain, acceleration)
    return out


def tip_gain(jacobians: Array) -> Array:
    """Return the first three rows of the inverses (n, 3, 6) of ``jacobians`` (n, 6, 6)."""
    return _inverses(jacobians)[:, :3]


def _inverses(jacobians: Array) -> Array:
    try:
        inverse = np.asarray(np.linalg.inv(jacobians), dtype=np.float64)
    except np.linalg.LinAlgError:
        singular = np.linalg.det(jacobians) == 0.0
        regular = np.where(singular[:, None, None], np.eye(6) / NO_BOUND, jacobians)
        inverse = np.asarray(np.linalg.inv(regular), dtype=np.float64)
    return inverse


def _chunk(rate: Array, period: float) -> int:
    """Return how many ticks (a power of two) the tool needs at least for ``REACH``, at rates (6, n)."""
    fastest = np.maximum(rate.max(axis=1), -rate.min(axis=1))
    travel = max(float(np.hypot(*fastest[:2])), float(fastest[2]), LEVER * float(fastest[3:].max())) * period
    ticks = 1 << int(np.log2(max(REACH / max(travel, REACH / CHUNKS[1]), 1.0)))
    return min(max(ticks, CHUNKS[0]), CHUNKS[1])
