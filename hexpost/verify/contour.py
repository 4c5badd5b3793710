"""How far lags of the struts take the tip off its path, again from the table: lagging lengths, the poses they give.

Each loop is solved by its poles: its error after a short push is a sum of exponentials (residues; partial fractions),
and what a tick adds is an integral, taken by Gauss and Legendre. The tip that the lagging lengths give is then compared
with the cubics through the poses of the rows.
"""

from math import ceil, inf, isinf

import numpy as np

from hexpost.arrays import Array, Flags, Ints, distinct
from hexpost.machine.model import Machine, Servo
from hexpost.moves.model import FEED_RAPID
from hexpost.verify.follow import Placed
from hexpost.verify.model import Check, Faults
from hexpost.verify.nearest import nearest
from hexpost.verify.pose import KNOT, Tracker
from hexpost.verify.rows import Rows
from hexpost.verify.told import ROUNDED, Broken, Told, belong, proportional
from hexpost.voice import in_line

_SHARE, _ROOM = 0.02, 1e-4
"""What two ways to solve for the tip may differ by: a share of the error, and mm."""
_SPREAD = 1e-4
"""Poles nearer to each other than this share are told apart by moving the gain by as much."""
_DELAYS, _FEWEST, _MOST = 8.0, 8, 200_000
_ROUNDS = 4
"""Steps of Newton's method between two rows."""
_DONE, _PLACES, _THIRDS = 0.02, 33, 36
"""Where its last step is more of a row, or the path stands, the best of some places is taken, and thirds about it."""
_WINDOW = 200_000
"""Rows before all tips of a group that are looked at together."""
_FAR = 0.5
"""Where a tip goes further in a tick, mm, its rates bend the cubic between rows: they are worked out more exactly."""
_CLEAR = 1e-3
"""Below this speed, mm/s, the decimals of the table give a tip no way."""
_LATE = 1e-4
"""Struts that are no more behind than this, mm, rest where they should."""


