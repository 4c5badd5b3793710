"""Room between bodies again, from the poses that the lengths of the table give: struts, spindle and keep-out boxes."""

from itertools import combinations, pairwise, product

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.machine.model import Machine
from hexpost.verify.base import PlatformPoses
from hexpost.verify.convex import box_apart, segments_apart
from hexpost.verify.model import Check, Faults
from hexpost.verify.rows import Rows
from hexpost.verify.told import MOST_LINES, ROUNDED, Broken, Told
from hexpost.voice import in_line

LIMIT = "clearance"
STRIDES = (1024, 32, 1)
"""Rows from one that is measured to the next: first for all pairs, then between those after which they may be near."""
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
        self._radius: Array = np.array(
            [np.nan if s.body.radius is None else s.body.radius for s in machine.struts] + [np.nan]
        )
        self._spindle: Array = np.zeros((2, 3))
        names = {k: f"strut {k + 1}" for k in range(6)} | {SPINDLE: "spindle"}
        if machine.spindle is not None:
            self._radius[SPINDLE] = machine.spindle.radius
            self._spindle = np.array([machine.platform.gauge_point, machine.spindle.top])
        solid = np.flatnonzero(np.isfinite(self._radius)).tolist()
        pairs = [(i, j) for i, j in combinations(solid, 2) if not self._meet(i, j)]
        self._met = len(pairs)
        boxed = list(product(solid, range(len(machine.keep_out))))
        self._pairs = np.array(pairs + boxed, dtype=np.int64).reshape(-1, 2).T
        self._corners = np.array([(b.low, b.high) for b in machine.keep_out]).reshape(-1, 2, 3)
        self._names = [{names[i], names[j]} for i, j in pairs]
        self._names += [{names[i], machine.keep_out[b].name} for i, b in boxed]
        self.limited = bool(self._names)
        self._least: dict[int, Array] = {}
        self._broken: set[int] = set()
        self._room = 0.0

    def add(self, rows: Rows, which: slice, poses: PlatformPoses, rounding: float) -> None:
        """Look at new rows, with ``poses`` that are off by up to ``rounding`` mm for the decimals of the table."""
        if not self.limited:
            return
        room = self._room = max(self._room, 10.0 * rounding)
        ends = self._ends(poses)
        distance = self._distances(ends, self._allowed + room)
        least = distance.min(axis=0)
        near = np.flatnonzero(least < self._allowed + room)
        line = rows.line[rows.new][which][near]
        for number in distinct(line).tolist():
            if len(self._least) < MOST_LINES or number in self._least:
                here = distance[:, near[line == number]].min(axis=1)
                self._least[number] = np.minimum(self._least.get(number, here), here)
        if len(self._broken) < MOST_LINES:
            self._broken.update(distinct(line[least[near] < self._allowed - room]).tolist())

    def check(self, told: Told) -> Check:
        """Check that the report tells of every line in which bodies come too near, how near, and which."""
        faults, broken = Faults(), Broken()
        broken.sure.update(self._broken)
        told.compare((LIMIT, 0), broken, faults, more=True)
        for line, findings in told.findings.get((LIMIT, 0), {}).items():
            f = findings[0]  # worst first
            found = self._least.get(line)
            if found is None:
                if len(self._least) < MOST_LINES:
                    faults.add(
                        f"{LIMIT}: the report says {f['peak']} mm in {in_line(line)}, where no bodies are too near"
                    )
                continue
            room = self._room + ROUNDED * abs(f["peak"])
            near = [self._names[k] for k in np.flatnonzero(found <= f["peak"] + room)]
            if abs(found.min() - f["peak"]) > room or set(f["bodies"] or ()) not in near:
                what = f"{found.min():.6f} mm between {' and '.join(sorted(self._names[int(found.argmin())]))}"
                who = " and ".join(f["bodies"] or ("nobody",))
                faults.add(f"{LIMIT}: {what} in {in_line(line)}; the report says {f['peak']} between {who}")
        return Check(name="bodies", text=f"found again from the poses; {self._worst()}", faults=faults.told())

    def _worst(self) -> str:
        if not self._broken:
            return f"none of {len(self._names)} pairs come nearer than {self._allowed:g} mm"
        line, found = min(self._least.items(), key=lambda item: float(item[1].min()))
        names = " and ".join(sorted(self._names[int(found.argmin())]))
        return f"{found.min():.6f} mm between {names} ({in_line(line)}), {self._allowed:g} mm are allowed"

    def _meet(self, i: int, j: int) -> bool:
        """Return whether two struts are so close at one end that their bodies always meet there."""
        if SPINDLE in (i, j):
            return False
        near = min(np.linalg.norm(x[i] - x[j]) for x in (self._base, self._platform))
        return bool(near <= self._radius[i] + self._radius[j])

    def _ends(self, poses: PlatformPoses) -> Array:
        """Return the ends (7, 2, n, 3) of the middle lines of struts and spindle, in the base frame."""
        turned = poses.r.swapaxes(1, 2)
        out: Array = np.empty((7, 2, len(poses.t), 3))
        out[:SPINDLE, 0] = self._base[:, None]
        out[:SPINDLE, 1] = (poses.t[:, None] + self._platform @ turned).swapaxes(0, 1)
        out[SPINDLE] = (poses.t[:, None] + self._spindle @ turned).swapaxes(0, 1)
        return out

    def _distances(self, ends: Array, enough: float) -> Array:
        """Return the distances (k, n) of the surfaces of all pairs; infinite where they are ``enough`` for certain."""
        n = ends.shape[2]
        out: Array = np.full((len(self._names), n), np.inf)
        pair, at = (x.ravel() for x in np.indices((len(out), -(-n // STRIDES[0]))))
        at = at * STRIDES[0]
        for stride, step in pairwise(STRIDES):
            way, knot, both = _ways(ends, stride), at // stride, pair < self._met
            first, second = self._pairs[:, pair]
            moved = way[first, knot]
            moved[both] += way[second[both], knot[both]]
            near = self._apart(ends, pair, at) - moved < enough
            pair = np.repeat(pair[near], stride // step)
            at = (at[near][:, None] + np.arange(0, stride, step)).ravel()
            pair, at = pair[at < n], at[at < n]
        out[pair, at] = self._apart(ends, pair, at)
        return out

    def _apart(self, ends: Array, pair: Ints, at: Ints) -> Array:
        """Return the distances (m,) of the surfaces of pairs (m,) at rows ``at`` (m,)."""
        out: Array = np.empty(len(pair))
        met = pair < self._met
        for some, boxed in ((met, False), (~met, True)):
            i, j = self._pairs[:, pair[some]]
            p, q = ends[i, :, at[some]].swapaxes(0, 1)
            if boxed:
                out[some] = box_apart(p, q, *self._corners[j].swapaxes(0, 1)) - self._radius[i]
            else:
                r, s = ends[j, :, at[some]].swapaxes(0, 1)
                out[some] = segments_apart(p, q, r, s) - self._radius[i] - self._radius[j]
        return out


def _ways(ends: Array, stride: int) -> Array:
    """Return how far (7, m) the ends (7, 2, n, 3) go from where they are at every so many rows, until the next."""
    knots = np.arange(0, ends.shape[2], stride)
    off = ends - np.repeat(ends[:, :, knots], stride, axis=2)[:, :, : ends.shape[2]]
    way: Array = np.sqrt(np.maximum.reduceat(np.einsum("bknj,bknj->bkn", off, off).max(axis=1), knots, axis=1))
    return way
