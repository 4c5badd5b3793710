"""Limits again from the table, and whether its columns belong to each other."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array, Flags, Ints, distinct
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID
from hexpost.verify.follow import Placed
from hexpost.verify.model import Faults
from hexpost.verify.places import WorstPlace
from hexpost.verify.pose import EXACT, KNOT
from hexpost.verify.rows import Rows
from hexpost.verify.told import Broken, Which
from hexpost.voice import in_line

STEP_MM, STEP_MM_S, STEP_MM_S2 = 1e-6, 1e-6, 1e-3
"""Last decimals of the table."""
STILL = 1e-6
"""A tip slower than this, mm/s, stands."""
BENT = 1e-4
"""Share of itself that a deviation may be off by where the path is bent sharply: the rates of poses are."""
_OPEN = 4.0
_ABOUT = 1e-2
"""A tip slower than this share of what joints turn at, about it: its way is worked out exactly."""
_NEAR, _FAR = 0.9, 0.05
"""A deviation above this share of its limit, or of the worst, is worked out exactly; not below that share."""
STANDS = 1e-3
"""A strut slower than this, mm/s, may be about to turn round: it speeds up and slows down."""
ACCELERATIONS = "acceleration", "deceleration"
_BANDS = ("stroke", "speed", "acceleration", "jerk", "deceleration")
"""The last where a strut has a limit of its own for slowing down; then that before it is of struts that speed up."""


@dataclass(slots=True)
class Clock:
    """Times of the rows: they start at 0 and go on by the period."""

    period_us: int
    faults: Faults = field(default_factory=Faults)
    rows: int = 0

    def add(self, rows: Rows) -> None:
        """Look at the new rows."""
        start = max(rows.old - 1, 0)
        step = np.diff(rows.micros[start:])
        if not self.rows and rows.micros[0] != 0:
            self.faults.add(f"row 0: time {rows.micros[0] / 1e6:.6f} s, expected 0")
        for i in np.flatnonzero(step != self.period_us):
            at = rows.first + start + int(i) + 1
            what = f"{step[i] / 1e6:.6f} s after the row before, expected {self.period_us / 1e6:.6f} s"
            self.faults.add(
                f"row {at} ({in_line(rows.line[start + i + 1])}): {what}: rows are missing, doubled or moved"
            )
        self.rows += rows.count

    def text(self) -> str:
        """Return what was found."""
        return f"{self.rows:,} rows, one every {self.period_us / 1e3:g} ms"


@dataclass(slots=True)
class LimitUse:
    """The worst of one limit by one strut (0: the tool), and the lines in which it is broken."""

    value: float = -np.inf
    low: float = np.inf
    row: int = 0
    line: int = 0
    broken: Broken = field(default_factory=Broken)


class MotionLimits:
    """Stroke, speed, acceleration and jerk of each strut, and the deviation between setpoints, from the table alone.

    A limit counts as broken in a line only where it is so beyond the decimals of the table. Where drives make up for
    struts that give way (``driven``), stroke and speed are theirs.
    """

    def __init__(self, machine: Machine, period: float, jerk: Array, *, driven: bool) -> None:
        self._period, self._driven = period, driven
        self.shortest, self.longest = np.full(6, np.inf), np.full(6, -np.inf)
        self._struts = machine.struts
        self._deviation = machine.tool_tip.deviation
        self._bands = _BANDS if machine.struts_slow_otherwise else _BANDS[:-1]
        self.uses = {(name, k): LimitUse() for name in self._bands for k in range(1, 7)}
        self.uses["deviation", 0] = LimitUse()
        self.places: dict[Which, WorstPlace] = {}
        self.steps = {
            "stroke": STEP_MM, "speed": STEP_MM_S, "acceleration": STEP_MM_S2, "jerk": 2.0 * STEP_MM_S2 / period,
            "deviation": 1e-3 * self._deviation, "deceleration": STEP_MM_S2,
        }  # fmt: skip
        """How far a value from the table may be from the one that was checked when it was made."""
        most = max(max(x.acceleration, x.slowing) for x in machine.struts)
        self.between = {"stroke": most * period**2 / 8.0, "speed": 0.0, "acceleration": 0.0, "deviation": 0.0}
        self.between["speed"] = float(jerk.max()) * period**2 / 8.0
        self.between["acceleration"] = self.between["deceleration"] = float(jerk.max()) * period / 2.0
        """How far beyond both rows a value may be between them, where a report may have looked; of a jerk: anything."""

    def add(self, rows: Rows) -> None:
        """Look at the new rows."""
        new = rows.new
        np.minimum(self.shortest, rows.length[:, new].min(axis=1, initial=np.inf), out=self.shortest)
        np.maximum(self.longest, rows.length[:, new].max(axis=1, initial=-np.inf), out=self.longest)
        jerk = np.zeros_like(rows.length)
        jerk[:, 1:] = np.diff(rows.acceleration) / self._period
        columns = [rows.length, rows.speed, rows.acceleration, jerk]
        if len(self._bands) > len(columns):  # its speed grows where the square of that does
            power, stands = rows.speed * rows.acceleration, np.abs(rows.speed) <= STANDS
            columns[2] = np.where(stands | (power >= 0.0), rows.acceleration, 0.0)
            columns.append(np.where(stands | (power < 0.0), rows.acceleration, 0.0))
        for name, values in list(zip(self._bands, columns, strict=True))[2 * self._driven :]:
            for k in range(len(self._struts)):
                self._take((name, k + 1), values[k, new], rows, rows.old)

    def add_driven(self, rows: Rows, first: int, more: Array, growing: Array, room: Array) -> None:
        """Look at what drives follow in the rows of a batch from ``first`` on.

        ``more`` (6, n) is added to the lengths, at speeds ``growing``, and off by ``room`` at most.
        """
        at = slice(first, first + more.shape[1])
        self.steps["stroke"] = max(self.steps["stroke"], STEP_MM + float(room.max(initial=0.0)))
        self.steps["speed"] = max(self.steps["speed"], STEP_MM_S + 2.0 * float(room.max(initial=0.0)) / self._period)
        for k in range(len(self._struts)):
            self._take(("stroke", k + 1), rows.length[k, at] + more[k], rows, first)
            self._take(("speed", k + 1), rows.speed[k, at] + growing[k], rows, first)

    def allowed(self, limit: str, strut: int) -> tuple[float, float]:
        """Return the band of a limit."""
        if limit == "deviation":
            return -np.inf, self._deviation
        if limit == "stroke":
            return self._struts[strut - 1].stroke
        one = self._struts[strut - 1]
        most = float(one.slowing if limit == "deceleration" else getattr(one, limit))
        return -most, most

    def ends(self, limit: str, strut: int, step: float) -> list[tuple[float, float]]:
        """Return the worst value of a limit and its bound; of a stroke both that are as bad to ``step``."""
        low, high = self.allowed(limit, strut)
        worst = self.uses[limit, strut].low
        if limit != "stroke":
            return [(worst if limit == "deviation" else abs(worst), high)]
        found = [(worst, low if worst < (low + high) / 2.0 else high)]
        if not self._driven:
            other = (self.longest if found[0][1] == low else self.shortest)[strut - 1]
            if abs(worst + other - (low + high)) <= step:
                found.append((float(other), low + high - found[0][1]))
        return found

    def add_deviation(self, rows: Rows, p: Placed) -> None:
        """Take the tip error in the middle of the ticks that begin at the new rows, across the way of the tip.

        A strut that runs straight between two setpoints is off by a h2 / 8 half way (remainder of linear
        interpolation). A tip no faster than the decimals of the table may make it stands, and its way has no direction:
        those of the speeds, and, where the platform turns, those of the lengths, by the pose that they give.
        """
        new = slice(p.at.start + rows.old, p.at.stop + rows.old)
        cutting = p.stretch.mode[p.move[p.old :]] != FEED_RAPID
        if not cutting.any():
            return
        rate, error = p.rate[:, p.old :], p.poses.rates(rows.acceleration[:, new])
        turn = np.sqrt(2.0 * (rate[3:] ** 2).sum(axis=0))
        most = np.sqrt((p.poses.gains[:3] ** 2).sum(axis=0))
        noise = STILL + most * STEP_MM_S + turn * most**2 * STEP_MM
        tip = np.sqrt((rate[:3] ** 2).sum(axis=0))
        about = cutting & (tip > noise) & (tip < _ABOUT * p.struts.lever * turn)
        if about.any():  # a tip that hardly moves: its way is what is left of speeds that all but cancel
            rate = rate.copy()
            p.poses.refine(rate, rows.speed[:, new], distinct(np.flatnonzero(about) // KNOT), sure=EXACT)
        size = self._across(error, rate, noise, cutting)
        worst = max(self.uses["deviation", 0].value, float(size.max()))
        near = max(_NEAR * min(worst, self._deviation), _FAR * self._deviation)
        some = distinct(np.flatnonzero(size > near) // KNOT)
        if len(some):  # those that count are worked out again more exactly
            rate = rate.copy()
            p.poses.refine(error, rows.acceleration[:, new], some)
            p.poses.refine(rate, rows.speed[:, new], some)
            size = self._across(error, rate, noise, cutting)
        square = (rate[:3] ** 2).sum(axis=0)
        decimals = most * (0.5 * STEP_MM_S2 * self._period**2 / 8.0)
        self.steps["deviation"] = max(self.steps["deviation"], float(decimals[cutting].max()))
        open_ = size * np.where(square > (_OPEN * noise) ** 2, BENT, 1.0)  # what is along its way is not known
        self._judge(size, rows, np.arange(new.start, new.stop), decimals + open_)

    def _across(self, error: Array, rate: Array, noise: Array, cutting: Flags) -> Array:
        """Return how far off across its way (n,) a tip is in the middle of ticks, by errors and rates (6, n)."""
        error, along = error[:3], rate[:3]
        square = (along * along).sum(axis=0)
        total = (error * error).sum(axis=0)
        part = (error * along).sum(axis=0) ** 2 / np.maximum(square, STILL**2)
        total -= np.where(square > noise**2, part, 0.0)
        size = np.sqrt(np.maximum(total, 0.0)) * (self._period**2 / 8.0)
        return np.where(cutting, size, 0.0)

    def _take(self, which: tuple[str, int], values: Array, rows: Rows, first: int) -> None:
        low, high = self.allowed(*which)
        centre = (low + high) / 2.0
        use = np.abs(values - centre)
        room = (high - low) / 2.0 + self.steps[which[0]]
        kept = self.uses[which]
        k = int(use.argmax())
        if which in self.places:
            self.places[which].note(use, rows, first)
        if use[k] > kept.value:
            kept.value, kept.low = float(use[k]), float(values[k])
            kept.row, kept.line = rows.first + first + k, int(rows.line[first + k])
        least = room - 2.0 * self.steps[which[0]] - self.between.get(which[0], 0.0)
        if use[k] > least:
            kept.broken.note(rows.line[first : first + len(use)], use * (2.0 / (high - low)), use > room, use > least)

    def _judge(self, values: Array, rows: Rows, at: Ints, unsure: Array) -> None:
        kept = self.uses["deviation", 0]
        k = int(values.argmax())
        if values[k] > kept.value:
            kept.value = kept.low = float(values[k])
            kept.row, kept.line = rows.first + int(at[k]), int(rows.line[at[k]])
        step = 1e-3 * self._deviation + unsure
        sure, may = values > self._deviation + step, values > self._deviation - step
        kept.broken.note(rows.line[at], values / self._deviation, sure, may)
