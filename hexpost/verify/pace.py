"""How fast the tool goes: never faster than feeds and tool-tip limits; it rests as long as it is asked to."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_INVERSE, FEED_TILT, FEED_TIP, Events, Moves
from hexpost.verify.follow import Placed
from hexpost.verify.model import Faults, Largest
from hexpost.verify.pose import KNOT
from hexpost.verify.route import Stretch
from hexpost.verify.rows import Rows
from hexpost.verify.shortest import shortest
from hexpost.voice import in_line

SHARE = 2e-5
"""Speeds of a tip are found to about 5e-6 of themselves."""
_FREE_SHARE = 5e-4
"""... but not where the platform may turn about the tool: there rates of corners are not found again."""
_ACCELERATION_SHARE = 2e-3
_JERK_SHARE = 0.1
"""Corrections of a plan may leave some per cent of a jerk at a few rows; a jerk is felt in the mean of two ticks."""
_LOOSE = 0.02
"""A chain that is freed of rounding noise may be this much shorter than its moves."""
_SLOW = 1e-3
"""Moves slower than this, mm/s, may seem to rest."""
_SLACK = 1e-6
_TINY_MM = 1e-3


@dataclass(slots=True, eq=False)
class _Caps:
    """By moves of a stretch (w,), the highest speeds: tip mm/s, tilt rad/s, along it mm/s; and the least time, s.

    ``turn`` [rad/s] is that of the true angular speed.
    """

    tip: Array
    tilt: Array
    way: Array
    least: Array
    turn: float


def _caps(s: Stretch, machine: Machine) -> _Caps:
    limits = machine.tool_tip
    tip = np.minimum(np.where(s.mode == FEED_TIP, s.feed, np.inf), limits.speed)
    tilt = np.minimum(np.where(s.mode == FEED_TILT, s.feed, np.inf), limits.tilt_speed)
    way = np.where(s.mode == FEED_INVERSE, s.feed * s.length, np.inf)
    least = np.maximum(np.maximum(s.tip / tip, s.tilt / tilt), s.length / way)
    return _Caps(tip=tip, tilt=tilt, way=way, least=np.maximum(least, 1e-300), turn=limits.tilt_speed)


@dataclass(slots=True)
class Pace:
    """Looks at placed rows, piece by piece. ``use``: the largest share of a feed or a tool-tip limit."""

    machine: Machine
    period: float
    free_yaw: bool
    use: Largest = field(default_factory=Largest)
    acceleration: Largest = field(default_factory=Largest)
    jerk: Largest = field(default_factory=Largest)
    faults: Faults = field(default_factory=Faults)

    def add(self, rows: Rows, p: Placed) -> None:
        """Take the rows of a piece."""
        caps = _caps(p.stretch, self.machine)
        use = self._use(p, caps)
        over = np.flatnonzero(~(use[p.old :] <= 1.0 + SHARE))
        if len(over) and not self.free_yaw:  # rates of these rows are found again more exactly
            self._refine(rows, p, over)
            use = self._use(p, caps)
        at = np.arange(p.old, len(use)) - p.old + p.at.start + rows.old
        self.use.take(use[p.old :], rows, at)
        room = SHARE if not self.free_yaw else _FREE_SHARE
        for i in np.flatnonzero(~(use[p.old :] <= 1.0 + room))[:20] + p.old:
            tip, tilt = (float(np.sqrt((part**2).sum())) for part in (p.rate[:3, i], p.rate[3:, i]))
            what = f"{tip:.6f} mm/s and {np.degrees(tilt):.6f} deg/s"
            self.faults.add(f"{rows.where(p.first + int(i))}: {what}, {use[i]:.2%} of its feed or of a tool-tip limit")
        self._accelerations(rows, p)
        if not self.free_yaw:
            self._jerks(rows, p)
        self._time(rows, p, caps)

    def _use(self, p: Placed, caps: _Caps) -> Array:
        """Return the shares (n,) of their feeds and tool-tip speeds that rows take, beyond what decimals may do."""
        s, noise = p.stretch, 2.0 * p.noise
        tip, tilt = np.sqrt((p.rate[:3] ** 2).sum(axis=0)), np.sqrt((p.rate[3:] ** 2).sum(axis=0))
        both = np.hypot(tip, s.rho * tilt), noise[0] + s.rho * noise[1]
        use = np.zeros(len(p.move))
        for size, most, room in ((tip, caps.tip, noise[0]), (tilt, caps.tilt, noise[1]), (both[0], caps.way, both[1])):
            np.maximum(use, (size - room) / most[p.move], out=use)
        if not self.free_yaw:  # a platform that turns about the tool hides what C words ask for
            spin = np.einsum("nij,jn->ni", p.struts.angles.turning(p.q[3:]), p.rate[3:])
            np.maximum(use, (np.sqrt((spin**2).sum(axis=1)) - 2.0**0.5 * noise[1]) / caps.turn, out=use)
        return use

    def _accelerations(self, rows: Rows, p: Placed) -> None:
        """Check the mean accelerations of tip and tilt in each tick."""
        uses = self._pulls(p)
        over = np.flatnonzero(~(np.maximum(*uses) <= 1.0))
        if len(over) and not self.free_yaw:
            self._refine(rows, p, np.maximum(over + 1 - p.old, 0))
            uses = self._pulls(p)
        at = np.arange(1, len(p.move)) - p.old + p.at.start + rows.old
        for use in uses:
            self.acceleration.take(use, rows, at)
            for i in np.flatnonzero(~(use <= 1.0 + _ACCELERATION_SHARE))[:20]:
                where = rows.where(p.first + int(i) + 1)
                self.faults.add(f"{where}: {use[i]:.2%} of the tool-tip limit of acceleration")

    def _pulls(self, p: Placed) -> tuple[Array, Array]:
        """Return the shares (n - 1,) of both limits of acceleration that ticks take, beyond what decimals may do."""
        limits, h = self.machine.tool_tip, self.period
        change = np.diff(p.rate) / h
        noise = 4.0 * np.maximum(p.noise[:, 1:], p.noise[:, :-1]) / h
        tip, tilt = (np.sqrt((part**2).sum(axis=0)) for part in (change[:3], change[3:]))
        slow, turn = limits.slowing
        if slow != limits.acceleration:
            tip = _as_speeding(p.rate[:3], change[:3], limits.acceleration / slow)
        if turn != limits.tilt_acceleration:
            tilt = _as_speeding(p.rate[3:], change[3:], limits.tilt_acceleration / turn)
        tip -= noise[0] * max(limits.acceleration / slow, 1.0)
        tilt -= noise[1] * max(limits.tilt_acceleration / turn, 1.0)
        return tip / limits.acceleration, tilt / limits.tilt_acceleration

    def _refine(self, rows: Rows, p: Placed, over: Ints) -> None:
        """Find the rates about new rows ``over`` (m,) again, more exactly."""
        here = slice(rows.old + p.at.start, rows.old + p.at.stop)
        near = np.clip(over[:, None] + np.arange(-1, 2), 0, len(p.move) - p.old - 1) // KNOT
        p.poses.refine(p.rate[:, p.old :], rows.speed[:, here], distinct(near))

    def _jerks(self, rows: Rows, p: Placed) -> None:
        """Check the jerks of tip and tilt, each the mean about a row: the second difference of the rates."""
        use = self._jerk(p)
        over = np.flatnonzero(~(use[p.old :] <= 1.0))
        if len(over):
            self._refine(rows, p, over)
            use = self._jerk(p)
        self.jerk.take(use[p.old :], rows, np.arange(p.old, len(use)) - p.old + p.at.start + rows.old)
        for i in np.flatnonzero(~(use <= 1.0 + _JERK_SHARE))[:20]:
            self.faults.add(f"{rows.where(p.first + int(i))}: {use[i]:.2%} of the tool-tip limit of jerk")

    def _jerk(self, p: Placed) -> Array:
        """Return the shares (n,) of the limits of jerk that rows take, beyond what decimals may do."""
        limits, h = self.machine.tool_tip, self.period
        use = np.zeros(len(p.move))
        if len(use) > 2:
            change = np.diff(p.rate, 2) / h**2
            noise = 4.0 * p.noise[:, 1:-1] / h**2
            for part, most, room in (
                (change[:3], limits.jerk, noise[0]),
                (change[3:], limits.tilt_jerk, noise[1]),
            ):
                use[1:-1] = np.maximum(use[1:-1], (np.sqrt((part**2).sum(axis=0)) - room) / most)
        return use

    def _time(self, rows: Rows, p: Placed, caps: _Caps) -> None:
        """Check that no tick covers more of the program than its feeds allow: nothing is left out between two rows."""
        s, z = p.stretch, p.zones
        least = caps.least * (shortest(s, z.loose, self.machine.tool_tip.corner_tolerance) / s.length)
        begin = np.append(0.0, np.cumsum(least))
        took = np.diff(begin[p.move] + p.share * least[p.move])
        length = s.length[p.move]
        done = p.share * length
        early, late = done <= z.first[p.move], length - done <= z.last[p.move]
        room = np.zeros((2, len(done)))
        for k, zone in enumerate((early, late)):
            aside = np.maximum(z.tip[k], s.rho * z.tilt[k])
            room[k] = np.where(zone, (0.6 * z.jump[k] * aside)[p.move], 0.0)
        aside = np.maximum(z.tip.max(axis=0), s.rho * z.tilt.max(axis=0))
        loose = z.loose[p.move]
        slack = room.max(axis=0) + np.where(loose, aside[p.move], 0.0)
        slack += 2.0 * (p.noise[0] + s.rho * p.noise[1])
        pace = caps.least[p.move] / length
        either = np.maximum(pace[1:], pace[:-1])
        most = self.period * (1.0 + SHARE + _LOOSE * (loose[1:] | loose[:-1])) + (slack[1:] + slack[:-1]) * either
        for i in np.flatnonzero(~(took <= most))[:20]:
            what = f"covers what takes {took[i] * 1e3:.6g} ms at its feeds, in one period of {self.period * 1e3:g} ms"
            self.faults.add(f"{rows.where(p.first + int(i) + 1)}: {what}: too fast, or something is left out")


def _as_speeding(rate: Array, change: Array, harder: float) -> Array:
    """Return the sizes (n - 1,) of mean accelerations (3, n - 1), what slows down counted ``harder`` times.

    ``rate`` (3, n) at both ends of ticks. The way turns in a tick: the part along it is known no better than by that.
    """
    size = np.sqrt((change**2).sum(axis=0))
    way = rate[:, 1:] + rate[:, :-1]
    length = np.maximum(np.sqrt((way**2).sum(axis=0)), 1e-300)
    across = np.sqrt(
        np.maximum((np.diff(rate) ** 2).sum(axis=0) - (np.diff(rate) * way / length).sum(axis=0) ** 2, 0.0)
    )
    open_ = size * np.minimum(2.0 * across / length, 1.0) + size * np.minimum(_SLOW / length, 1.0)
    back = (change * way).sum(axis=0) / length
    back = np.clip(back + open_ if harder > 1.0 else back - open_, -size, 0.0)
    out: Array = np.sqrt(np.maximum(size**2 + back**2 * (harder**2 - 1.0), 0.0))
    return out


class RestTimes:
    """How long the tool rests: at every stop as long as the program asks for, at most a period longer."""

    def __init__(self, moves: Moves, events: Events, period: float, *, free_yaw: bool) -> None:
        self._spare = int(free_yaw)  # a tool that hardly moves is not told from one that rests, if the platform turns
        at = np.flatnonzero(events.pause > 0.0)
        self._move, self._line = events.move[at], events.line[at]
        self._ticks = np.ceil(events.pause[at] / period - _SLACK).astype(np.int64)
        self._until = np.append(0, np.cumsum(self._ticks))
        self._moves, self._period = moves, period
        self._begin, self._stop, self._stood = 0, -1, 0
        self._tiny = False
        self.faults = Faults()

    def add(self, rows: Rows, p: Placed) -> None:
        """Take the rows of a piece."""
        move = p.moves
        rest = p.rest[p.old :]
        tiny = (p.stretch.length < _TINY_MM) | (_caps_of(p.stretch) < _SLOW)
        slow = tiny[p.move[p.old :]]
        change = np.flatnonzero(rest[1:] != rest[:-1]) + 1
        edges = [0, *change.tolist(), len(rest)]
        first = p.first + p.old
        for i in np.flatnonzero(p.dwelt & ~rest)[:1].tolist():
            self.faults.add(f"{rows.where(first + i)}: the tool moves, where its line asks for a dwell")
        for a, b in pairwise(edges):
            if not rest[a]:
                if self._stood:
                    self._close(slow=bool(slow[a]))
                continue
            if not self._stood:
                self._begin = first + a
                self._stop = int(move[a]) if self._begin else -1
                self._tiny = False
            self._stood += b - a
            self._tiny |= bool(slow[a:b].any())
            self._lines(rows, slice(p.at.start + rows.old + a, p.at.start + rows.old + b), first + a)

    def finish(self) -> None:
        """End the last rest."""
        if self._stood:
            self._close(slow=False)

    def _asked(self, move: int) -> tuple[int, int]:
        low, high = np.searchsorted(self._move, (move, move + 1))
        return int(low), int(high)

    def _close(self, *, slow: bool) -> None:
        low, high = self._asked(self._stop)
        asked = int(self._until[high] - self._until[low])
        stood, self._stood = self._stood - 1, 0
        if stood < asked or (stood > asked + self._spare and not self._tiny and not slow):
            seconds = (stood * self._period, asked * self._period)
            line = self._moves.line[max(self._stop, 0)]
            self.faults.add(
                f"row {self._begin}, {in_line(line)}: rests for {seconds[0]:.6f} s, {seconds[1]:.6f} s are asked for"
            )

    def _lines(self, rows: Rows, which: slice, row: int) -> None:
        """Check that rows of dwells have their lines, one after the other."""
        low, high = self._asked(self._stop)
        if low == high:
            return
        number = np.arange(row, row + which.stop - which.start) - self._begin
        k = low + np.searchsorted(self._until[low + 1 : high + 1] - self._until[low], number)
        inside = (number > 0) & (k < high)
        wrong = np.flatnonzero(inside & (rows.line[which] != self._line[np.minimum(k, high - 1)]))
        for i in wrong[:1]:
            self.faults.add(
                f"row {row + i}: line {rows.line[which][i]}, where a dwell of line {self._line[k[i]]} is asked for"
            )


def _caps_of(s: Stretch) -> Array:
    """Return how fast moves (w,) are meant to be, mm/s."""
    speed = np.where(s.mode == FEED_TILT, s.feed * s.rho, s.feed)
    out: Array = np.where(s.mode == FEED_INVERSE, s.feed * s.length, speed)
    return out
