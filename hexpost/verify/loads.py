"""Loads of the struts again, from the poses that the lengths give and the speeds and accelerations of the table."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from math import cos, cosh, pi, sqrt, tan, tanh

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.machine.model import Machine, Screw, Tools
from hexpost.moves.model import Interpretation
from hexpost.verify.base import PlatformPoses
from hexpost.verify.follow import Placed
from hexpost.verify.forces import Motion, ThrustBounds
from hexpost.verify.limits import LimitUse
from hexpost.verify.model import Check, Faults
from hexpost.verify.rows import Rows
from hexpost.verify.told import ROUNDED, Told, proportional
from hexpost.voice import in_line

LOADS = ("thrust", "thrust-continuous", "torque", "torque-continuous", "power", "buckling", "critical-speed")
STEP = 1e-5
"""The decimals of the table change the share of a limit by less than this, where the mass is not far away."""
CRUMB = 1e-5
"""On a move shorter than this, mm, the decimals of the table show no speed."""
_FAR = 2000.0
"""Mass that is so far from the tip, mm, doubles that: the inertia about the struts grows with the square (measured)."""


@dataclass(slots=True)
class SureAndOpen:
    """The worst share of a limit: for certain, and what it may be where the table leaves something open."""

    sure: LimitUse = field(default_factory=LimitUse)
    most: float = 0.0


class WorstLoads:
    """The worst share of its load limits that each strut takes, and the lines in which it is over them for certain.

    Open are which way a strut that hardly moves carries its load while others move, and whether the tool cuts in a
    line of rapids and feed moves or where it hardly moves.
    """

    def __init__(
        self, machine: Machine, tools: Tools, meaning: Interpretation, period: float, *, free_yaw: bool
    ) -> None:
        self._machine = machine
        self._thrusts = ThrustBounds(machine, tools, meaning, free_yaw=free_yaw)
        self._screws = [s.screw for s in machine.struts]
        self._allowed = {limit: [_allowed(limit, s) for s in self._screws] for limit in LOADS}
        self.uses = {
            (limit, k + 1): SureAndOpen()
            for limit, row in self._allowed.items()
            for k, x in enumerate(row)
            if x is not None
        }
        window = 1 if machine.forces is None else max(round(machine.forces.window / period), 1)
        self._means = {(limit, side): _Mean(window) for limit in LOADS for side in (0, 1)}
        self.limited = bool(self.uses)
        centre = machine.platform.centre_of_mass
        away = 0.0 if centre is None else float(np.abs(centre).max())
        self._step = STEP * (1.0 + (away / _FAR) ** 2)

    def found(self, rows: Rows, p: Placed, poses: PlatformPoses) -> tuple[list[Array], list[Array]]:
        """Return the thrusts and torques (6, n) that are possible at the new rows of a piece with these ``poses``."""
        at = slice(p.at.start + rows.old, p.at.stop + rows.old)
        length, speed, acceleration = rows.length[:, at], rows.speed[:, at], rows.acceleration[:, at]
        motion = Motion(poses, length, speed, acceleration)
        thrusts = self._thrusts.of(motion, p.moves)
        crumb = (p.stretch.length <= CRUMB)[p.move[p.old :]]
        return thrusts, list(self._torques(thrusts, speed, acceleration, crumb))

    def add(self, rows: Rows, p: Placed, loads: tuple[list[Array], list[Array]]) -> None:
        """Look at the new rows of a piece, with the ``loads`` that are possible there."""
        at = slice(p.at.start + rows.old, p.at.stop + rows.old)
        for limit, low, high in self._measured(*loads, rows.length[:, at], rows.speed[:, at]):
            for k in range(6):
                allowed = self._allowed[limit][k]
                if allowed is not None:
                    self._take((limit, k + 1), low[k] / allowed, high[k] / allowed, rows, p.at)

    def check(self, told: Told) -> Check:
        """Check that what the report says of the loads is what the table shows."""
        faults = Faults()
        for (limit, strut), spread in self.uses.items():
            name, said, use = f"{limit} of strut {strut}", told.worst.get((limit, strut)), spread.sure
            if said is None:
                faults.add(f"{name}: the report shows no worst use")
                continue
            room = (self._step + ROUNDED) * max(spread.most, 1.0)
            shares = [abs(said["ratio"])]
            if said["allowed"]:
                shares.append(abs(said["value"] / said["allowed"]))
            if not all(use.value - room <= share <= spread.most + room for share in shares):
                what = f"the worst is {use.value:.4%} of what is allowed, in row {use.row}, {in_line(use.line)}"
                faults.add(f"{name}: {what}; the report says {said['value']} of {said['allowed']}")
            told.compare((limit, strut), use.broken, faults, fits=proportional)
        (limit, strut), worst = max(self.uses.items(), key=lambda item: item[1].sure.value)
        text = f"found again from poses and accelerations; worst use {worst.sure.value:.1%}, {limit} of strut {strut}"
        return Check(name="loads", text=text, faults=faults.told())

    def _measured(
        self, thrusts: list[Array], torques: list[Array], length: Array, speed: Array
    ) -> Iterator[tuple[str, Array, Array]]:
        """Yield limits with the least and the largest sizes (6, n) that are possible; by l2 what depends on it."""
        yield "thrust", *_sizes(thrusts)
        yield "torque", *_sizes(torques)
        turns = np.array([0.0 if s is None else s.gear / s.lead for s in self._screws])[:, None]
        yield "power", *_sizes([t * speed * (2.0 * pi * turns) for t in torques])
        free = (length - np.array([0.0 if s is None else s.supported for s in self._screws])[:, None]) ** 2
        yield "buckling", *_sizes([np.maximum(t, 0.0) * free for t in thrusts])
        leads = np.array([np.inf if s is None else s.lead for s in self._screws])[:, None]
        yield "critical-speed", *_sizes([speed * (60.0 / leads) * free])
        for limit, values in (("thrust-continuous", thrusts), ("torque-continuous", torques)):
            if any(x is not None for x in self._allowed[limit]):
                low, high = (self._means[limit, side].of(x) for side, x in enumerate(_sizes(values)))
                yield limit, low, high

    def _torques(self, thrusts: list[Array], speed: Array, acceleration: Array, crumb: Flags) -> Iterator[Array]:
        """Yield the torques (6, n) of the motors that are possible, N m; on a ``crumb`` (n,) none seems to move."""
        moving = speed.any(axis=0) | acceleration.any(axis=0) | crumb
        open_ = (speed == 0.0) & moving  # a machine at rest holds its load: that counts as driving it
        for slow_ones_drive in (True, False) if open_.any() else (True,):
            for thrust in thrusts:
                out = np.zeros_like(speed)
                for k, s in enumerate(self._screws):
                    if s is None:
                        continue
                    power = thrust[k] * speed[k]
                    drives = (power >= 0.0) & (slow_ones_drive | ~open_[k])
                    ideal = thrust[k] * s.lead * 1e-3 / (2.0 * pi) / s.gear
                    out[k] = np.where(drives, ideal / s.efficiency, ideal * s.back_efficiency)
                    out[k] += s.inertia * acceleration[k] / s.lead * (2.0 * pi * s.gear)
                yield out

    def _take(self, which: tuple[str, int], low: Array, high: Array, rows: Rows, at: slice) -> None:
        spread, line = self.uses[which], rows.line[rows.new][at]
        worst = int(low.argmax())
        use = spread.sure
        if low[worst] > use.value:
            use.value, use.row, use.line = float(low[worst]), rows.first + rows.old + at.start + worst, int(line[worst])
        spread.most = max(spread.most, float(high.max()))
        if high.max() > 1.0 - self._step:
            use.broken.note(line, high, low > 1.0 + self._step, high > 1.0 - self._step)


class _Mean:
    """Root of the mean square over a window of rows, across batches; before its first row the machine stood there."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._before: Array | None = None

    def of(self, values: Array) -> Array:
        """Return the means (6, n) that end with each of the next rows."""
        squares = values**2
        before = np.repeat(squares[:, :1], self._size - 1, axis=1) if self._before is None else self._before
        joined = np.concatenate([before, squares], axis=1)
        self._before = joined[:, joined.shape[1] - (self._size - 1) :]
        sums = np.cumsum(np.concatenate([np.zeros((6, 1)), joined], axis=1), axis=1)
        out: Array = np.sqrt(np.maximum(sums[:, self._size :] - sums[:, : -self._size], 0.0) / self._size)
        return out


