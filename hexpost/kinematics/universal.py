"""Universal joints at the ends of struts: their two angles, the rates of these, and the twist between the ends.

A joint turns about its outer axis, which stands still in the frame it is mounted in, then about its inner axis, which
the outer one carries along; where both angles are 0, the strut lies along the normal of both axes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from hexpost.arrays import Array


class Axes(Protocol):
    """The axes of one universal joint: perpendicular unit vectors (3,) of the frame it is mounted in."""

    @property
    def outer(self) -> Array:
        """Return the axis that stands still (3,)."""

    @property
    def inner(self) -> Array:
        """Return the other axis where both angles are 0 (3,)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UniversalJoints:
    """The joints at one end of six struts, (6, 3) each: outer axis, neutral strut direction, outer x neutral.

    ``sense`` (6,) is -1 where the neutral direction, which has to point from base to platform, is inner x outer.
    """

    outer: Array
    neutral: Array
    third: Array
    sense: Array

    def turned(self, r: Array) -> "UniversalJoints":
        """Return the joints in a frame from which ``r`` (3, 3) leads into the present one: vectors times ``r``."""
        return UniversalJoints(outer=self.outer @ r, neutral=self.neutral @ r, third=self.third @ r, sense=self.sense)

    def angles(self, direction: Array) -> Array:
        """Return the angles (2, 6, n) about outer and inner axes, right-handed, rad.

        ``direction`` (3, 6, n): unit vectors along the struts, base to platform, in the frame of the joints.
        """
        out: Array = np.empty((2, *direction.shape[1:]))
        np.arctan2(along(self.third, direction), along(self.neutral, direction), out=out[0])
        np.arcsin(np.clip(along(self.outer, direction), -1.0, 1.0), out=out[1])
        out[1] *= self.sense[:, None]
        return out

    def rates(self, direction: Array, change: Array) -> Array:
        """Return the rates (2, 6, n) of the angles, rad/s; ``change`` (3, 6, n) is the rate of ``direction``."""
        u, v, w = along(self.neutral, direction), along(self.third, direction), along(self.outer, direction)
        across = u * u + v * v
        out: Array = np.empty((2, *direction.shape[1:]))
        out[0] = (u * along(self.third, change) - v * along(self.neutral, change)) / across
        out[1] = self.sense[:, None] * along(self.outer, change) / np.sqrt(1.0 - w * w)
        return out

    def swing(self, direction: Array) -> Array:
        """Return the cosine (6, n) of the angle between each strut and its neutral direction."""
        return along(self.neutral, direction)


def joints_of(axes: Sequence[Axes], directions: Array) -> UniversalJoints:
    """Return the joints with these ``axes``; ``directions`` (6, 3) of the struts tell which normal is neutral."""
    outer, inner = np.array([a.outer for a in axes]), np.array([a.inner for a in axes])
    normal = np.cross(outer, inner)
    sense = np.where((normal * directions).sum(axis=1) < 0.0, -1.0, 1.0)
    neutral = normal * sense[:, None]
    return UniversalJoints(outer=outer, neutral=neutral, third=np.cross(outer, neutral), sense=sense)


def along(axes: Array, direction: Array) -> Array:
    """Return the products (6, n) of fixed vectors (6, 3) with ``direction`` (3, 6, n), strut by strut."""
    out: Array = np.einsum("kj,jkn->kn", axes, direction)
    return out


def twist(base: Array, platform: Array, r: Array, direction: Array, seen: Array) -> Array:
    """Return the twist (6, n) of the platform end of each strut against its base end, right-hand about it, rad.

    ``base``, ``platform`` (6, 3): outer axes in the work and the platform frame; ``r`` (3, 3, n) rotations;
    ``direction``, ``seen`` (3, 6, n): unit vectors along the struts in the work and in the platform frame.
    The inner axes are e = a x n and f = R b x n up to their lengths, and (e x f) . n = n . (a x R b), e . f =
    a . R b - (a . n)(R b . n), so that the twist is atan2 of the two (derived from the form with e and f of Q. Huang
    et al., Mech. Sci. 12 (2021) 1027-1036).
    """
    pairs = np.einsum("kj,kl->kjl", base, platform)  # a_j b_l
    crossed = np.zeros((3, 6, 3, 3))  # (a x R b)_i as a sum over entries of R
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        crossed[i, :, k], crossed[i, :, j] = pairs[:, j], -pairs[:, k]
    entries = r.reshape(9, -1)
    sine: Array = np.einsum("ikn,ikn->kn", direction, (crossed.reshape(18, 9) @ entries).reshape(3, 6, -1))
    cosine = pairs.reshape(6, 9) @ entries
    cosine -= along(base, direction) * along(platform, seen)
    np.arctan2(sine, cosine, out=sine)
    return sine
