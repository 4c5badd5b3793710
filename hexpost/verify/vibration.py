"""How far the tip swings on its struts once it rests, again from the table, in the program's own six coordinates.

The body is a heap of point masses, the stiffness that of the slopes of the lengths. Modes are those of both matrices
at the rest. What moved them is the slope of a cubic spline through the speeds of rows, summed up after Gauss.
"""

from math import ceil, log, tau

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.verify.elastic import compliance
from hexpost.verify.follow import Placed
from hexpost.verify.model import Check, Faults
from hexpost.verify.rows import Rows
from hexpost.verify.struts import StrutLengths
from hexpost.verify.told import ROUNDED, Broken, Told, belong, proportional
from hexpost.voice import in_line

_SHARE, _CANCELLED, _ROOM = 0.03, 2e-3, 2e-6
"""What two ways to the swing may differ by: a share of it, one of the largest bend on the way, and mm."""
_UNKNOWN, _MOST_UNKNOWN = 1.5, 2.5
"""And a share of what accelerations that are even in each tick change, by the square of half the phase in a tick.

From half a phase of 1 on, so with a period of at most three ticks, a mode is moved by what rows do not show: there
accelerations that are elsewhere by as much as from the ends of a tick to its mean may push at the worst moments.
"""
_FADED, _LOOKS, _NUDGE, _MOST, _GAUSS = 1e-3, 97, 1e-4, 20_000, 6
"""A vibration is forgotten at this share; looks within a period; turn for slopes, rad; rows kept at most; places in
each tick."""
_VARIED = 2.0
"""The lowest frequency is nowhere so many times lower than where a job begins."""


class RestSwings:
    """Takes rows placed on the path, in order."""

    def __init__(self, machine: Machine, period: float, *, free_yaw: bool) -> None:
        most = machine.tool_tip.vibration
        self.limited = most is not None
        if not self.limited:
            return
        self._machine, self._period, self._free = machine, period, free_yaw
        self.allowed, self._damping = most or np.inf, machine.platform.damping
        self._frame, self._rests, self._past = -1, True, np.zeros((6, 0))
        self.worst, self.row, self.line = 0.0, 0, 0
        self.least, self.most = 0.0, 0.0
        self._broken = Broken()

    def add(self, rows: Rows, p: Placed) -> None:
        """Look at the new rows of a piece."""
        if not self.limited:
            return
        new = slice(p.at.start + rows.old, p.at.stop + rows.old)
        rate = p.poses.rates(rows.speed[:, new]) if self._free else p.rate[:, p.old :]
        q, rest = p.poses.q, p.rest[p.old :]
        if p.frame != self._frame:
            self._frame, self._rests, self._past = p.frame, True, np.zeros((6, 1))
            self._elastic = PointMasses(self._machine, p.struts)
        known = np.concatenate([self._past, rate], axis=1)
        first, size, room = self._past.shape[1], np.zeros(rate.shape[1]), np.zeros(rate.shape[1])
        stops: Flags = np.asarray(rest & ~np.append(self._rests, rest[:-1]))
        lowest = np.inf
        for k in np.flatnonzero(stops).tolist():
            size[k], room[k], low = self._swing(q[:, k], known[:, : first + k + 1])
            lowest = min(lowest, low)
        self._rests = bool(rest[-1])
        if lowest == np.inf:
            lowest = float(self._elastic.modes(q[:, -1])[0][0])
        self._past = known[:, -self._count(lowest / 2.0) :]
        k = int(size.argmax())
        if size[k] > self.worst:
            self.worst, self.row, self.line = float(size[k]), rows.first + new.start + k, int(rows.line[new][k])
        self.most, self.least = max(self.most, float((size + room).max())), max(self.least, float((size - room).max()))
        self._broken.note(rows.line[new], size / self.allowed, size - room > self.allowed, size + room > self.allowed)

    def check(self, told: Told) -> Check:
        """Check that what the report says is what the table shows."""
        faults, said = Faults(), told.worst.get(("vibration", 0))
        told.compare(("vibration", 0), self._broken, faults, fits=proportional)
        if said is None:
            faults.add("vibration: the report shows no worst use")
        else:
            room = ROUNDED * abs(said["value"])
            right = abs(said["allowed"] - self.allowed) <= 1e-9 * self.allowed
            right &= belong(said["value"], said["allowed"], said["ratio"])
            if not (self.least - room <= said["value"] <= self.most + room and right):
                what = f"the tip swings by {self.worst:.6f} mm at most, row {self.row}, {in_line(self.line)}"
                faults.add(f"vibration: {what}; the report says {said['value']} of {said['allowed']}")
        text = f"the tip swings by {self.worst:.6f} mm after a rest, {self.allowed:g} mm are allowed"
        return Check(name="vibration", text=text, faults=faults.told())

    def _count(self, lowest: float) -> int:
        """Return how many rows before a rest still count, where ``lowest`` [rad/s] is the lowest frequency."""
        return min(ceil(-log(_FADED) / (self._damping * lowest * self._period)) + 1, _MOST)

    def _swing(self, q: Array, rate: Array) -> tuple[float, float, float]:
        """Return how far the tip swings once it rests at q (6,), by rates (6, n) up to there.

        And what that may be off by, mm, and the lowest frequency, rad/s.
        """
        w, modes, mass = self._elastic.modes(q)
        rate = rate[:, -self._count(float(w[0])) :]
        d, h = self._damping, self._period
        pole = w * (-d + 1j * np.sqrt(1.0 - d * d))
        push = modes.T @ mass
        force, ago, part, slopes = _pushes(rate, h)
        state = -(push @ force * part * np.exp(np.outer(pole, ago))).sum(axis=1) / pole.imag
        x, ago = 0.5 * pole * h, (np.arange(rate.shape[1] - 1)[::-1] + 0.5) * h
        mean = push @ np.diff(rate, axis=1) / h
        even = -h * np.sinh(x) / x * (mean * np.exp(np.outer(pole, ago))).sum(axis=1) / pole.imag
        later = np.linspace(0.0, tau / w[0], _LOOKS)
        tip = modes[:3] @ (state[:, None] * np.exp(np.outer(pole, later))).imag
        swing = float(np.linalg.norm(tip, axis=0).max())
        tips = np.linalg.norm(modes[:3], axis=0)
        bend = float(tips @ (np.abs(mean).max(axis=1, initial=0.0) / w**2))
        within = np.minimum(_UNKNOWN * np.abs(x) ** 2, _MOST_UNKNOWN) * np.abs(state - even)
        ends = push @ slopes
        astray = np.maximum(np.abs(ends[:, 1:] - mean), np.abs(ends[:, :-1] - mean))
        unseen = h * (astray * np.exp(np.outer(pole.real, ago))).sum(axis=1) / pole.imag
        unknown = float(tips @ np.where(np.abs(x) < 1.0, within, np.maximum(within, unseen)))
        return swing, _SHARE * swing + unknown + _CANCELLED * bend + _ROOM, float(w[0])


