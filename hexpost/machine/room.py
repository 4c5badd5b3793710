"""How near the bodies of a machine come to each other: struts and spindle as capsules, keep-out boxes."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.clearance import segment_to_box, segments_apart
from hexpost.kinematics.frames import rotation
from hexpost.machine.model import Machine


def body_pairs(machine: Machine) -> list[tuple[int, int]]:
    """Return the pairs of bodies with a radius that do not meet in a joint: struts 0 to 5, spindle 6."""
    solid = [k for k, s in enumerate(machine.struts) if s.body.radius is not None]
    out = []
    for i, j in combinations(solid, 2):
        s, t = machine.struts[i], machine.struts[j]
        near = s.body.radius or 0.0
        apart = [np.linalg.norm(x) for x in (s.base_joint - t.base_joint, s.platform_joint - t.platform_joint)]
        if min(apart) > near + (t.body.radius or 0.0):
            out.append((i, j))
    if machine.spindle is not None:
        out += [(k, len(machine.struts)) for k in solid]
    return out


def clearances(machine: Machine, pose: Array) -> Iterator[tuple[str, Array]]:
    """Yield all pairs of bodies by name with the distances (n,) of their surfaces at platform poses (6, n), mm."""
    r = rotation(pose[3], pose[4], pose[5], machine.tilt_order)

    def carried(point: Array) -> Array:
        out: Array = pose[:3] + np.einsum("ijn,j->in", r, point)
        return out

    bodies: dict[int, tuple[str, Array, Array, float]] = {}
    for k, s in enumerate(machine.struts):
        if s.body.radius is not None:
            bottom = np.repeat(s.base_joint[:, None], pose.shape[1], axis=1)
            bodies[k] = (f"strut {k + 1}", bottom, carried(s.platform_joint), s.body.radius)
    if (spindle := machine.spindle) is not None:
        ends = carried(machine.platform.gauge_point), carried(spindle.top)
        bodies[len(machine.struts)] = ("spindle", *ends, spindle.radius)
    for i, j in body_pairs(machine):
        (one, p, q, radius), (other, u, v, second) = bodies[i], bodies[j]
        yield f"{one} and {other}", segments_apart(p, q, u, v) - radius - second
    for box in machine.keep_out:
        for name, p, q, radius in bodies.values():
            yield f"{name} and {box.name}", segment_to_box(p, q, box.low, box.high) - radius
