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

Segment = tuple[Array, Array, float]


class Clearance:
    """The smallest distance between surfaces, mm, of all pairs of bodies with a stated radius.

    A strut is a capsule from joint centre to joint centre. Struts whose joints at one end are nearer than their bodies
    are no pair, for they always meet there. The spindle is paired with struts and boxes.
    """

    apart = True

    def __init__(self, context: Context) -> None:
        machine = context.machine
        self._poses = context.poses
        self._machine = machine
        self._pairs = body_pairs(machine)
        allowed = machine.health.clearance
        allowed = DEFAULT_CLEARANCE if allowed is None else allowed
        self.band = Band(
            limit="clearance", struts=WHOLE, low=np.full(1, allowed), high=np.full(1, np.inf),
            centre=np.full(1, allowed + 1.0), scale=np.ones(1), slack=np.zeros(1), unseen=_unseen(machine),
        )  # fmt: skip

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the smallest distances (1, n)."""
        out: Array = np.full(setpoints.length.shape[1], np.inf)
        for _, distance in self._distances(setpoints):
            np.minimum(out, distance, out=out)
        return out[None]

    def bodies(self, at: Ints, setpoints: Setpoints) -> Ints:
        """Return the nearest two bodies at the samples ``at`` (m,), as in ``Findings``."""
        least: Array = np.full(len(at), np.inf)
        out: Ints = np.zeros(len(at), dtype=np.int64)
        for (i, j), distance in self._distances(setpoints):
            nearer = distance[at] < least
            least[nearer], out[nearer] = distance[at][nearer], 1 + i * BODIES + j
        return out

    def _distances(self, setpoints: Setpoints) -> Iterator[tuple[tuple[int, int], Array]]:
        """Yield pairs of bodies with the distances (n,) of their surfaces."""
        bodies = self._bodies(setpoints)
        for i, j in self._pairs:
            (p, q, radius), (r, s, other) = bodies[i], bodies[j]
            yield (i, j), segments_apart(p, q, r, s) - radius - other
        for b, box in enumerate(self._machine.keep_out):
            for i, (p, q, radius) in bodies.items():
                yield (i, FIRST_BOX + b), segment_to_box(p, q, box.low, box.high) - radius

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


def clearance(context: Context) -> Clearance | None:
    """Return the check, or none where fewer than two bodies can meet."""
    machine = context.machine
    solid = any(s.body.radius is not None for s in machine.struts) or machine.spindle is not None
    return Clearance(context) if body_pairs(machine) or (solid and machine.keep_out) else None


def _unseen(machine: Machine) -> tuple[tuple[str, int], ...]:
    """Return the bodies without a radius, as in ``Band.unseen``."""
    struts = struts_without(np.array([s.body.radius is not None for s in machine.struts]))
    return struts if machine.spindle is not None else (*struts, ("the spindle", 1))
