"""The check of the universal joints: cones about the neutral direction, and ranges of the angle about each axis."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.band import Band, Context, Figures, share_band
from hexpost.kinematics.universal import UniversalJoints
from hexpost.machine.model import Machine, Universal
from hexpost.machine.universals import joints
from hexpost.setpoints.model import Setpoints
from hexpost.units import DEG_PER_RAD

BASE, PLATFORM = 0, 1


class JointAngle:
    """The larger share of its limits that either joint of each strut takes.

    For a cone that is the root of (1 - cos angle) / (1 - cos limit): the angle over its limit, near enough to rank
    samples, exactly 1 at the limit, and without an inverse function for every sample. What is shown is the angle.
    """

    def __init__(self, context: Context) -> None:
        machine = context.machine
        self._poses = context.poses
        self._joints = joints(machine)
        self._ends = (_limits(machine, "base_universal"), _limits(machine, "platform_universal"))
        self.band: Band = share_band("joint-angle")
        self._turned: tuple[int, UniversalJoints] | None = None

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the shares (6, n)."""
        out: Array = np.zeros(setpoints.length.shape)
        for end in (BASE, PLATFORM):
            these, direction = self._seen(end, setpoints)
            cones, ranges = self._ends[end]
            if np.isfinite(cones).any():
                share = 1.0 - these.swing(direction)
                share *= _per_cone(cones)[:, None]
                np.maximum(share, 0.0, out=share)
                np.maximum(out, np.sqrt(share, out=share), out=out)
            if np.isfinite(ranges[1]).any():
                np.maximum(out, _range_shares(these.angles(direction), ranges).max(axis=0), out=out)
        return out

    def figures(self, row: Ints, at: Ints, setpoints: Setpoints) -> Figures:
        """Return the angles, the limits that they come nearest to, both in degrees, and the ends of the struts."""
        found = []
        for end in (BASE, PLATFORM):
            these, direction = self._seen(end, setpoints)
            here = direction[:, :, at]
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

    def _seen(self, end: int, setpoints: Setpoints) -> tuple[UniversalJoints, Array]:
        """Return the joints of an end and the directions of the struts, in the same frame."""
        if end == PLATFORM:
            return self._joints[PLATFORM], self._poses.links(setpoints).seen
        number = setpoints.poses.frame
        if self._turned is None or self._turned[0] != number:
            r = self._poses.frame(setpoints).base_from_work[:3, :3]
            self._turned = (number, self._joints[BASE].turned(r))
        return self._turned[1], self._poses.links(setpoints).direction


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
    """Return 1 / (1 - cos limit) (6,): nothing for a strut without a cone, which may stand beside others with one."""
    held = np.isfinite(cones)
    out: Array = held / (1.0 - np.cos(np.where(held, cones, 1.0)))
    return out


def _range_shares(angles: Array, ranges: Array) -> Array:
    """Return the shares (2, 6, n) of ranges (2, 2, 6) that angles (2, 6, n) take, from the middle of the range."""
    out: Array = np.abs(angles - ranges[0, :, :, None]) / ranges[1, :, :, None]
    return out
