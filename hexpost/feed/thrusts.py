"""Thrusts of the six struts along the path: what standing still takes, and what speeding up and turning add."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Columns, Flags, Ints, distinct
from hexpost.feed.bounds import HUGE, TINY
from hexpost.kinematics.struts import Struts
from hexpost.kinematics.thrusts import Thrusts
from hexpost.machine.model import Machine
from hexpost.machine.platform import thrusts_of
from hexpost.moves.model import Moves

FULL = 0.98
"""A strut that takes more than this share of what it may to stand still is left to the audit: no feed mends it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThrustParts(Columns):
    """Thrust = ``rest`` + ``ramp`` s'' + ``bend`` s'^2, each (6, n) [N]; ``most`` (6, n): what it may be at most.

    ``rest`` lies between ``low`` and ``high``: with and without the force on a tool that cuts.
    Below, ``share`` of ``most`` is planned with, and slopes may be larger by the factor ``between``.
    """

    low: Array
    high: Array
    ramp: Array
    bend: Array
    most: Array

    @property
    def free(self) -> Flags:
        """Return where the strut can be held by the feed at all, shape (6, n)."""
        out: Flags = np.maximum(self.high, -self.low) < FULL * self.most
        return out

    def room(self, toward: Array, share: float = 1.0) -> Array:
        """Return what may be added in the direction ``toward``, (6, n) of either sign; without bound where not free."""
        return np.where(self.free, share * self.most - np.where(toward < 0, -self.low, self.high), HUGE)

    def caps(self, curve: float, share: float, between: float) -> Array:
        """Return bounds (6, n) of the speed squared, where ``curve`` of the room is for what turning takes."""
        out: Array = curve * self.room(self.bend, share) / np.maximum(between * np.abs(self.bend), TINY)
        return np.minimum(out, HUGE)

    def ramps(self, cap: Array, sign: float, share: float, between: float) -> Array:
        """Return the largest accelerations (``sign`` 1) or decelerations (-1), (6, n), at any speed under ``cap``."""
        toward = sign * self.ramp
        taken = np.maximum(np.copysign(between, toward) * self.bend * cap, 0.0)
        out: Array = np.maximum(self.room(toward, share) - taken, 0.0) / np.maximum(between * np.abs(self.ramp), TINY)
        return out

    def least_room(self) -> Array:
        """Return what may be added in either direction, (6, n); without bound where not free."""
        return np.where(self.free, self.most - np.maximum(self.high, -self.low), HUGE)

    def uses(self) -> tuple[Array, Array]:
        """Return the shares of the room (n,) that a unit of s'' and of s'^2 take at most."""
        room = self.least_room()
        return (np.abs(self.ramp) / room).max(axis=0), (np.abs(self.bend) / room).max(axis=0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThrustLimits:
    """Limits ``most`` (6, 1) [N], and the thrusts as seen from each work frame.

    ``cuts`` (p,): pieces on which the constant force of the machine file may act on the tool.
    """

    most: Array
    cuts: Flags
    seen: tuple[Thrusts, ...]

    def parts(self, piece: Ints, frame: Ints, q: Sequence[Array], aim: Array) -> ThrustParts:
        """Return the parts of the thrusts at poses and their derivatives ``q`` (6, n); ``aim``: share of the limits."""
        out: Array = np.empty((4, 6, len(frame)))
        for k in distinct(frame).tolist():
            at = np.flatnonzero(frame == k)
            out[:, :, at] = self.seen[k].parts([x[:, at] for x in q[:3]])
        still, ramp, bend, cut = out
        cutting = still + cut * self.cuts[piece]
        low, high = np.minimum(still, cutting), np.maximum(still, cutting)
        return ThrustParts(low=low, high=high, ramp=ramp, bend=bend, most=self.most * aim)


def thrust_limits(machine: Machine, moves: Moves, seen: tuple[Struts, ...], cuts: Flags) -> ThrustLimits | None:
    """Return the thrust limits of the struts, ``None`` where the machine file has none; ``seen`` from each frame.

    ``cuts`` (p,): pieces of feed moves. Forces from a tool's own coefficients are left out: the audit sees them.
    """
    most = [None if s.screw is None else s.screw.thrust for s in machine.struts]
    if machine.forces is None or machine.platform.mass_kg is None or all(x is None for x in most):
        return None
    return ThrustLimits(
        most=np.array([[HUGE if x is None else x] for x in most]),
        cuts=cuts,
        seen=tuple(
            thrusts_of(machine, struts, f.base_from_work, f.tip, f.yaw)
            for f, struts in zip(moves.frames, seen, strict=True)
        ),
    )
