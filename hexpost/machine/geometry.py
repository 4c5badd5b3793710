"""Refuse a machine whose joints cannot carry its platform at the machine's own reference pose."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.jacobian import evenness
from hexpost.machine.model import Machine
from hexpost.machine.table import Table

LEAST_DISTANCE_MM = 1e-3
"""Joints nearer than this are one joint written twice."""

LEAST_EVENNESS = 1e-4
"""Below this the reference pose counts as singular: joints of a singular design, rounded to 0.01 mm, lie below it."""


def check_geometry(machine: Machine, root: Table) -> None:
    """Note in ``root`` repeated joints, a reference pose out of stroke and a singular reference pose."""
    base = np.array([s.base_joint for s in machine.struts])
    platform = np.array([s.platform_joint for s in machine.struts])
    apart = _repeated(base, "base_joint_mm", root) and _repeated(platform, "platform_joint_mm", root)
    frame = pose_matrix(machine.reference, machine.tilt_order)
    arms = platform @ frame[:3, :3].T
    vectors = frame[:3, 3] + arms - base
    lengths = np.linalg.norm(vectors, axis=1)
    for i, (strut, length) in enumerate(zip(machine.struts, lengths, strict=True)):
        low, high = strut.stroke
        if not low <= length <= high:
            what = f"expected a stroke that holds the {length:.3f} mm of the reference pose, found {low:g} to {high:g}"
            root.fault(f"strut[{i + 1}].stroke_mm", what, "out-of-stroke")
    if apart and lengths.min() > LEAST_DISTANCE_MM:
        found = evenness(vectors, arms)
        if found < LEAST_EVENNESS:
            what = (
                "expected struts that hold the platform in all six directions, found a singular pose: "
                "smallest to largest singular value of the Jacobian (turns about the middle of the platform joints, "
                f"times their mean radius) is {found:.1e}, at least {LEAST_EVENNESS:g} is needed"
            )
            root.fault("reference.pose_mm_deg", what, "singular")


def _repeated(joints: Array, key: str, root: Table) -> bool:
    """Note every joint (6, 3) that repeats an earlier one; return whether none does."""
    good = True
    for i in range(1, 6):
        distance = np.linalg.norm(joints[:i] - joints[i], axis=1)
        if distance.min() < LEAST_DISTANCE_MM:
            first = int(distance.argmin()) + 1
            root.fault(
                f"strut[{i + 1}].{key}", f"expected six different joints, found the joint of strut {first}", "repeated"
            )
            good = False
    return good
