"""Universal joints of a machine: default axes from the reference pose, and what the reference pose must keep."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.universal import UniversalJoints, joints_of, twist
from hexpost.machine.model import Machine, Universal
from hexpost.machine.table import Table

NEAREST_DEG = 5.0
"""An axis that carries the joint must stay away from the strut by this: there the joint locks."""


def reference_directions(machine: Machine) -> tuple[Array, Array]:
    """Return the unit vectors (6, 3) along the struts at the reference pose, in the base and the platform frame."""
    frame = pose_matrix(machine.reference, machine.tilt_order)
    base = np.array([s.base_joint for s in machine.struts])
    platform = np.array([s.platform_joint for s in machine.struts])
    n = frame[:3, 3] + platform @ frame[:3, :3].T - base
    n /= np.linalg.norm(n, axis=1, keepdims=True)
    return n, n @ frame[:3, :3]


def joints(machine: Machine) -> tuple[UniversalJoints, UniversalJoints]:
    """Return the joints at the base ends, in the base frame, and at the platform ends, in the platform frame."""
    at_base, at_platform = reference_directions(machine)
    base = [s.base_universal for s in machine.struts if s.base_universal is not None]
    platform = [s.platform_universal for s in machine.struts if s.platform_universal is not None]
    return joints_of(base, at_base), joints_of(platform, at_platform)


def home_twist(machine: Machine) -> Array:
    """Return the twists (6,) of the platform ends against the base ends at the reference pose, rad."""
    n, seen = reference_directions(machine)
    base, platform = joints(machine)
    r = pose_matrix(machine.reference, machine.tilt_order)[:3, :3, None]
    return twist(base.outer, platform.outer, r, n.T[:, :, None], seen.T[:, :, None])[:, 0]


def with_universals(machine: Machine, root: Table) -> Machine:
    """Return the machine with the axes of every joint; note in ``root`` axes that lie along their strut.

    By default the outer axis is horizontal in the frame of the joint and perpendicular to the strut at the reference
    pose, and the inner one is perpendicular to both: all angles are 0 there.
    """
    both = reference_directions(machine)
    struts = []
    for i, s in enumerate(machine.struts):
        found = []
        for end, joint, n in zip(("base", "platform"), (s.base_universal, s.platform_universal), both, strict=True):
            key = f"strut[{i + 1}].joint.{end}_outer_axis"
            found.append(_resolved(joint, n[i], key, root))
        struts.append(replace(s, base_universal=found[0], platform_universal=found[1]))
    return replace(machine, struts=(struts[0], struts[1], struts[2], struts[3], struts[4], struts[5]))


def check_limits(machine: Machine, root: Table) -> None:
    """Note in ``root`` every joint limit that the reference pose breaks."""
    for end, these, n in zip(("base", "platform"), joints(machine), reference_directions(machine), strict=True):
        angles = np.degrees(these.angles(n.T[:, :, None])[:, :, 0]).round(9)
        swing = np.degrees(np.arccos(np.clip(these.swing(n.T[:, :, None])[:, 0], -1.0, 1.0)))
        for i, s in enumerate(machine.struts):
            joint = s.base_universal if end == "base" else s.platform_universal
            assert joint is not None
            key = f"strut[{i + 1}].joint.{end}"
            if joint.cone is not None and np.radians(swing[i]) > joint.cone:
                what = f"is {np.degrees(joint.cone):g}; the reference pose needs {swing[i]:.2f}"
                root.fault(f"{key}_cone_deg", what, "out-of-range")
            for name, row, held in (("outer", 0, joint.outer_range), ("inner", 1, joint.inner_range)):
                if held is not None and not held[0] <= np.radians(angles[row, i]) <= held[1]:
                    low, high = np.degrees(held)
                    what = f"is [{low:g}, {high:g}]; the reference pose is at {angles[row, i] + 0.0:.2f}"
                    root.fault(f"{key}_{name}_deg", what, "out-of-range")


def _resolved(joint: Universal | None, n: Array, key: str, root: Table) -> Universal:
    """Return a joint with both axes, for a strut along ``n`` (3,) at the reference pose."""
    joint = Universal(outer=np.full(3, np.nan), inner=np.full(3, np.nan)) if joint is None else joint
    if np.isnan(joint.outer).any():
        outer = np.cross([0.0, 0.0, 1.0], n)
        if np.linalg.norm(outer) < np.sin(np.radians(NEAREST_DEG)):
            outer = np.cross([0.0, 1.0, 0.0], n)
        outer /= np.linalg.norm(outer)
        return replace(joint, outer=frozen(outer), inner=frozen(np.cross(n, outer)))
    angle = float(np.degrees(np.arccos(np.clip(abs(joint.outer @ n), 0.0, 1.0))))
    if angle < NEAREST_DEG:
        what = f"is {angle:.2f} degrees off the strut at the reference pose; it must be at least {NEAREST_DEG:g}"
        root.fault(key, what, "bad-value")
    elif abs(np.cross(joint.outer, joint.inner) @ n) < np.sin(np.radians(NEAREST_DEG)):
        what = "lies in one plane with the outer axis and the strut at the reference pose; turn it out of that plane"
        root.fault(key.replace("outer", "inner"), what, "bad-value")
    return joint