def _pushes(rate: Array, h: float) -> tuple[Array, Array, Array, Array]:
    """Return accelerations (6, m) by rates (6, n) that end at rest, how long ago (m,), and for how long (m,), s.

    And the accelerations (6, n) at the rates themselves.
    """
    from scipy.interpolate import CubicSpline

    n = rate.shape[1]
    rows = np.arange(n) * h
    if n < 2:
        return np.zeros((6, 1)), np.zeros(1), np.zeros(1), np.zeros((6, n))
    spline = CubicSpline(rows, rate, axis=1, bc_type=("not-a-knot" if n > 3 else "clamped", "clamped"))
    place, weight = np.polynomial.legendre.leggauss(_GAUSS)
    time = (np.arange(n - 1)[:, None] + (place + 1.0) / 2.0).ravel() * h
    lasting = np.tile(weight * h / 2.0, n - 1)
    return np.asarray(spline(time, 1)), (n - 1) * h - time, lasting, np.asarray(spline(rows, 1))


class PointMasses:
    """The platform on springs, as seen from one frame: point masses and their places from the tip.

    Six points on the principal axes through the centre have the inertia of any body; strut ends are points.
    """

    def __init__(self, machine: Machine, struts: StrutLengths) -> None:
        platform = machine.platform
        assert platform.mass_kg is not None and platform.centre_of_mass is not None
        inertia = np.asarray(platform.inertia_kg_m2) * 1e6
        size, axes = np.linalg.eigh(0.5 * np.trace(inertia) * np.eye(3) - inertia)
        arms = axes * np.sqrt(3.0 * np.maximum(size, 0.0) / platform.mass_kg)
        heap = platform.centre_of_mass + np.concatenate([arms.T, -arms.T]) - struts.frame.tip
        self._machine, self._struts = machine, struts
        self._mass = np.array([*(6 * [platform.mass_kg / 6.0]), *(s.body.platform_end_kg for s in machine.struts)])
        self._points = np.concatenate([heap @ struts.yaw.T, struts.arms])

    def modes(self, q: Array) -> tuple[Array, Array, Array]:
        """Return frequencies (6,) [rad/s], modes (6, 6) and the mass matrix (6, 6) in the coordinates q (6,)."""
        from scipy.linalg import eigh

        length, rows = self._struts.slopes(q[:, None])
        slopes, give = rows[0], compliance(self._machine, length)
        ways = np.zeros((len(self._points), 3, 6))
        ways[:, :, :3] = np.eye(3)
        for k in range(3):
            there = [self._struts.angles.matrices((q[3:] + s * np.eye(3)[k])[:, None])[0] for s in (_NUDGE, -_NUDGE)]
            ways[:, :, 3 + k] = self._points @ (there[0] - there[1]).T / (2.0 * _NUDGE)
        mass = 1e-3 * np.einsum("p,pij,pik->jk", self._mass, ways, ways)
        squares, modes = eigh(slopes.T @ (slopes / give), mass)
        return np.sqrt(np.asarray(squares)), np.asarray(modes), mass


def averages(machine: Machine, moves: Moves) -> float:
    """Return by how many seconds averages may be longer that are rounded up to periods of the lowest mode."""
    if not moves.count:
        return 0.0
    struts = StrutLengths(machine, moves.frames[int(moves.frame[0])])
    return _VARIED * tau / float(PointMasses(machine, struts).modes(moves.start[:, 0])[0][0])
