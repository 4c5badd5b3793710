"""Jerk, thrust, torque, power and compensation in a table, again from its lengths, speeds and accelerations."""

from math import pi

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine
from hexpost.verify.columns import COMPENSATION, GROUPS, JERK, POWER, THRUST, TORQUE
from hexpost.verify.follow import Placed
from hexpost.verify.limits import STEP_MM_S2
from hexpost.verify.loads import WorstLoads
from hexpost.verify.model import Check, Faults, Largest
from hexpost.verify.rows import Rows

LOADED = (THRUST, TORQUE, POWER)
SHARE = 1e-4
"""Share of the largest thrust of a row, or of its torque, that the decimals of the table may make."""


class LoadColumns:
    """Compares the columns with what is found again; where the table leaves a load open, both ways count."""

    def __init__(self, machine: Machine, period: float, loads: WorstLoads) -> None:
        self._period, self._loads = period, loads
        screws = [s.screw for s in machine.struts]
        self._turns = np.array([0.0 if s is None else s.gear / s.lead for s in screws])[:, None]
        self._levers = np.array([0.0 if s is None else s.lead / s.gear / s.efficiency for s in screws])[:, None]
        self.faults = Faults()
        self._off = Largest()
        self.rows = 0

    def add_jerk(self, rows: Rows) -> None:
        """Look at the jerk of the new rows: the change of acceleration since the row before, over the period."""
        if JERK not in rows.more:
            return
        jerk = np.diff(rows.acceleration, axis=1, prepend=rows.acceleration[:, :1])[:, rows.new] / self._period
        self._compare(rows, 0, JERK, [jerk], np.full_like(jerk, 1.001 * STEP_MM_S2 / self._period))

    def add(
        self, rows: Rows, p: Placed, loads: tuple[list[Array], list[Array]], more: tuple[Array, Array] | None
    ) -> None:
        """Look at the new rows of a piece: possible thrusts and torques (6, n), what is added and how far it is off."""
        first = p.at.start
        thrusts, torques = loads
        if any(g in rows.more for g in LOADED):
            speed = rows.speed[:, rows.new][:, p.at]
            top = np.max([np.abs(t).max(axis=0) for t in thrusts], axis=0)[None]
            room = SHARE * top + np.zeros_like(speed)
            arm = SHARE * (top * self._levers * (1e-3 / (2.0 * pi)) + np.max(np.abs(torques), axis=0))
            turning = 2.0 * pi * self._turns
            power = [t * speed * turning for t in torques]
            for group, values, off in ((THRUST, thrusts, room), (TORQUE, torques, arm), (POWER, power, None)):
                if group in rows.more:
                    spare = arm * np.abs(speed) * turning + SHARE if off is None else off
                    self._compare(rows, first, group, values, spare)
        if COMPENSATION in rows.more and more is not None:
            self._compare(rows, first, COMPENSATION, [more[0]], more[1] + 1e-9)

    def check(self) -> Check:
        """Return the check, after all rows."""
        text = f"jerks, loads and compensation belong to the motion (worst {self._off.size:.0%} of what decimals allow)"
        return Check(name="loads of drives", text=text, faults=self.faults.told())

    def _compare(self, rows: Rows, first: int, group: int, wanted: list[Array], room: Array) -> None:
        """Compare rows from the new row ``first`` on with values of which the nearest counts, and what lies between."""
        step, n = 10.0 ** -GROUPS[group].decimals, room.shape[1]
        said = rows.more[group][:, first : first + n] * step
        low, high = np.min(wanted, axis=0), np.max(wanted, axis=0)
        off = np.maximum(np.maximum(low - said, said - high), 0.0)
        use = off / (room + 0.51 * step)
        at = np.arange(n) + first + rows.old
        self._off.take(use.max(axis=0), rows, at)
        strut, bad = np.nonzero(~(use <= 1.0))
        for k, i in zip(strut[:20].tolist(), bad[:20].tolist(), strict=True):
            name = GROUPS[group].column(k + 1)
            self.faults.add(
                f"{rows.where(rows.first + int(at[i]))}: {name} is {off[k, i]:.3g} off what the motion gives"
            )
        self.rows += n


def has_columns(rows: Rows) -> bool:
    """Return whether a table has any such column."""
    return any(g in rows.more for g in (JERK, *LOADED, COMPENSATION))