def _sizes(values: list[Array]) -> tuple[Array, Array]:
    """Return the least and the largest magnitudes (6, n) of what is possible."""
    sizes = np.abs(values)
    return sizes.min(axis=0), sizes.max(axis=0)


def _allowed(limit: str, screw: Screw | None) -> float | None:
    """Return what a strut may bear, times the squared free length of the screw where that rules; ``None``: no limit."""
    if screw is None:
        return None
    if limit not in ("buckling", "critical-speed"):
        known: float | None = getattr(screw, limit.replace("-", "_"))
        return known
    if screw.root is None:
        return None
    area = pi * (screw.root**2 - screw.bore**2) / 4.0
    second = pi * (screw.root**4 - screw.bore**4) / 64.0
    if limit == "buckling":
        return screw.buckling_share * _column(screw.ends) * screw.elasticity * second
    rigidity, mass = screw.elasticity * 1e-6 * second, screw.density * 1e-9 * area  # N m2 by mm2 and mm4; kg/mm
    return screw.critical_speed_share * _bending(screw.ends) ** 2 * sqrt(rigidity * 1e9 / mass) * 60.0 / (2.0 * pi)


@cache
def _bending(ends: str) -> float:
    """Return the first root k l of free bending of a beam, w'''' = k4 w: where its four conditions at the ends agree.

    Held: no deflection, no slope; supported: no deflection, no moment; free: no moment, no shear.
    """
    from scipy.optimize import brentq

    if ends == "supported-supported":
        return pi
    equation, low, high = {
        "fixed-free": (lambda x: cos(x) * cosh(x) + 1.0, 1.0, 3.0),
        "fixed-supported": (lambda x: tan(x) - tanh(x), 3.2, 4.6),
        "fixed-fixed": (lambda x: cos(x) * cosh(x) - 1.0, 4.0, 5.0),
    }[ends]
    return float(brentq(equation, low, high, xtol=1e-13))


@cache
def _column(ends: str) -> float:
    """Return P l2 / E I of a column: (pi / K)2, with tan x = x where one end is held and one is hinged."""
    from scipy.optimize import brentq

    if ends == "fixed-supported":
        return float(brentq(lambda x: tan(x) - x, 4.0, 4.7, xtol=1e-13)) ** 2
    return (pi / {"fixed-free": 2.0, "supported-supported": 1.0, "fixed-fixed": 0.5}[ends]) ** 2
