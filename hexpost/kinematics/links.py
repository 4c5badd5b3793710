"""Where the struts are at each pose: the vectors along them and from the tip to their ends, component by component."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import Struts


@dataclass(frozen=True, kw_only=True, eq=False)
class Links:
    """Six struts at n poses, in the work frame.

    ``rotation`` (3, 3, n) of the platform; ``arms`` (3, 6, n) from the tip to the platform joints; ``length`` (6, n);
    ``direction`` (3, 6, n): unit vectors from base joint to platform joint.
    """

    rotation: Array
    arms: Array
    length: Array
    direction: Array

    @cached_property
    def seen(self) -> Array:
        """Return ``direction`` (3, 6, n) in the axes of the platform; worked out once, for all who ask."""
        r, d = self.rotation, self.direction
        out: Array = np.empty_like(d)
        spare = np.empty_like(d[0])
        for i in range(3):
            np.multiply(d[0], r[0, i], out=out[i])
            for j in (1, 2):
                out[i] += np.multiply(d[j], r[j, i], out=spare)
        return out


def links(struts: Struts, pose: Array, length: Array | None = None) -> Links:
    """Return the struts at poses (6, n); lengths (6, n) that are known already need not be found again."""
    r = rotations(pose, struts.order)
    n = pose.shape[1]
    arms = np.matmul(struts.platform, r.reshape(3, 3, n))
    vectors = arms - struts.base.T[:, :, None]
    vectors += pose[:3, None, :]
    if length is None:
        length = np.sqrt(np.einsum("ikn,ikn->kn", vectors, vectors))
    vectors *= 1.0 / length
    return Links(rotation=r, arms=arms, length=length, direction=vectors)


def rotations(pose: Array, order: str) -> Array:
    """Return the rotations (3, 3, n) of poses (6, n); angles that stand still are worked out once."""
    angles = pose[3:]
    if (angles == angles[:, :1]).all():
        one = rotation(float(angles[0, 0]), float(angles[1, 0]), float(angles[2, 0]), order)
        return np.repeat(one[:, :, None], pose.shape[1], axis=2)
    if order == "ABC":
        return _abc(np.sin(angles), np.cos(angles))
    return rotation(angles[0], angles[1], angles[2], order)


def _abc(sines: Array, cosines: Array) -> Array:
    """Return Rz(c) Ry(b) Rx(a) (3, 3, n) from sines and cosines (3, n)."""
    (sa, sb, sc), (ca, cb, cc) = sines, cosines
    out: Array = np.empty((3, 3, len(sa)))
    ss, sc_ = sb * sa, sb * ca
    out[0, 0], out[1, 0], out[2, 0] = cc * cb, sc * cb, -sb
    out[0, 1], out[1, 1], out[2, 1] = cc * ss - sc * ca, sc * ss + cc * ca, cb * sa
    out[0, 2], out[1, 2], out[2, 2] = cc * sc_ + sc * sa, sc * sc_ - cc * sa, cb * ca
    return out