class TipPath:
    """Takes rows placed on the path, in order; keeps those of the longest delay."""

    def __init__(self, machine: Machine, period: float) -> None:
        servos = [s.servo for s in machine.struts if s.servo is not None]
        most = machine.tool_tip.contour
        self.limited = most is not None and len(servos) == len(machine.struts)
        if not self.limited:
            return
        self.allowed, self._period = most or inf, period
        self._loops = [_Exponentials(s, period) for s in servos]
        late = [max(1.0 / s.loop.gain, (1.0 - s.loop.speed_share) / s.loop.gain) for s in servos]
        self._kept = min(max(ceil(_DELAYS * max(late) / period), _FEWEST), _MOST)
        self._tracker: tuple[int, Tracker] | None = None
        self._past: Array = np.zeros((8, 0))
        self._open, self._lag = 0, 0.0
        self.sure, self.most, self.row, self.line = 0.0, 0.0, 0, 0
        self._broken = Broken()

    def add(self, rows: Rows, p: Placed) -> None:
        """Look at the new rows of a piece."""
        if not self.limited:
            return
        new = slice(p.at.start + rows.old, p.at.stop + rows.old)
        lag = np.stack([loop.of(rows.speed[k, new], rows.acceleration[k, new]) for k, loop in enumerate(self._loops)])
        length = rows.length[:, new] - lag
        q, rate = p.q[:3, p.old :], p.rate[:, p.old :].copy()
        far = distinct(np.flatnonzero(np.abs(rate[:3]).max(axis=0, initial=0.0) * self._period > _FAR) // KNOT)
        if len(far):
            p.poses.refine(rate, rows.speed[:, new], far)
        rate = rate[:3]
        feeds = p.stretch.mode[p.move[p.old :]] != FEED_RAPID
        if self._tracker is None or self._tracker[0] != p.frame:
            self._tracker = p.frame, Tracker(p.struts, length[:, 0], p.poses.q[:, 0])
            self._past = np.repeat(np.concatenate([q[:, :1], 0.0 * rate[:, :1], [[0.0], [0.0]]]), self._kept, axis=1)
            self._open = self._kept if self._lag > _LATE else 0
        self._lag = float(np.abs(lag[:, -1]).max())
        found = self._tracker[1].follow(length)
        sides = np.stack([feeds.astype(np.float64), np.zeros(len(feeds))])
        known = np.concatenate([self._past, np.concatenate([q, rate, sides])], axis=1)
        size, most, surely, perhaps = self._across(known, found.q[:3], self._past.shape[1])
        told = np.flatnonzero(surely & (size > min(self.sure, self.allowed)))
        surely[told[self._beside_rapids(known, found.q[:3, told], self._past.shape[1] + told, size[told])]] = False
        self._past = known[:, -self._kept :]
        unsure: Flags = ~found.found
        unsure[: max(self._open, 0)] = True
        self._open -= len(unsure)
        self._take(rows, new, np.where(surely, size, 0.0), np.where(perhaps, most, 0.0), unsure)

    def check(self, told: Told) -> Check:
        """Check that what the report says is what the table shows."""
        faults, said = Faults(), told.worst.get(("contour", 0))
        told.compare(("contour", 0), self._broken, faults, fits=proportional)
        if said is None:
            faults.add("contour: the report shows no worst use")
        else:
            low, high = self.sure - _room(self.sure), self.most + _room(self.most)
            rounded = ROUNDED * abs(said["value"])
            right = abs(said["allowed"] - self.allowed) <= 1e-9 * self.allowed
            right &= belong(said["value"], said["allowed"], said["ratio"]) or said["ratio"] == 1.0
            if not (low - rounded <= said["value"] <= high + rounded and right):
                what = f"the tip is {self.sure:.6f} mm off its path at most, row {self.row}, {in_line(self.line)}"
                faults.add(f"contour: {what}; the report says {said['value']} of {said['allowed']}")
        text = f"lagging struts take the tip {self.sure:.6f} mm off its path, {self.allowed:g} mm are allowed"
        return Check(name="contour", text=text, faults=faults.told())

    def _across(self, known: Array, tip: Array, first: int) -> tuple[Array, Array, Flags, Flags]:
        """Return how far the ``tip`` (3, n) is off its path (n,), and at most; where in feed moves, surely and perhaps.

        Where a tip stood a while many rows are as near, and the cubic beside one of them may be nearer.
        """
        now = np.arange(first, first + tip.shape[1])
        near = nearest(known[:3], tip, first, self._kept)
        i = np.clip(near.astype(np.int64), 0, now - 1)
        straight = np.sqrt(((tip - known[:3, i] - (near - i) * (known[:3, i + 1] - known[:3, i])) ** 2).sum(axis=0))
        at = near
        for _ in range(_ROUNDS):
            at = np.clip(
                at + self._off(known, tip, at, now)[2], np.maximum(near - 1.0, 0.0), np.minimum(near + 1.0, now)
            )
        off, way, step = self._off(known, tip, at, now)
        lost = np.flatnonzero((np.abs(step) > _DONE) | ((step == 0.0) & ((off * off).sum(axis=0) > _LATE**2)))
        if len(lost):
            at[lost] = self._narrowed(known, tip[:, lost], near[lost], now[lost])
            off, way, step = self._off(known, tip, at, now)
        off = off - way * np.where(np.abs(step) > _DONE, 0.0, step)
        i = np.clip(at.astype(np.int64), 0, now - 1)
        feeds = known[6] > 0.0
        sides = np.stack([feeds[np.clip(i + d, 0, known.shape[1] - 1)] for d in (-1, 0, 1, 2)])
        surely: Flags = np.asarray(sides.all(axis=0))
        count = np.append(0, np.cumsum(feeds))
        perhaps: Flags = count[now + 1] > count[np.maximum(now - self._kept, 0)]  # at a rest both ways may be nearest
        size = np.sqrt((off * off).sum(axis=0))
        return size, np.maximum(size, straight), surely, perhaps

    def _off(self, known: Array, tip: Array, at: Array, now: Ints) -> tuple[Array, Array, Array]:
        """Return what tips (3, n) are off the path at ``at`` (n,), its way there a row, and how far to go on."""
        h, i = self._period, np.clip(at.astype(np.int64), 0, now - 1)
        t = at - i
        p0, p1, v0, v1 = known[:3, i], known[:3, i + 1], known[3:6, i] * h, known[3:6, i + 1] * h
        gap, bend = p1 - p0 - v0, v1 - v0
        off = tip - (p0 + t * (v0 + t * ((3.0 * gap - bend) + t * (bend - 2.0 * gap))))
        way = v0 + t * (2.0 * (3.0 * gap - bend) + 3.0 * t * (bend - 2.0 * gap))
        square = (way * way).sum(axis=0)
        return off, way, (off * way).sum(axis=0) / np.where(square > (_CLEAR * h) ** 2, square, np.inf)

    def _narrowed(self, known: Array, tip: Array, near: Array, now: Ints) -> Array:
        """Return the nearest places (n,) of the path within a row of those given: the best of some, then thirds."""

        def size(at: Array) -> Array:
            return np.asarray((self._off(known, tip, at, now)[0] ** 2).sum(axis=0))

        some = np.clip(near + np.linspace(-1.0, 1.0, _PLACES)[:, None], 0.0, now)
        best = some[np.argmin([size(at) for at in some], axis=0), np.arange(len(now))]
        width = 2.0 / (_PLACES - 1)
        low, high = np.maximum(best - width, 0.0), np.minimum(best + width, now)
        for _ in range(_THIRDS):
            third = (high - low) / 3.0
            on = size(low + third) > size(high - third)
            low, high = np.where(on, low + third, low), np.where(on, high, high - third)
        return np.asarray((low + high) / 2.0)

    def _beside_rapids(self, known: Array, tip: Array, now: Ints, size: Array) -> Flags:
        """Return whether the way of a rapid is about as near to tips (3, n) as theirs, which is ``size`` (n,) off."""
        rapid = np.append(False, known[6, 1:] * known[6, :-1] == 0.0)  # of the line that ends at a row
        count = np.cumsum(rapid)
        out: Flags = count[now] > count[now - self._kept]
        each = max(_WINDOW // self._kept, 1)
        for some in np.array_split(np.flatnonzero(out), -(-int(out.sum()) // each)) if out.any() else ():
            rows = now[some] - np.arange(self._kept)[:, None]
            a = known[:3, rows - 1]
            way, gap = known[:3, rows] - a, tip[:, None, some] - a
            long = (way * way).sum(axis=0)
            share = np.clip((gap * way).sum(axis=0) / np.where(long > 0.0, long, 1.0), 0.0, 1.0)
            off = np.sqrt(((gap - share * way) ** 2).sum(axis=0))
            out[some] = np.where(rapid[rows], off, np.inf).min(axis=0) <= size[some] + _room(size[some])
        return out

    def _take(self, rows: Rows, new: slice, low: Array, high: Array, unsure: Flags) -> None:
        """Keep the worst, and the lines over the limit."""
        least, most = np.where(unsure, 0.0, low), np.where(unsure, np.inf, high)
        k = int(least.argmax())
        if least[k] > self.sure:
            self.sure, self.row, self.line = float(least[k]), rows.first + new.start + k, int(rows.line[new][k])
        self.most = max(self.most, float(most.max()))
        sure, may = least - _room(least) > self.allowed, most + _room(most) > self.allowed
        self._broken.note(rows.line[new], most / self.allowed, sure, may)


class _Exponentials:
    """The lag of one strut from row to row, as a sum over the poles of its loop."""

    def __init__(self, servo: Servo, period: float) -> None:
        loop = servo.loop
        gain = loop.gain
        up, down = np.array([1.0 - loop.speed_share]), np.array([1.0, gain])
        if not isinf(loop.frequency):
            w, d = loop.frequency, 2.0 * loop.damping
            up = np.array([1.0, d * w * (1.0 - loop.acceleration_share), w * w * (1.0 - loop.speed_share)])
            down = np.array([1.0, d * w, w * w, w * w * gain])
            poles = np.roots(down)
            if min(abs(a - b) for a, b in ((0, 1), (0, 2), (1, 2)) for a, b in [(poles[a], poles[b])]) < _SPREAD * w:
                down[-1] *= 1.0 + _SPREAD
        self._poles = np.roots(down).astype(np.complex128)
        residues = np.polyval(up, self._poles) / np.polyval(np.polyder(down), self._poles)
        x, weight = np.polynomial.legendre.leggauss(8)
        x, weight = (x + 1.0) / 2.0, weight * period / 2.0
        shapes = np.stack(
            [1 - 3 * x**2 + 2 * x**3, (x - 2 * x**2 + x**3) * period, 3 * x**2 - 2 * x**3, (x**3 - x**2) * period]
        )
        push = np.exp(np.outer(self._poles, period * (1.0 - x))) * weight
        self._drive = residues[:, None] * (push @ shapes.T)
        self._step = np.exp(self._poles * period)
        self._state = np.zeros(len(self._poles), dtype=np.complex128)
        self._before = np.zeros(2)

    def of(self, speed: Array, acceleration: Array) -> Array:
        """Return the lag (n,) in mm at the next rows."""
        from scipy.linalg.blas import ztbsv

        v, a = (np.append(old, x) for old, x in zip(self._before, (speed, acceleration), strict=True))
        self._before = np.array([v[-1], a[-1]])
        out = np.zeros(len(speed), dtype=np.complex128)
        for k, (drive, step) in enumerate(zip(self._drive, self._step, strict=True)):
            pushed = drive[0] * v[:-1] + drive[1] * a[:-1] + drive[2] * v[1:] + drive[3] * a[1:]
            pushed[0] += step * self._state[k]
            part = ztbsv(1, np.repeat([[1.0 + 0j], [-step]], len(pushed), axis=1), pushed, lower=1, diag=1)
            self._state[k] = part[-1]
            out += part
        return out.real


def _room(size: Array | float) -> Array:
    """Return what an error of a size may be off by, mm."""
    return np.asarray(_SHARE * np.minimum(size, 1e9) + _ROOM)
