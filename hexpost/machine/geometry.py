"""How near poses of a machine are to a singular one; one that has such a pose as its reference is refused."""

from functools import lru_cache

import numpy as np

from hexpost.arrays import Array
from hexpost.errors import digits
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.links import links
from hexpost.kinematics.singular import LEAST, Nearness
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.machine.model import Machine
from hexpost.machine.table import Table

LEAST_DISTANCE_MM = 1e-3
"""Joints nearer than this are one joint."""


def characteristic_length(machine: Machine) -> float:
    """Return the stated length, or the root mean square distance of the platform joints from their middle, mm."""
    if machine.health.length is not None:
        return machine.health.length
    joints = np.array([s.platform_joint for s in machine.struts])
    return float(np.sqrt(((joints - joints.mean(axis=0)) ** 2).sum(axis=1).mean()))


def least_conditioning(machine: Machine) -> float:
    """Return the least conditioning, on the side of the reference pose: the bound, or more if more is stated."""
    return max(LEAST, machine.health.conditioning or 0.0)


def nearness(machine: Machine, struts: Struts) -> Nearness:
    """Return how near poses are to a singular one, for the struts of a machine in any frame."""
    length = characteristic_length(machine)
    return Nearness(struts, length, float(np.sign(_at_reference(machine, length))))


@lru_cache(maxsize=4)
def _at_reference(machine: Machine, length: float) -> float:
    """Return the conditioning at the reference pose, negative where the determinant is."""
    struts = StrutModel(machine).in_frame(np.eye(4), np.zeros(3))
    return float(Nearness(struts, length, 1.0).of(links(struts, machine.reference[:, None]))[0][0])


def check_geometry(machine: Machine, root: Table) -> None:
    """Note in ``root`` repeated struts, a reference pose out of stroke and a singular reference pose."""
    base = np.array([s.base_joint for s in machine.struts])
    platform = np.array([s.platform_joint for s in machine.struts])
    apart = _distinct(base, platform, root)
    frame = pose_matrix(machine.reference, machine.tilt_order)
    lengths = np.linalg.norm(frame[:3, 3] + platform @ frame[:3, :3].T - base, axis=1)
    for i, (strut, length) in enumerate(zip(machine.struts, lengths, strict=True)):
        low, high = strut.stroke
        if not low <= length <= high:
            what = f"is [{low:g}, {high:g}]; the reference pose needs {length:.3f}"
            root.fault(f"strut[{i + 1}].stroke_mm", what, "out-of-stroke")
    if apart and lengths.min() > LEAST_DISTANCE_MM:
        length = characteristic_length(machine)
        found = abs(_at_reference(machine, length))
        if found < LEAST:
            what = (
                "is a singular pose: the struts do not hold the platform in all six directions. Its conditioning "
                f"(characteristic length {length:.1f} mm) is {found:.9f}; it must be at least {digits(LEAST)}"
            )
            root.fault("reference.pose_mm_deg", what, "singular")


def _distinct(base: Array, platform: Array, root: Table) -> bool:
    """Note every strut whose joints (6, 3) are both those of an earlier one; return whether none is.

    Two struts may share a joint at one end, as platforms of three and three or of six and three joints do.
    """
    good = True
    for i in range(1, 6):
        distance = np.linalg.norm(base[:i] - base[i], axis=1) + np.linalg.norm(platform[:i] - platform[i], axis=1)
        if distance.min() < LEAST_DISTANCE_MM:
            first = int(distance.argmin()) + 1
            root.fault(
                f"strut[{i + 1}]", f"has both joints of strut {first} again; give each strut its own", "repeated"
            )
            good = False
    return good
