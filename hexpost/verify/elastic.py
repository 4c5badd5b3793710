"""What drives add to the lengths for struts that give way, again from the poses that the lengths give.

A strut is a row of springs: the compliances of body, joints and screw add, and what the platform weighs on it shortens
it. Forces are those of ``forces.py``: in the pose without sag, and in each row, standing, or as the table moves it.
"""

from math import pi

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine, Tools
from hexpost.moves.model import Interpretation
from hexpost.verify.base import PlatformPoses
from hexpost.verify.follow import Placed
from hexpost.verify.forces import NEWTON, Motion, ThrustBounds
from hexpost.verify.limits import STEP_MM_S2
from hexpost.verify.rows import Rows
from hexpost.verify.struts import Angles

_SHARE = 1e-6
"""Share of the sag that rounded lengths, and the writer's own way to the thrusts, may make."""
_GAIN = 10.0
"""How much more than the mass a rounded acceleration may load one strut, away from singular poses."""


def makes_up(machine: Machine) -> bool:
    """Return whether commands make up for what struts give way."""
    return machine.compensation is not None and machine.compensation.sag


def compliance(machine: Machine, length: Array) -> Array:
    """Return how much (6, n) or (6, 1) a strut gives way to a newton, mm."""
    out = np.zeros_like(length)
    screws = machine.compensation is not None and machine.compensation.screws
    for k, s in enumerate(machine.struts):
        for joint in (s.base_universal, s.platform_universal):
            if joint is not None and joint.stiffness is not None:
                out[k] += 1.0 / joint.stiffness
        if s.body.stiffness is not None:
            out[k] += 1.0 / s.body.stiffness
        if screws and s.screw is not None and s.screw.root is not None:
            section = pi / 4.0 * (s.screw.root - s.screw.bore) * (s.screw.root + s.screw.bore)
            out[k] += np.maximum(length[k] - s.screw.supported, 0.0) / (section * s.screw.elasticity)
    return out


class ElasticStruts:
    """What is added to the lengths of rows that come in order, and how fast it grows."""

    def __init__(
        self, machine: Machine, tools: Tools, meaning: Interpretation, period: float, *, free_yaw: bool
    ) -> None:
        self._machine, self._period = machine, period
        self._thrusts = ThrustBounds(machine, tools, meaning, free_yaw=free_yaw)
        angles = Angles(machine.tilt_order)
        asked = machine.compensation
        assert asked is not None
        self._asked = asked
        pose = machine.reference if asked.zero_at == "reference" else machine.machine_zero
        r = angles.matrices(pose[3:, None])[0]
        t = pose[:3] if asked.zero_at == "reference" else pose[:3] - r @ machine.platform.gauge_point
        self._home = self._standing(t, r)
        self._last: Array | None = None

    def of(self, rows: Rows, p: Placed, platform: PlatformPoses) -> tuple[Array, Array, Array]:
        """Return what is added [mm], its speed [mm/s], and how far off the first may be (6, n), at new rows."""
        at = slice(p.at.start + rows.old, p.at.stop + rows.old)
        length, none = rows.length[:, at], np.zeros_like(rows.length[:, at])
        moving = self._asked.inertia or self._asked.cutting
        columns = (rows.speed[:, at], rows.acceleration[:, at]) if moving else (none, none)
        motion = Motion(platform, length, *columns)
        still = motion if self._asked.inertia else Motion(platform, length, none, none)
        found = self._thrusts.of(motion, p.moves, loads=still, cuts=self._asked.cutting)
        give = compliance(self._machine, length)
        bent = np.array([give * thrust - self._home for thrust in found])
        more = (bent.max(axis=0) + bent.min(axis=0)) / 2.0
        room = (bent.max(axis=0) - bent.min(axis=0)) / 2.0 + _SHARE * (np.abs(more) + np.abs(self._home))
        if self._asked.inertia:
            mass = float(self._machine.platform.mass_kg or 0.0) * NEWTON
            mass += sum(s.body.platform_end_kg for s in self._machine.struts) * NEWTON
            room = room + _GAIN * 0.5 * STEP_MM_S2 * mass * give
        before = more[:, :1] if self._last is None else self._last
        self._last = more[:, -1:].copy()
        speed = np.diff(np.concatenate([before, more], axis=1), axis=1) / self._period
        return more, speed, room

    def _standing(self, t: Array, r: Array) -> Array:
        """Return how much shorter (6, 1) struts are with the platform's origin at ``t``, turned by ``r``, at rest."""
        machine = self._machine
        joints = np.array([s.platform_joint for s in machine.struts]) @ r.T
        along = t + joints - np.array([s.base_joint for s in machine.struts])
        length = np.sqrt((along**2).sum(axis=1))
        along /= length[:, None]
        balance = np.concatenate([along, np.cross(joints, along)], axis=1).T
        platform, forces = machine.platform, machine.forces
        assert forces is not None and platform.mass_kg is not None and platform.centre_of_mass is not None
        masses = [(platform.mass_kg, r @ platform.centre_of_mass)]
        masses += [(s.body.platform_end_kg, joints[k]) for k, s in enumerate(machine.struts)]
        weight = np.zeros(6)
        for mass, place in masses:
            pull = -mass * NEWTON * forces.gravity
            weight += np.concatenate([pull, np.cross(place, pull)])
        out: Array = compliance(machine, length[:, None]) * np.linalg.solve(balance, weight)[:, None]
        return out
