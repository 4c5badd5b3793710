"""Where the struts are at each pose: the vectors along them and from the tip to their ends, component by component."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hexpost.arrays import Array, Columns
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.series import sines_of
from hexpost.kinematics.struts import Struts


@dataclass(frozen=True, kw_only=True, eq=False)
class Links(Columns):
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


def rotations(pose: Array, order: str, out: Array | None = None) -> Array:
    """Return the rotations (3, 3, n) of poses (6, n), in ``out`` if given; angles that stand still are taken once."""
    angles = pose[3:]
    if out is None:
        out = np.empty((3, 3, pose.shape[1]))
    if (angles[:, -1:] == angles[:, :1]).all() and (angles == angles[:, :1]).all():
        out[:] = rotation(float(angles[0, 0]), float(angles[1, 0]), float(angles[2, 0]), order)[:, :, None]
    elif order == "ABC":
        turning = angles if angles[2].any() else angles[:2]
        sines, cosines = np.empty_like(turning), np.empty_like(turning)
        sines_of(turning, sines, cosines)
        (_abc if len(turning) == 3 else _ab)(sines, cosines, out)
    else:
        out[:] = rotation(angles[0], angles[1], angles[2], order)
    return out


def _ab(sines: Array, cosines: Array, out: Array) -> None:
    """Fill ``out`` (3, 3, n) with Ry(b) Rx(a) from sines and cosines (2, n)."""
    (sa, sb), (ca, cb) = sines, cosines
    out[0, 0], out[1, 0], out[1, 1] = cb, 0.0, ca
    np.multiply(sb, sa, out=out[0, 1])
    np.multiply(sb, ca, out=out[0, 2])
    np.negative(sa, out=out[1, 2])
    np.negative(sb, out=out[2, 0])
    np.multiply(cb, sa, out=out[2, 1])
    np.multiply(cb, ca, out=out[2, 2])


def _abc(sines: Array, cosines: Array, out: Array) -> None:
    """Fill ``out`` (3, 3, n) with Rz(c) Ry(b) Rx(a) from sines and cosines (3, n)."""
    (sa, sb, sc), (ca, cb, cc) = sines, cosines
    spare = np.multiply(sb, sa)
    np.multiply(cc, spare, out=out[0, 1])
    np.multiply(sc, spare, out=out[1, 1])
    np.multiply(sb, ca, out=spare)
    np.multiply(cc, spare, out=out[0, 2])
    np.multiply(sc, spare, out=out[1, 2])
    out[0, 1] -= np.multiply(sc, ca, out=spare)
    out[1, 1] += np.multiply(cc, ca, out=spare)
    out[0, 2] += np.multiply(sc, sa, out=spare)
    out[1, 2] -= np.multiply(cc, sa, out=spare)
    np.multiply(cc, cb, out=out[0, 0])
    np.multiply(sc, cb, out=out[1, 0])
    np.negative(sb, out=out[2, 0])
    np.multiply(cb, sa, out=out[2, 1])
    np.multiply(cb, ca, out=out[2, 2])
