"""What drives follow, from lengths and poses by the figures of the machine file: commands, motor turns, counts.

The screw of a strut makes up for its length l, less what it grows by warmth, from the zero of the file. Where the
platform end of the strut has turned against the base end by w since the reference pose, right-hand about the strut,
the thread has given or taken lead / 2 pi of length for each rad: a right-hand one gives. Each end is kept from turning
about the strut by its joint: the axis that the joint's cross carries is square to the outer axis and to the strut.
On top comes what struts that give way ask for; without screws, that and the length are the command.
"""

from math import pi

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.verify.base import PlatformPoses
from hexpost.verify.columns import COMMAND, COUNTS, GROUPS, TURNS
from hexpost.verify.elastic import makes_up
from hexpost.verify.follow import ROUNDING_MM, Placed
from hexpost.verify.model import Check, Faults, Largest
from hexpost.verify.rows import Rows

_SPARE = 4.0


def described(machine: Machine) -> bool:
    """Return whether drives follow commands: the machine file describes every screw, or has them make up for sag."""
    return _has_screws(machine) or makes_up(machine)


def _has_screws(machine: Machine) -> bool:
    return all(s.screw is not None for s in machine.struts)


class CommandColumns:
    """Finds the columns again at the new rows; ``reference`` (3, 3): the rotation at the machine's reference pose."""

    def __init__(self, machine: Machine, reference: Array) -> None:
        self._machine, self._twists = machine, _has_screws(machine)
        screws = [s.screw if self._twists else None for s in machine.struts]
        known = [(0.0, 0.0, np.nan, None) if s is None else (s.lead * s.hand, s.zero, s.gear / s.lead, s.counts)
                 for s in screws]  # fmt: skip
        pitch, zero, turns, counts = zip(*known, strict=True)
        self._pitch, self._zero, self._turns = (np.array(x)[:, None] for x in (pitch, zero, turns))
        self._pitch /= 2.0 * pi
        self._counts = np.array([np.nan if x is None else x for x in counts])[:, None] * self._turns
        base = [s.base_universal for s in machine.struts]
        platform = [s.platform_universal for s in machine.struts]
        self._base = np.array([u.outer for u in base if u is not None])
        self._platform = np.array([u.outer for u in platform if u is not None])
        joints = np.array([s.platform_joint for s in machine.struts]) @ reference.T
        along = machine.reference[:3] + joints - np.array([s.base_joint for s in machine.struts])
        along /= np.sqrt((along**2).sum(axis=1))[:, None]
        self._home = self._twist(along[None], reference[None])
        self._last = np.zeros((6, 1))
        self.rows = 0
        self.faults = Faults()
        self._off = Largest()

    def add(self, rows: Rows, p: Placed, platform: PlatformPoses, more: tuple[Array, Array] | None) -> None:
        """Look at the new rows of a piece; ``more``: what is added for sag, and how far off that may be (6, n)."""
        if not rows.more:
            return
        length = rows.length[:, rows.new][:, p.at]
        command, room = self._cold(length) - self._zero, 2.2 * ROUNDING_MM + np.zeros_like(length)
        if self._twists:
            twist = np.concatenate([self._last, self._twist(platform.units, platform.r) - self._home], axis=1)
            steps = np.diff(twist, axis=1)
            steps -= 2.0 * pi * np.round(steps / (2.0 * pi))
            turned = twist[:, :1] + np.cumsum(steps, axis=1)
            self._last = turned[:, -1:].copy()
            command -= self._pitch * turned
            noise = p.noise[1, p.old :] + p.noise[0, p.old :] / length.min()
            room += np.abs(self._pitch) * (_SPARE * noise)
        if more is not None:
            command += more[0]
            room += more[1]
        at = np.arange(p.at.start, p.at.stop) + rows.old
        one = np.ones((6, 1))
        for group, factor in ((COMMAND, one), (TURNS, self._turns), (COUNTS, self._counts)):
            if group in rows.more:
                self._compare(rows, group, command * factor, room * np.abs(factor), at)
        self.rows += p.at.stop - p.at.start

    def check(self) -> Check:
        """Return the check, after all rows."""
        text = f"commands, turns and counts belong to the lengths (worst {self._off.size:.0%} of what decimals allow)"
        return Check(name="drives", text=text, faults=self.faults.told())

    def _compare(self, rows: Rows, group: int, wanted: Array, room: Array, at: Ints) -> None:
        step = 10.0 ** -GROUPS[group].decimals
        off = np.abs(rows.more[group][:, at - rows.old] * step - wanted)
        use = off / (room + 0.51 * step)
        self._off.take(use.max(axis=0), rows, at)
        strut, bad = np.nonzero(~(use <= 1.0))
        for k, i in zip(strut[:20].tolist(), bad[:20].tolist(), strict=True):
            name = GROUPS[group].column(k + 1)
            what = f"{name} is {off[k, i]:.3g} off what length and pose give"
            self.faults.add(f"{rows.where(rows.first + int(at[i]))}: {what}")

    def _cold(self, length: Array) -> Array:
        """Return lengths (6, n) less what warmth adds to them."""
        out = length.copy()
        for k, s in enumerate(self._machine.struts):
            if s.thermal is not None:
                strain = s.thermal.expansion * (s.thermal.temperature - s.thermal.reference)
                if s.thermal.heated is None:
                    out[k] /= 1.0 + strain
                else:
                    out[k] -= strain * s.thermal.heated
        return out

    def _twist(self, along: Array, turned: Array) -> Array:
        """Return how platform ends are turned against base ends (6, n): unit vectors (n, 6, 3), rotations (n, 3, 3)."""
        one = np.cross(self._base, along)
        other = np.cross(self._platform @ turned.swapaxes(1, 2), along)
        sine = (np.cross(one, other) * along).sum(axis=2)
        out: Array = np.arctan2(sine, (one * other).sum(axis=2)).T
        return out
