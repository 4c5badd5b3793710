"""Limits again from the table, and whether its columns belong to each other."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.model import Machine
from hexpost.verify.model import Faults
from hexpost.verify.pose import Poses
from hexpost.verify.route import Route
from hexpost.verify.rows import Rows

STEP_MM, STEP_MM_S, STEP_MM_S2 = 1e-6, 1e-6, 1e-3
"""Last decimals of the table."""
STILL = 1e-6
"""A tip slower than this, mm/s, stands."""
MOST_LINES = 10_000
_BANDS = ("stroke", "speed", "acceleration", "jerk")


@dataclass(slots=True)
class Clock:
    """Times of the rows: they start at 0 and go on by the period."""

    period_us: int
    faults: Faults = field(default_factory=Faults)
    rows: int = 0
    last_us: int = 0

    def add(self, rows: Rows) -> None:
        """Look at the new rows."""
        start = max(rows.old - 1, 0)
        step = np.diff(rows.micros[start:])
        if not self.rows and rows.micros[0] != 0:
            self.faults.add(f"row 0: time {rows.micros[0] / 1e6:.6f} s, expected 0")
        for i in np.flatnonzero(step != self.period_us):
            at = rows.first + start + int(i) + 1
            what = f"{step[i] / 1e6:.6f} s after the row before, expected {self.period_us / 1e6:.6f} s"
            self.faults.add(f"row {at} (line {rows.line[start + i + 1]}): {what}: rows are missing, doubled or moved")
        self.rows += len(rows.micros) - rows.old
        self.last_us = int(rows.micros[-1])


@dataclass(slots=True)
class Use:
    """The worst of one limit by one strut (0: the tool), and the lines in which it is broken for certain."""

    value: float = -np.inf
    low: float = np.inf
    row: int = 0
    line: int = 0
    lines: set[int] = field(default_factory=set)


class Limits:
    """Stroke, speed, acceleration and jerk of each strut, and the deviation between setpoints, from the table alone.

    A limit counts as broken in a line only where it is so beyond the decimals of the table.
    """

    def __init__(self, machine: Machine, period: float) -> None:
        self._period = period
        self._struts = machine.struts
        self._deviation = machine.tool_tip.deviation
        self.uses = {(name, k): Use() for name in _BANDS for k in range(1, 7)}
        self.uses["deviation", 0] = Use()
        self.steps = {
            "stroke": STEP_MM, "speed": STEP_MM_S, "acceleration": STEP_MM_S2, "jerk": 2.0 * STEP_MM_S2 / period,
            "deviation": 1e-3 * self._deviation,
        }  # fmt: skip
        """How far a value from the table may be from the one that was checked when it was made."""

    def add(self, rows: Rows) -> None:
        """Look at the new rows."""
        new = rows.new
        jerk = np.zeros_like(rows.length)
        jerk[:, 1:] = np.diff(rows.acceleration) / self._period
        for k in range(len(self._struts)):
            columns = (rows.length, rows.speed, rows.acceleration, jerk)
            for name, values in zip(_BANDS, columns, strict=True):
                self._take((name, k + 1), values[k, new], rows)

    def allowed(self, limit: str, strut: int) -> tuple[float, float]:
        """Return the band of a limit."""
        if limit == "deviation":
            return -np.inf, self._deviation
        if limit == "stroke":
            return self._struts[strut - 1].stroke
        most = float(getattr(self._struts[strut - 1], limit))
        return -most, most

    def add_deviation(self, rows: Rows, poses: Poses, route: Route, move: Ints, cutting: Flags) -> None:
        """Take the tip error in the middle of the ticks that begin at the new rows, across the way of the tip.

        A strut that runs straight between two setpoints is off by a h2 / 8 half way (remainder of linear
        interpolation). A tip no faster than the decimals of the table may make it stands, and its way has no direction:
        those of the speeds, and, where the platform turns, those of the lengths, by the pose that they give.
        ``move`` and ``cutting`` (n,) belong to the new rows, as do ``poses``.
        """
        own = np.flatnonzero(cutting)
        if not own.size:
            return
        at = own + rows.old
        asked = np.stack([rows.acceleration[:, at].T * (self._period**2 / 8.0), rows.speed[:, at].T], axis=2)
        inverse = np.linalg.inv(poses.rows[own])
        arm = route.arms(poses.r[own], move[own])
        gain = inverse[:, :3] + np.cross(inverse[:, 3:], arm[:, :, None], axis=1)
        error, along = (np.einsum("nij,nj->ni", gain, asked[:, :, k]) for k in (0, 1))
        size = np.sqrt((along**2).sum(1))
        turn = np.sqrt((np.einsum("nij,nj->ni", inverse[:, 3:], asked[:, :, 1]) ** 2).sum(1))
        most = np.sqrt((np.abs(gain).sum(2) ** 2).sum(1))
        noise = STILL + most * STEP_MM_S + turn * most**2 * STEP_MM
        along = np.where(size > noise, along.T / np.maximum(size, STILL), 0.0).T
        error = error - along * (error * along).sum(1)[:, None]
        self._judge(np.sqrt((error**2).sum(1)), rows, at)

    def _take(self, which: tuple[str, int], values: Array, rows: Rows) -> None:
        low, high = self.allowed(*which)
        centre = (low + high) / 2.0
        use = np.abs(values - centre)
        room = (high - low) / 2.0 + self.steps[which[0]]
        kept = self.uses[which]
        k = int(use.argmax())
        if use[k] > kept.value:
            kept.value, kept.low = float(use[k]), float(values[k])
            kept.row, kept.line = rows.first + rows.old + k, int(rows.line[rows.old + k])
        if use[k] > room and len(kept.lines) < MOST_LINES:
            kept.lines.update(np.unique(rows.line[rows.new][use > room]).tolist())

    def _judge(self, values: Array, rows: Rows, at: Ints) -> None:
        kept = self.uses["deviation", 0]
        k = int(values.argmax())
        if values[k] > kept.value:
            kept.value = kept.low = float(values[k])
            kept.row, kept.line = rows.first + int(at[k]), int(rows.line[at[k]])
        over = values > self._deviation + self.steps["deviation"]
        if over.any() and len(kept.lines) < MOST_LINES:
            kept.lines.update(np.unique(rows.line[at[over]]).tolist())
