"""Angles of the universal joints again, from the poses that the lengths of the table give."""

from collections.abc import Mapping
from math import radians, sin
from typing import Any

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine, Universal
from hexpost.verify.against_report import find_unsaid
from hexpost.verify.limits import MOST_LINES, Use
from hexpost.verify.model import Check, Faults
from hexpost.verify.pose import Poses
from hexpost.verify.rows import Rows

LIMIT = "joint-angle"
STEP = 1e-6
"""The decimals of the table change the share of a limit by less than this."""


class JointAngles:
    """The worst share of its limits that either joint of each strut takes, and the lines in which it is over them.

    For a cone the share is that of the chord, sin(angle / 2) / sin(cone / 2); for an angle about one axis it is counted
    from the middle of the range. ``reference`` (3, 3): the rotation of the platform at the machine's reference pose.
    """

    def __init__(self, machine: Machine, reference: Array) -> None:
        self._base = np.array([s.base_joint for s in machine.struts])
        self._platform = np.array([s.platform_joint for s in machine.struts])
        along = machine.reference[:3] + self._platform @ reference.T - self._base
        at_base = [s.base_universal for s in machine.struts]
        at_platform = [s.platform_universal for s in machine.struts]
        self._ends = (_aimed(at_base, along), _aimed(at_platform, along @ reference))
        self.limited = any(u.cone or u.outer_range or u.inner_range for end in self._ends for u, _ in end)
        self.uses = {k: Use() for k in range(1, 7)}

    def add(self, rows: Rows, poses: Poses) -> None:
        """Look at the new rows, which have these ``poses``."""
        if not self.limited:
            return
        along = poses.t[:, None, :] + self._platform @ poses.r.swapaxes(1, 2) - self._base
        along /= np.linalg.norm(along, axis=2, keepdims=True)
        line = rows.line[rows.new]
        for k, use in self.uses.items():
            strut = along[:, k - 1]
            seen = (strut, np.einsum("nij,ni->nj", poses.r, strut))
            shares = np.maximum(*(_share(*end[k - 1], n) for end, n in zip(self._ends, seen, strict=True)))
            worst = int(shares.argmax())
            if shares[worst] > use.value:
                use.value, use.row, use.line = float(shares[worst]), rows.first + rows.old + worst, int(line[worst])
            if shares[worst] > 1.0 + STEP and len(use.lines) < MOST_LINES:
                use.lines.update(np.unique(line[shares > 1.0 + STEP]).tolist())

    def check(self, report: Mapping[str, Any]) -> Check:
        """Check that what the report says of the joints is what the poses show."""
        faults = Faults()
        told = {s["strut"]: s["worst"].get(LIMIT) for s in report.get("struts", [])}
        for k, use in self.uses.items():
            name, said = f"{LIMIT} of strut {k}", told.get(k)
            if said is None:
                faults.add(f"{name}: the report tells no worst use")
                continue
            chord = sin(radians(abs(said["value"])) / 2.0) / sin(radians(max(abs(said["allowed"]), 1e-9)) / 2.0)
            if min(abs(share - use.value) for share in (said["ratio"], chord)) > STEP * max(use.value, 1.0):
                what = f"the worst is {use.value:.4%} in row {use.row}, line {use.line}"
                faults.add(f"{name}: {what}; the report says {said['value']} of {said['allowed']} degrees")
            find_unsaid((LIMIT, k), name, use.lines, report, faults)
        k, use = max(self.uses.items(), key=lambda item: item[1].value)
        text = f"found again from the poses; worst use {use.value:.1%}, strut {k}"
        return Check(name="joints", text=text, faults=faults.told())


def _aimed(joints: list[Universal | None], along: Array) -> list[tuple[Universal, Array]]:
    """Return the joints with their neutral directions (3,): of both normals the one that points ``along`` (6, 3)."""
    out = []
    for u, n in zip(joints, along, strict=True):
        assert u is not None  # every loaded machine has them
        normal = np.cross(u.outer, u.inner)
        out.append((u, normal if normal @ n > 0.0 else -normal))
    return out


def _share(joint: Universal, neutral: Array, along: Array) -> Array:
    """Return the share (n,) of its limits that a joint takes where its strut runs ``along`` (n, 3), unit vectors."""
    out: Array = np.zeros(len(along))
    if joint.cone is not None:
        out = np.linalg.norm(along - neutral, axis=1) / (2.0 * np.sin(joint.cone / 2.0))
    sideways = along @ np.cross(joint.outer, neutral)
    straight = along @ neutral
    up = along @ joint.outer * (np.cross(joint.inner, neutral) @ joint.outer)
    for held, angle in (
        (joint.outer_range, np.arctan2(sideways, straight)),
        (joint.inner_range, np.arctan2(up, np.hypot(sideways, straight))),
    ):
        if held is not None:
            out = np.maximum(out, np.abs(angle - (held[0] + held[1]) / 2.0) / ((held[1] - held[0]) / 2.0))
    return out
