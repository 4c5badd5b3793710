"""Angles of the universal joints again, from the poses that the lengths of the table give."""

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine, Universal
from hexpost.verify.base import PlatformPoses
from hexpost.verify.limits import LimitUse
from hexpost.verify.model import Check, Faults
from hexpost.verify.rows import Rows
from hexpost.verify.told import ROUNDED, Told
from hexpost.voice import in_line

LIMIT = "joint-angle"
STEP = 1e-6
"""The decimals of the table change the share of a limit by less than this."""


class JointAngles:
    """The worst share of its limits that either joint of each strut takes, and the lines in which it is over them.

    For a cone the share is that of the chord, sin(angle / 2) / sin(cone / 2); for an angle about one axis it is counted
    from the middle of the range. ``reference`` (3, 3): the rotation of the platform at the machine's reference pose.
    A report may rank by the chord or by the angle itself, which differ a little between cones of two widths: the angle
    over its limit that it tells lies between that where the chord is worst and the largest of all rows.
    """

    def __init__(self, machine: Machine, reference: Array) -> None:
        base = np.array([s.base_joint for s in machine.struts])
        along = machine.reference[:3] + np.array([s.platform_joint for s in machine.struts]) @ reference.T - base
        at_base = [s.base_universal for s in machine.struts]
        at_platform = [s.platform_universal for s in machine.struts]
        self._ends = (_aimed(at_base, along), _aimed(at_platform, along @ reference))
        self.limited = any(u.cone or u.outer_range or u.inner_range for end in self._ends for u, _ in end)
        self.uses = {k: LimitUse() for k in range(1, 7)}
        self._told = dict.fromkeys(range(1, 7), (0.0, 0.0))

    def add(self, rows: Rows, at: slice, poses: PlatformPoses) -> None:
        """Look at the new rows ``at``, which have these ``poses``."""
        if not self.limited:
            return
        along = poses.units
        line = rows.line[rows.new][at]
        for k, use in self.uses.items():
            strut = along[:, k - 1]
            seen = (strut, np.einsum("nij,ni->nj", poses.r, strut))
            found = [_share(*end[k - 1], n) for end, n in zip(self._ends, seen, strict=True)]
            shares, angles = np.maximum(*found)
            worst = int(shares.argmax())
            least, most = self._told[k]
            self._told[k] = (least, max(most, float(angles.max())))
            if shares[worst] > use.value:
                self._told[k] = (float(angles[worst]), self._told[k][1])
                use.value, use.row, use.line = (
                    float(shares[worst]),
                    rows.first + rows.old + at.start + worst,
                    int(line[worst]),
                )
            if shares[worst] > 1.0 - STEP:
                use.broken.note(line, shares, shares > 1.0 + STEP, shares > 1.0 - STEP)

    def check(self, told: Told) -> Check:
        """Check that what the report says of the joints is what the poses show."""
        faults = Faults()
        for k, use in self.uses.items():
            name, said = f"{LIMIT} of strut {k}", told.worst.get((LIMIT, k))
            if said is None:
                faults.add(f"{name}: the report shows no worst use")
                continue
            (least, most), room = self._told[k], (STEP + ROUNDED) * max(use.value, 1.0)
            if not least - room <= said["ratio"] <= most + room:
                what = f"the worst is {use.value:.4%} in row {use.row}, {in_line(use.line)}"
                faults.add(f"{name}: {what}; the report says {said['value']} of {said['allowed']} degrees")
            told.compare((LIMIT, k), use.broken, faults)
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
    """Return the shares (2, n) of its limits that a joint takes where its strut runs ``along`` (n, 3), unit vectors.

    The first row counts chords of cones, the second their angles.
    """
    out: Array = np.zeros((2, len(along)))
    if joint.cone is not None:
        half = np.linalg.norm(along - neutral, axis=1) / 2.0
        out[0] = half / np.sin(joint.cone / 2.0)
        out[1] = 2.0 * np.arcsin(np.minimum(half, 1.0)) / joint.cone
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
