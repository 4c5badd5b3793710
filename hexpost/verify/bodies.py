"""Room between bodies again, from the poses that the lengths of the table give: struts, spindle and keep-out boxes."""

from collections.abc import Mapping
from itertools import combinations
from typing import Any

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.verify.against_report import find_unsaid
from hexpost.verify.convex import box_apart, segments_apart
from hexpost.verify.limits import MOST_LINES
from hexpost.verify.model import Check, Faults
from hexpost.verify.pose import Poses
from hexpost.verify.rows import Rows

LIMIT = "clearance"
STRIDE = 32
"""Rows from one that is measured for all pairs to the next; those between are measured where bodies may be too near."""
SPINDLE = 6


class Bodies:
    """The smallest distance of every pair of bodies in each line where they are too near to each other.

    A distance changes by no more than the ends of both bodies move: rows for which a measured one before them shows
    room enough are passed over.
    """

    def __init__(self, machine: Machine) -> None:
        self._allowed = machine.health.clearance or 0.0
        self._base = np.array([s.base_joint for s in machine.struts])
        self._platform = np.array([s.platform_joint for s in machine.struts])
        self._radius = {k: s.body.radius for k, s in enumerate(machine.struts) if s.body.radius is not None}
        self._spindle: Array = np.zeros((2, 3))
        names = {k: f"strut {k + 1}" for k in self._radius}
        if machine.spindle is not None:
            self._radius[SPINDLE], names[SPINDLE] = machine.spindle.radius, "spindle"
            self._spindle = np.array([machine.platform.gauge_point, machine.spindle.top])
        self._boxes = machine.keep_out
        self._pairs = [(i, j) for i, j in combinations(self._radius, 2) if not self._meet(i, j)]
        self._pairs += [(i, -1 - b) for b in range(len(self._boxes)) for i in self._radius]
        self._names = [{names[i], names[j] if j >= 0 else self._boxes[-1 - j].name} for i, j in self._pairs]
        self.limited = bool(self._pairs)
        self._least: dict[int, Array] = {}
        self._broken: set[int] = set()
        self._room = 0.0

    def add(self, rows: Rows, poses: Poses, rounding: float) -> None:
        """Look at the new rows, with ``poses`` that are off by up to ``rounding`` mm for the decimals of the table."""
        if not self.limited or poses.lost.any():
            return
        room = self._room = max(self._room, 10.0 * rounding)
        ends = self._ends(poses)
        distance = self._distances(ends, self._allowed + room)
        least = distance.min(axis=0)
        near = np.flatnonzero(least < self._allowed + room)
        line = rows.line[rows.new][near]
        for number in np.unique(line).tolist():
            if len(self._least) < MOST_LINES or number in self._least:
                here = distance[:, near[line == number]].min(axis=1)
                self._least[number] = np.minimum(self._least.get(number, here), here)
        if len(self._broken) < MOST_LINES:
            self._broken.update(np.unique(line[least[near] < self._allowed - room]).tolist())

    def check(self, report: Mapping[str, Any]) -> Check:
        """Check that the report tells of every line in which bodies come too near, how near, and which."""
        faults = Faults()
        told: dict[int, Mapping[str, Any]] = {}
        for f in report["findings"]:  # worst first
            if f["limit"] == LIMIT:
                told.setdefault(f["line"], f)
        find_unsaid((LIMIT, 0), LIMIT, self._broken, report, faults)
        for line, f in told.items():
            found = self._least.get(line)
            if found is None:
                if len(self._least) < MOST_LINES:
                    faults.add(f"{LIMIT}: the report says {f['peak']} mm in line {line}, where no bodies are too near")
                continue
            near = [self._names[k] for k in np.flatnonzero(found <= f["peak"] + self._room)]
            if abs(found.min() - f["peak"]) > self._room or set(f["bodies"] or ()) not in near:
                what = f"{found.min():.6f} mm between {' and '.join(sorted(self._names[int(found.argmin())]))}"
                who = " and ".join(f["bodies"] or ("nobody",))
                faults.add(f"{LIMIT}: {what} in line {line}; the report says {f['peak']} between {who}")
        return Check(name="bodies", text=f"found again from the poses; {self._worst()}", faults=faults.told())

    def _worst(self) -> str:
        if not self._broken:
            return f"none of {len(self._pairs)} pairs come nearer than {self._allowed:g} mm"
        line, found = min(self._least.items(), key=lambda item: float(item[1].min()))
        names = " and ".join(sorted(self._names[int(found.argmin())]))
        return f"{found.min():.6f} mm between {names} (line {line}), {self._allowed:g} mm are allowed"

    def _meet(self, i: int, j: int) -> bool:
        """Return whether two struts are so close at one end that their bodies always meet there."""
        if SPINDLE in (i, j):
            return False
        near = min(np.linalg.norm(x[i] - x[j]) for x in (self._base, self._platform))
        return bool(near <= self._radius[i] + self._radius[j])

    def _ends(self, poses: Poses) -> dict[int, Array]:
        """Return the ends (2, n, 3) of the middle lines of the bodies, in the base frame."""
        turned = poses.r.swapaxes(1, 2)
        tops = poses.t[:, None] + self._platform @ turned
        spindle = poses.t[:, None] + self._spindle @ turned
        out = {}
        for k in self._radius:
            if k == SPINDLE:
                out[k] = spindle.swapaxes(0, 1)
            else:
                out[k] = np.stack([np.broadcast_to(self._base[k], tops[:, k].shape), tops[:, k]])
        return out

    def _distances(self, ends: dict[int, Array], enough: float) -> Array:
        """Return the distances (k, n) of the surfaces of all pairs; infinite where they are ``enough`` for certain."""
        n = len(next(iter(ends.values()))[0])
        knots = np.arange(0, n, STRIDE)
        way = {k: _ways(x, knots) for k, x in ends.items()}
        out: Array = np.full((len(self._pairs), n), np.inf)
        for row, (i, j) in zip(out, self._pairs, strict=True):
            known = self._apart(ends, i, j, knots) - way[i] - way.get(j, 0.0)
            at = np.flatnonzero(np.repeat(known < enough, STRIDE)[:n])
            row[at] = self._apart(ends, i, j, at)
        return out

    def _apart(self, ends: dict[int, Array], i: int, j: int, at: Ints) -> Array:
        """Return the distances (m,) of the surfaces of two bodies at some rows; ``j`` below 0 is a box."""
        p, q = ends[i][:, at]
        if j < 0:
            box = self._boxes[-1 - j]
            return box_apart(p, q, box.low, box.high) - self._radius[i]
        return segments_apart(p, q, *ends[j][:, at]) - self._radius[i] - self._radius[j]


def _ways(ends: Array, knots: Ints) -> Array:
    """Return how far an end of (2, n, 3) is away from where it was at a knot, at most until the next one."""
    n = ends.shape[1]
    before = np.repeat(ends[:, knots], STRIDE, axis=1)[:, :n]
    way: Array = np.maximum.reduceat(np.linalg.norm(ends - before, axis=2).max(axis=0), knots)
    return way
