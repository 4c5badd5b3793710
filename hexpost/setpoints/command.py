"""From the length of a strut, joint centre to joint centre, to what its drive must do.

With the actual length l, the growth g of the warm strut, the zero z, the lead p of the screw (negative for a left-hand
thread) and the twist w of the platform end against the base end since the reference pose, right-hand about the strut,

    command = l - g - z - p w / 2 pi,

and what ``elastic.py`` adds. Without screws, a machine whose struts give way has the length and that as commands.

The two halves of a strut are screw and nut, each kept from turning about the strut by the universal joint at its end:
a twist screws them apart by p w / 2 pi without the drive (Q. Huang et al., Mech. Sci. 12 (2021) 1027-1036). The heated
length h is the whole strut, then h is the cold length and g = l a dT / (1 + a dT), or a stated part of it at its
reference temperature, then g = h a dT. A warm strut is longer, so its command is shorter.
"""

from math import pi

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.links import Links
from hexpost.kinematics.universal import twist
from hexpost.machine.model import Machine
from hexpost.machine.universals import home_twist, joints
from hexpost.setpoints.model import Gearing

TURN = 2.0 * pi


def has_screws(machine: Machine) -> bool:
    """Return whether the machine file describes its screws."""
    return all(s.screw is not None for s in machine.struts)


def has_commands(machine: Machine) -> bool:
    """Return whether drives follow anything else than the lengths."""
    return has_screws(machine) or makes_up(machine)


def makes_up(machine: Machine) -> bool:
    """Return whether commands make up for what the struts give way."""
    return machine.compensation is not None and machine.compensation.sag


def gearing(machine: Machine) -> Gearing | None:
    """Return motor turns and encoder counts for a mm of command; a positive turn makes the strut longer."""
    screws = [s.screw for s in machine.struts if s.screw is not None]
    if len(screws) < len(machine.struts):
        return Gearing(turns=None, counts=None, compensated=True) if makes_up(machine) else None
    turns = np.array([s.gear / s.lead for s in screws])
    counts = [s.counts for s in screws if s.counts is not None]
    known = turns * np.array(counts) if len(counts) == len(screws) else None
    return Gearing(turns=turns, counts=known, compensated=makes_up(machine))


class Commands:
    """The commands of consecutive batches of samples; twists are unwrapped along the path: in a batch, then across."""

    def __init__(self, machine: Machine) -> None:
        screws = [s.screw for s in machine.struts if s.screw is not None]
        self._pitch = np.array([s.hand * s.lead / TURN for s in screws])[:, None]
        self._zero = np.array([s.zero for s in screws])[:, None]
        self._share, self._growth = (x[:, None] for x in _growth(machine))
        base, platform = joints(machine)
        self._base, self._platform = base.outer, platform.outer
        self._home = home_twist(machine)[:, None]
        self._last = np.zeros((6, 1))

    def of(self, at: Links, base_from_work: Array) -> tuple[Array, tuple[Array, Array]]:
        """Return the commands (6, n) of a batch alone, mm, and the twists (6, 1) at its first and its last sample."""
        turned = twist(self._base @ base_from_work[:3, :3], self._platform, at.rotation, at.direction, at.seen)
        turned -= self._home
        steps = np.diff(turned, axis=1)
        if steps.size and np.abs(steps).max() > pi:
            turned[:, 1:] -= TURN * np.cumsum(np.round(steps / TURN), axis=1)
        ends = turned[:, :1].copy(), turned[:, -1:].copy()
        turned *= -self._pitch
        turned += at.length * (1.0 - self._share)
        turned -= self._growth + self._zero
        return turned, ends

    def join(self, command: Array, ends: tuple[Array, Array]) -> bool:
        """Take the next batch: whole turns since the batch before are put right in its commands; return if any were."""
        if not command.shape[1]:
            return False
        whole = np.round((ends[0] - self._last) / TURN)
        self._last = ends[1] - TURN * whole
        if not whole.any():
            return False
        command += TURN * whole * self._pitch
        return True


def _growth(machine: Machine) -> tuple[Array, Array]:
    """Return the share (6,) of the actual length that is growth, and the growth (6,) of stated lengths, mm."""
    share, growth = np.zeros(6), np.zeros(6)
    for k, s in enumerate(machine.struts):
        if s.thermal is not None:
            strain = s.thermal.expansion * (s.thermal.temperature - s.thermal.reference)
            if s.thermal.heated is None:
                share[k] = strain / (1.0 + strain)
            else:
                growth[k] = strain * s.thermal.heated
    return share, growth
