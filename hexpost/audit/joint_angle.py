"""The check of the universal joints: cones about the neutral direction, and ranges of the angle about each axis."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.band import Band, Context, Figures, share_band, struts_without
from hexpost.kinematics.platform_from_work import Swings
from hexpost.kinematics.universal import UniversalJoints
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine, Universal
from hexpost.machine.universals import joints
from hexpost.setpoints.model import Setpoints
from hexpost.units import DEG_PER_RAD

BASE, PLATFORM = 0, 1


GROUP = 32
"""Samples for which the first and that after the last speak, as long as these are far enough from the worst."""

TIP_AND_TURN = np.array([[1.0, 1.0, 1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0, 1.0, 1.0]])
"""Times what coordinates of a pose change by, at most: the way of the tip, mm, and the turn, rad."""

NARROWEST = 1e-300
"""1 - cos of the narrowest cone: keeps divisions in range."""
ROUNDING = 1e-9
"""Share of a share that rounding may add."""


class JointAngle:
    """The larger share of its limits that either joint of each strut takes.

    For a cone that is the root of (1 - cos angle) / (1 - cos limit): the angle over its limit, near enough to rank
    samples, exactly 1 at the limit, and without an inverse function for every sample. What is shown is the angle.

    That root is the distance of two unit vectors, along the strut and along the neutral direction, over that of the
    limit. Where cones are all there is, most samples are known to be below the limit and the worst so far by samples
    near them: their share is given as 0.
    """

    def __init__(self, context: Context) -> None:
        machine = context.machine
        self._poses = context.poses
        self._joints = joints(machine)
        self._ends = (_limits(machine, "base_universal"), _limits(machine, "platform_universal"))
        cones = np.array([cones for cones, _ in self._ends])
        self._per_cone = _per_cone(cones)[:, :, None]
        self._held = np.isfinite(cones).any(axis=0)
        self._bounded = any(np.isfinite(ranges[1]).any() for _, ranges in self._ends)
        self._worst: Array = np.zeros(6)
        ranges = np.array([np.isfinite(both[1]).all(axis=0) for _, both in self._ends])
        held = np.isfinite(cones) | ranges
        unseen = (*struts_without(held[BASE], "base joints"), *struts_without(held[PLATFORM], "platform joints", 1))
        self.band: Band = replace(share_band("joint-angle"), unseen=unseen)
        self._turned: LastAnswer[int, tuple[UniversalJoints, Swings]] = LastAnswer()

    def measure(self, setpoints: Setpoints) -> Array | None:
        """Return the shares (6, n); ``None`` if none can be over the limit or the worst so far."""
        n = setpoints.length.shape[1]
        if self._bounded:
            out: Array = self._cone_shares(setpoints, slice(None)).max(axis=0)
            for end in (BASE, PLATFORM):
                these, direction = self._seen(end, setpoints, np.arange(n))
                np.maximum(out, _range_shares(these.angles(direction), self._ends[end][1]).max(axis=0), out=out)
            return out
        at = self._doubtful(setpoints)
        if not len(at):
            return None
        found = self._cone_shares(setpoints, at).max(axis=0)
        np.maximum(self._worst, found.max(axis=1), out=self._worst)
        out = np.zeros((6, n))
        out[:, at] = found
        return out

    def _doubtful(self, setpoints: Setpoints) -> Ints:
        """Return the samples (m,) that may be over a limit, or the worst so far."""
        most, share = self._bounds(setpoints)
        known = share.max(axis=(0, 2)) * (1.0 - ROUNDING)
        enough = np.minimum(np.maximum(known, self._worst * (1.0 + ROUNDING)), 1.0)[:, None]
        doubtful = ((most.max(axis=0) >= enough) & self._held[:, None]).any(axis=0)
        return np.flatnonzero(np.repeat(doubtful, GROUP)[: setpoints.length.shape[1]])

    def _bounds(self, setpoints: Setpoints) -> tuple[Array, Array]:
        """Return the largest shares (2, 6, g) there may be in each group of samples, and the shares at their edges.

        Between two samples with many others between them, a strut vector that moved straight would turn along an arc
        and stay within the cone that holds both ends. It leaves that way by what the pose leaves it, and, with angles
        that turn steadily, by an eighth of the second derivative of a turned vector x: at most t^2 |x| + 2 t w, with
        the turn t and the way w of the tip from end to end.
        """
        pose, n = setpoints.poses.pose, setpoints.length.shape[1]
        groups = -(-n // GROUP)
        if n < GROUP * groups:
            pose = np.concatenate([pose, np.repeat(pose[:, -1:], GROUP * groups - n, axis=1)], axis=1)
        knots = np.minimum(np.arange(groups + 1) * GROUP, n - 1)
        length = setpoints.length[:, knots]
        steps = np.diff(pose[:, knots], axis=1)
        straight = np.stack([np.ones(GROUP), np.arange(GROUP) / GROUP])
        off = np.stack([pose[:, knots[:-1]], steps], axis=2).reshape(-1, 2) @ straight
        off -= pose.reshape(off.shape)
        np.abs(off, out=off)
        slid, twisted = (TIP_AND_TURN @ off.reshape(6, -1)).reshape(2, groups, GROUP).max(axis=2)
        moved, turned = TIP_AND_TURN @ np.abs(steps)
        reach = float(length.max() + np.linalg.norm(self._poses.struts(setpoints).platform, axis=1).max())
        aside = slid + twisted * reach + (turned * turned * reach + 2.0 * turned * moved) / 8.0
        shortest = (length[:, :-1] + length[:, 1:] - moved - turned * reach - aside) / 2.0
        way = aside / np.maximum(shortest, ROUNDING)
        share = self._cone_shares(setpoints, knots)
        return np.maximum(share[:, :, :-1], share[:, :, 1:]) + way * np.sqrt(self._per_cone / 2.0), share

    def _cone_shares(self, setpoints: Setpoints, at: Ints | slice) -> Array:
        """Return the shares (2, 6, m) of the cones at either end at the samples ``at``."""
        _, swings = self._turned_joints(setpoints)
        share = 1.0 - swings.cosines(setpoints.poses.pose[:, at], setpoints.length[:, at])
        share *= self._per_cone
        np.maximum(share, 0.0, out=share)
        return np.sqrt(share, out=share)

    def figures(self, row: Ints, at: Ints, setpoints: Setpoints) -> Figures:
        """Return the angles, the limits that they come nearest to, both in degrees, and the ends of the struts."""
        found = []
        for end in (BASE, PLATFORM):
            these, here = self._seen(end, setpoints, at)
            cones, ranges = self._ends[end]
            pick = (row, np.arange(len(row)))
            swing = np.arccos(np.clip(these.swing(here), -1.0, 1.0))[pick]
            angles = these.angles(here)
            shares = _range_shares(angles, ranges)
            found.append((swing, cones[row], swing / cones[row]))
            for axis in (0, 1):
                angle = angles[axis][pick]
                middle, half = ranges[:, axis, row]
                found.append((angle, np.where(angle < middle, middle - half, middle + half), shares[axis][pick]))
        value, allowed, use = (np.array(x) for x in zip(*found, strict=True))
        best = use.argmax(axis=0)
        pick = (best, np.arange(len(row)))
        return Figures(
            value=value[pick] * DEG_PER_RAD,
            allowed=allowed[pick] * DEG_PER_RAD,
            use=use[pick],
            joint=(1 + best // 3).astype(np.uint8),
        )

    def _seen(self, end: int, setpoints: Setpoints, at: Ints) -> tuple[UniversalJoints, Array]:
        """Return the joints of an end and the directions (3, 6, m) of the struts at samples, in the same frame."""
        links = self._poses.some(setpoints, at)
        if end == PLATFORM:
            return self._joints[PLATFORM], links.seen
        return self._turned_joints(setpoints)[0], links.direction

    def _turned_joints(self, setpoints: Setpoints) -> tuple[UniversalJoints, Swings]:
        """Return the joints at the base in the frame of a batch, and the swings of both ends."""
        return self._turned.of(setpoints.poses.frame, lambda: self._turned_now(setpoints))

    def _turned_now(self, setpoints: Setpoints) -> tuple[UniversalJoints, Swings]:
        """Turn the joints at the base into the frame of a batch."""
        base = self._joints[BASE].turned(self._poses.frame(setpoints).base_from_work[:3, :3])
        return base, Swings(self._poses.struts(setpoints), base.neutral, self._joints[PLATFORM].neutral)


def joint_angle(context: Context) -> JointAngle | None:
    """Return the check, or none where no joint has a limit."""
    limits = [_limits(context.machine, end) for end in ("base_universal", "platform_universal")]
    some = any(np.isfinite(cones).any() or np.isfinite(ranges[1]).any() for cones, ranges in limits)
    return JointAngle(context) if some else None


def _limits(machine: Machine, end: str) -> tuple[Array, Array]:
    """Return cones (6,) and ranges (2, 2, 6): middle and half width, outer and inner; no limit is infinitely wide."""
    universals: Sequence[Universal | None] = [getattr(s, end) for s in machine.struts]
    cones = np.array([np.inf if u is None or u.cone is None else u.cone for u in universals])
    ranges: Array = np.zeros((2, 2, 6))
    ranges[1] = np.inf
    for k, u in enumerate(universals):
        for axis, held in enumerate(() if u is None else (u.outer_range, u.inner_range)):
            if held is not None:
                ranges[:, axis, k] = (held[0] + held[1]) / 2.0, (held[1] - held[0]) / 2.0
    return cones, ranges


def _per_cone(cones: Array) -> Array:
    """Return 1 / (1 - cos limit) (2, 6), however narrow the cone; nothing for a joint without one beside others."""
    held = np.isfinite(cones)
    out: Array = held / np.maximum(2.0 * np.sin(np.where(held, cones, 1.0) / 2.0) ** 2, NARROWEST)
    return out


def _range_shares(angles: Array, ranges: Array) -> Array:
    """Return the shares (2, 6, n) of ranges (2, 2, 6) that angles (2, 6, n) take, from the middle of the range."""
    out: Array = np.abs(angles - ranges[0, :, :, None]) / ranges[1, :, :, None]
    return out
