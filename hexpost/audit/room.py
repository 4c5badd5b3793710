"""Checks of the room that bodies have: struts and spindle as capsules, against each other and keep-out boxes."""

from collections.abc import Iterator

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.band import WHOLE, Band, Context, struts_without
from hexpost.audit.model import BODIES
from hexpost.kinematics.clearance import segment_to_box, segments_apart
from hexpost.machine.model import Machine
from hexpost.machine.room import body_pairs
from hexpost.setpoints.model import Setpoints

DEFAULT_CLEARANCE = 0.0
"""Bodies may come as near as touching where the machine file states no clearance, mm."""

FIRST_BOX = 7
"""Number of the first keep-out box; struts are 0 to 5, the spindle 6."""

FAR = 1e6
"""No distance is as large, mm (a kilometre)."""

Segment = tuple[Array, Array, float]


class Clearance:
    """The distances between surfaces, mm, of all pairs of bodies with a stated radius; the smallest is judged.

    A strut is a capsule from joint centre to joint centre. Struts whose joints at one end are nearer than their bodies
    are no pair, for they always meet there. The spindle is paired with struts and boxes.
    """

    apart = True

    def __init__(self, context: Context) -> None:
        machine = context.machine
        self._poses = context.poses
        self._machine = machine
        struts = len(machine.struts)
        solid = [k for k in range(struts + 1) if _radius(machine, k) is not None]
        pairs = body_pairs(machine)
        pairs += [(i, FIRST_BOX + b) for b in range(len(machine.keep_out)) for i in solid]
        self.pairs: Ints = np.array([1 + i * BODIES + j for i, j in pairs], dtype=np.int64)
        allowed = machine.health.clearance
        allowed = DEFAULT_CLEARANCE if allowed is None else allowed
        self.band = _band(allowed, 1.0, 1, _unseen(machine))
        self.each = _band(allowed, FAR, len(pairs))

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the distances (k, n) of all pairs."""
        out: Array = np.empty((len(self.pairs), setpoints.length.shape[1]))
        for k, distance in enumerate(self._distances(setpoints)):
            out[k] = distance
        return out

    def _distances(self, setpoints: Setpoints) -> Iterator[Array]:
        """Yield the distances (n,) of the surfaces of each pair of bodies."""
        bodies = self._bodies(setpoints)
        for i, j in body_pairs(self._machine):
            (p, q, radius), (r, s, other) = bodies[i], bodies[j]
            yield segments_apart(p, q, r, s) - radius - other
        for box in self._machine.keep_out:
            for p, q, radius in bodies.values():
                yield segment_to_box(p, q, box.low, box.high) - radius

    def _bodies(self, setpoints: Setpoints) -> dict[int, Segment]:
        """Return the segments and radii in the base frame: struts 0 to 5, spindle 6."""
        machine, frame = self._machine, self._poses.frame(setpoints)
        at = self._poses.links(setpoints)
        r, shift = frame.base_from_work[:3, :3], frame.base_from_work[:3, 3, None]
        tip = setpoints.poses.pose[:3]
        out: dict[int, Segment] = {}
        for k, s in enumerate(machine.struts):
            if s.body.radius is not None:
                top = r @ (tip + at.arms[:, k]) + shift
                bottom = np.repeat(s.base_joint[:, None], top.shape[1], axis=1)
                out[k] = (bottom, top, s.body.radius)
        if machine.spindle is not None:
            ends = (machine.platform.gauge_point, machine.spindle.top)
            p, q = (r @ (tip + np.einsum("ijn,j->in", at.rotation, e - frame.tip)) + shift for e in ends)
            out[len(machine.struts)] = (p, q, machine.spindle.radius)
        return out


def _band(allowed: float, far: float, rows: int, unseen: tuple[tuple[str, int], ...] = ()) -> Band:
    """Return the band of distances; seen from ``far`` away (mm), the smaller of two uses more of it."""
    one = np.ones(rows)
    return Band(
        limit="clearance", struts=np.repeat(WHOLE, rows), low=allowed * one, high=np.inf * one,
        centre=(allowed + far) * one, scale=far * one, slack=0.0 * one, unseen=unseen,
    )  # fmt: skip


def _radius(machine: Machine, body: int) -> float | None:
    """Return the radius of a strut or the spindle; ``None`` where it has none."""
    if body < len(machine.struts):
        return machine.struts[body].body.radius
    return None if machine.spindle is None else machine.spindle.radius


def clearance(context: Context) -> Clearance | None:
    """Return the check, or none where fewer than two bodies can meet."""
    machine = context.machine
    solid = any(s.body.radius is not None for s in machine.struts) or machine.spindle is not None
    return Clearance(context) if body_pairs(machine) or (solid and machine.keep_out) else None


def _unseen(machine: Machine) -> tuple[tuple[str, int], ...]:
    """Return the bodies without a radius, as in ``Band.unseen``."""
    struts = struts_without(np.array([s.body.radius is not None for s in machine.struts]))
    return struts if machine.spindle is not None else (*struts, ("the spindle", 1))
