"""The platform itself, seen from the base: what lengths, speeds and accelerations say of it."""

from functools import cached_property

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.verify.follow import Placed

EVERY = slice(None)


class PlatformPoses:
    """Origins ``t`` (n, 3) and rotations ``r`` (n, 3, 3) of the platform in the base frame, at new rows of a piece.

    ``arm`` (n, 3) leads from the origin to the programmed point; ``rows`` (n, 6, 6) are the strut rates by shift and
    turn of the platform about its origin.
    """

    def __init__(self, machine: Machine, p: Placed, some: slice | Ints = EVERY) -> None:
        self._machine = machine
        q = p.poses.q[:, some]
        frame = p.struts.frame
        m = frame.base_from_work
        self.r: Array = m[:3, :3] @ p.struts.angles.matrices(q[3:]) @ p.struts.yaw
        self.arm: Array = self.r @ frame.tip
        self.t: Array = q[:3].T @ m[:3, :3].T + m[:3, 3] - self.arm

    @cached_property
    def joints(self) -> Array:
        """Return the vectors (n, 6, 3) from the origin to the platform joints."""
        out: Array = np.array([s.platform_joint for s in self._machine.struts]) @ self.r.swapaxes(1, 2)
        return out

    @cached_property
    def units(self) -> Array:
        """Return the unit vectors (n, 6, 3) along the struts, base to platform."""
        v = self.t[:, None, :] + self.joints - np.array([s.base_joint for s in self._machine.struts])
        out: Array = v / np.sqrt(np.einsum("nki,nki->nk", v, v))[:, :, None]
        return out

    @cached_property
    def rows(self) -> Array:
        """Return the strut rates (n, 6, 6)."""
        out: Array = np.concatenate([self.units, np.cross(self.joints, self.units)], axis=2)
        return out
