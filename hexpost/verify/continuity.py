"""Lengths against speeds against accelerations, from row to row, within what the machine file lets a strut jerk."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine
from hexpost.verify.limits import STEP_MM, STEP_MM_S, STEP_MM_S2
from hexpost.verify.model import Faults, Largest
from hexpost.verify.rows import Rows

SWING = 2.0
"""Inside a tick the jerk of the tip may be this many times its limit, which holds for means of a tick."""
_LENGTH_SHARE, _SPEED_SHARE = 0.0321, 0.25
"""Integrals of |B2(y)| / 2 and |y - 1/2| over a tick: what a bounded jerk can do (kernels of Peano's remainder)."""


def most_jerk(machine: Machine, tips: Array) -> Array:
    """Return the jerk (6,) in mm/s3 that the limits of tool tip and tilt leave to each strut.

    ``tips`` (f, 3): the programmed points in the platform frame. A joint at r from the tip has the velocity v + w x r,
    and so on; of l = |p| the third derivative is at most |p'''| + 3 |p'| |p''| / l + 3 |p'|3 / l2. Changes of three
    angles turn the platform by at most the square root of 2 times their norm.
    """
    tip = machine.tool_tip
    turn, turn2, turn3 = (
        2.0**0.5 * x for x in (tip.tilt_speed, max(tip.tilt_acceleration, tip.slowing[1]), tip.tilt_jerk)
    )
    turn2, turn3 = turn2 + turn**2, turn3 + 3.0 * turn * turn2 + turn**3
    out = []
    for strut in machine.struts:
        lever = float(np.sqrt(((tips - strut.platform_joint) ** 2).sum(axis=1)).max(initial=0.0))
        v = tip.speed + lever * turn
        a = max(tip.acceleration, tip.slowing[0]) + lever * (turn2 + turn**2)
        j = tip.jerk + lever * (turn3 + 3.0 * turn * turn2 + turn**3)
        least = 0.5 * strut.stroke[0] if strut.stroke[0] > 0.0 else 0.25 * strut.stroke[1]
        out.append(j + 3.0 * v * a / least + 3.0 * v**3 / least**2)
    return SWING * np.array(out)


@dataclass(slots=True)
class Continuity:
    """Checks, tick by tick, what neither decimals nor a bounded jerk explain.

    With h the period, l(t + h) - l(t) = h/2 (v0 + v1) - h2/12 (a1 - a0) and v1 - v0 = h/2 (a0 + a1), each up to the
    change of jerk inside the tick (Euler and Maclaurin; Abramowitz and Stegun 1964, 25.4.3), and up to the decimals.
    ``jerk`` (6,) is the largest that the machine file allows.
    """

    jerk: Array
    period: float
    faults: Faults = field(default_factory=Faults)
    worst: Largest = field(default_factory=Largest)

    def add(self, rows: Rows) -> None:
        """Look at the ticks that end in new rows."""
        h, v, a = self.period, rows.speed, rows.acceleration
        change = np.diff(a)
        by_speed = np.diff(rows.length) - h / 2.0 * (v[:, 1:] + v[:, :-1]) + h * h / 12.0 * change
        by_acceleration = np.diff(v) - h / 2.0 * (a[:, 1:] + a[:, :-1])
        room_length = _LENGTH_SHARE * self.jerk * h**3 + STEP_MM + STEP_MM_S * h / 2.0 + STEP_MM_S2 * h * h / 12.0
        room_speed = _SPEED_SHARE * self.jerk * h * h + STEP_MM_S + STEP_MM_S2 * h / 2.0
        use = np.maximum(np.abs(by_speed) / room_length[:, None], np.abs(by_acceleration) / room_speed[:, None])
        self.worst.take(use.max(axis=0, initial=0.0), rows, np.arange(1, 1 + use.shape[1]))
        strut, tick = np.nonzero(~(use <= 1.0))
        for k, i in zip(strut[:100].tolist(), tick[:100].tolist(), strict=True):
            gap = by_speed[k, i]
            what = f"strut {k + 1} jumps: its length is {gap:+.6f} mm off what its speeds give"
            self.faults.add(f"{rows.where(rows.first + i + 1)}: {what}")
