"""Singular poses again, from the poses that the lengths give: on which side of them the platform is, and how near."""

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.verify.base import PlatformPoses
from hexpost.verify.follow import Placed
from hexpost.verify.limits import LimitUse
from hexpost.verify.model import Check, Faults
from hexpost.verify.pose import KNOT
from hexpost.verify.rows import Rows
from hexpost.verify.told import ROUNDED, Told
from hexpost.voice import in_line

NAME = "singular-pose"
LEAST = 1e-3
"""The least conditioning, where the machine file does not ask for more."""
TOLD = 0.1
"""From this share of the limit on a report tells the worst; always where the machine file states a least."""
STEP = 1e-5
"""The decimals of the table change a share by less than this part of it."""


class SingularPoses:
    """The worst share of the least conditioning that a table takes, with ``reference`` (3, 3) the rotation there.

    Conditioning is 6 |det J| / (|J| |adj J|), turns about the middle of the platform joints over their mean radius or
    the stated length; negative where the determinant has not the sign that it has at the reference pose.
    """

    limited = True

    def __init__(self, machine: Machine, reference: Array) -> None:
        self._machine = machine
        joints = np.array([s.platform_joint for s in machine.struts])
        base = np.array([s.base_joint for s in machine.struts])
        self._middle = joints.mean(axis=0)
        self._length = machine.health.length or float(np.sqrt(((joints - self._middle) ** 2).sum() / 6.0))
        self._least = max(LEAST, machine.health.conditioning or 0.0)
        arms = joints @ reference.T
        struts = machine.reference[:3] + arms - base
        rows = np.concatenate([struts, np.cross(arms, struts)], axis=1)
        self._side = float(np.sign(np.linalg.det(rows / np.linalg.norm(struts, axis=1)[:, None])))
        self._told = TOLD if machine.health.conditioning is None else 0.0
        self._worst = LimitUse(low=1.0)

    def add(self, rows: Rows, p: Placed) -> None:
        """Look at the new rows of a piece: at every knot, and between those that may be worse than what counts so far.

        Between knots whose strut rates differ by a share c of themselves, the conditioning changes by less than 4 c.
        """
        n = p.poses.q.shape[1]
        ends = np.minimum(np.arange(len(p.poses.change) + 1) * KNOT, n - 1)
        share = self._take(rows, p, ends)
        most = (
            np.maximum(share[1:], share[:-1]) * (1.0 + 4.0 * p.poses.change) / (1.0 - np.minimum(p.poses.change, 0.9))
        )
        worse = np.flatnonzero(most > max(self._worst.value, 0.5 * self._told))
        if len(worse):
            at = (worse[:, None] * KNOT + np.arange(KNOT)).ravel()
            self._take(rows, p, at[at < n])

    def _take(self, rows: Rows, p: Placed, at: Ints) -> Array:
        """Look at the rows ``at`` (m,) of a piece; return their shares of the limit."""
        found = self._conditioning(PlatformPoses(self._machine, p, at))
        share: Array = self._least / np.maximum(found, self._least)
        share = np.where(found < self._least, 1.0 + self._least - found, share)
        k = int(share.argmax())
        kept, line = self._worst, rows.line[rows.new][p.at][at]
        if share[k] > kept.value:
            kept.value, kept.low = float(share[k]), float(found[k])
            kept.row, kept.line = rows.first + rows.old + p.at.start + int(at[k]), int(line[k])
        kept.broken.note(line, share, share > 1.0 + STEP, share > 1.0 + STEP)
        return share

    def check(self, told: Told) -> Check:
        """Check that the report says of singular poses no less than the table shows.

        Between two rows a job may come nearer than at either: a report may be harsher than its table.
        """
        faults, worst = Faults(), self._worst
        said = told.worst.get((NAME, 0))
        if said is None and worst.value > self._told:
            faults.add(f"{NAME}: the report shows no worst use")
        if said is not None:
            step = STEP + ROUNDED
            mild = said["ratio"] < worst.value * (1.0 - step)
            if mild or (told.verdict == "clean" and said["ratio"] > worst.value * (1.0 + step)):
                what = f"the least conditioning is {worst.low:.6f}, in row {worst.row}, {in_line(worst.line)}"
                faults.add(f"{NAME}: {what}; the report says {said['value']}")
        if said is not None and said["value"] <= 0.0:
            beyond = "from there on the same lengths mean two poses, and no table shows which of them it is"
            faults.add(f"{NAME}: {in_line(said['line'] or 0)} goes through a singular pose: {beyond}")
        told.compare((NAME, 0), worst.broken, faults, more=True)
        text = f"determinants keep their sign; least conditioning {worst.low:.4f}, {self._least:g} is needed"
        return Check(name="singular poses", text=text, faults=faults.told())

    def _conditioning(self, poses: PlatformPoses) -> Array:
        """Return the conditioning (n,)."""
        unit = poses.rows[:, :, :3]
        lever = poses.rows[:, :, 3:] - np.cross((poses.r @ self._middle)[:, None], unit)
        j = np.concatenate([unit, lever / self._length], axis=2)
        back = np.linalg.inv(j)
        norms = [np.sqrt(np.einsum("nij,nij->n", x, x)) for x in (j, back)]
        out: Array = 6.0 * self._side * np.sign(np.linalg.det(j)) / (norms[0] * norms[1])
        return out
