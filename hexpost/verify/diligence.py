"""The tool is not slower than it must be: rapids are run as rapids, and long lines at their feeds.

A rapid over s mm takes at most a few times s / v + 2 (s / a)^1/2 + (32 s / j)^1/3, the sum of what speed, acceleration
and jerk alone would ask for (double S; L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and
Robots, 2008, chapter 3). Their limits are those of tip and tilt, and of the struts, none of which is ever faster than
its joint. Where commands make up for sag, drives do what no length shows: how long rapids take is then left to the
remake. A straight line that is much longer than its ramps comes to its feed, where no strut is asked to hold it.
"""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP
from hexpost.verify.follow import Placed
from hexpost.verify.model import Faults
from hexpost.verify.route import Stretch
from hexpost.verify.rows import Rows

_TIMES, _TICKS = 2.0, 8
"""A rapid takes at most so many times as long, and so many ticks more."""
_LONG = 8.0
"""A line so many times as long as a ramp to its feed comes to it ..."""
_REACHED = 0.9998
"""... or to this share of it."""
_HELD, _SAME = 0.98, 0.99
"""... or to that, where a corner is taken as fast: what it was lowered by holds for all of the line."""


@dataclass(slots=True)
class _Run:
    """Rows on one move so far: how many move, the fastest, also at its ends, mm/s along it; and what they may be."""

    move: int = -1
    where: str = ""
    longest: float = np.inf
    asked: float = 0.0
    rows: int = 0
    fastest: float = 0.0
    ending: float = 0.0


@dataclass(slots=True)
class Diligence:
    """Looks at placed rows, piece by piece; ``as_programmed``: no strut holds the feeds.

    ``longer``: averages of the speed may be longer than jerk asks for by so many seconds.
    """

    machine: Machine
    period: float
    as_programmed: bool
    longer: float = 0.0
    faults: Faults = field(default_factory=Faults)
    _run: _Run = field(default_factory=_Run)

    def add(self, rows: Rows, p: Placed) -> None:
        """Take the rows of a piece."""
        s, move, rate = p.stretch, p.move[p.old :], p.rate[:, p.old :]
        speed = np.sqrt((rate[:3] ** 2).sum(axis=0) + s.rho**2 * (rate[3:] ** 2).sum(axis=0))
        begin = np.flatnonzero(np.append(True, move[1:] != move[:-1]))
        fastest = np.maximum.reduceat(speed, begin)
        ending = np.maximum.reduceat(np.where(_at_ends(p, begin), speed, 0.0), begin)
        moving = np.add.reduceat((~p.rest[p.old :]).astype(np.int64), begin)
        longest, asked = self._bounds(s)
        which, at = move[begin] + s.low, move[begin]
        if which[0] == self._run.move:
            fastest[0], moving[0] = max(fastest[0], self._run.fastest), moving[0] + self._run.rows
            ending[0] = max(ending[0], self._run.ending)
        else:
            self._close()
        done = np.arange(len(begin)) < len(begin) - 1
        wrong = done & ((moving * self.period > longest[at]) | (fastest < asked[at]))
        for k in [*np.flatnonzero(wrong)[:20].tolist(), len(begin) - 1]:
            self._run = _Run(
                move=int(which[k]),
                where=rows.where(p.first + p.old + int(begin[k])),
                longest=float(longest[at[k]]),
                asked=float(asked[at[k]]),
                rows=int(moving[k]),
                fastest=float(fastest[k]),
                ending=float(ending[k]),
            )
            if wrong[k]:
                self._close()

    def finish(self) -> None:
        """End the last move."""
        self._close()

    def _close(self) -> None:
        run = self._run
        if run.rows * self.period > run.longest:
            what = f"takes {run.rows * self.period:.3f} s, {run.longest:.3f} s are plenty"
            self.faults.add(f"{run.where}: a rapid {what}")
        held = run.ending >= _SAME * run.fastest and run.fastest * _REACHED >= run.asked * _HELD
        if run.fastest < run.asked and not held:
            what = f"comes to {run.fastest:.6f} mm/s at most, it has room for its feed of {run.asked:.6f} mm/s"
            self.faults.add(f"{run.where}: a long line {what}")

    def _oblique(self, s: Stretch) -> Array:
        """Return how many times (w,) faster the platform may turn than the norm of the rates of its angles."""
        first, last = (3 + "ABC".index(letter) for letter in self.machine.tilt_order[::2])
        return np.where((s.delta[:, first] != 0.0) & (s.delta[:, last] != 0.0), 2.0**0.5, 1.0)

    def _bounds(self, s: Stretch) -> tuple[Array, Array]:
        """Return the most seconds of rapids (w,), inf for others, and the speed that long lines come to, else 0."""
        tip, struts = self.machine.tool_tip, self.machine.struts
        arms = np.array([x.platform_joint for x in struts])
        lever = float(np.sqrt((arms**2).sum(axis=1)).max()) + float(
            np.sqrt((self.machine.platform.gauge_point**2).sum())
        )
        share, turn = s.tip / s.length, s.tilt / s.length
        joint = np.maximum(share + 1.5 * lever * turn, 1e-300)
        least = []
        for a, b, c in (
            (tip.speed, tip.tilt_speed / self._oblique(s), min(x.speed for x in struts)),
            (
                *(min(x) for x in zip((tip.acceleration, tip.tilt_acceleration), tip.slowing, strict=True)),
                min(min(x.acceleration, x.slowing) for x in struts),
            ),
            (tip.jerk, tip.tilt_jerk, min(x.jerk for x in struts)),
        ):
            own = np.minimum(a / np.maximum(share, 1e-300), b / np.maximum(turn, 1e-300))
            least.append((own, np.minimum(own, c / joint)))
        (own_v, v), (own_a, a), (own_j, j) = least
        length = s.length
        ideal = length / v + 2.0 * np.sqrt(length / a) + np.cbrt(32.0 * length / j)
        judged = (s.mode == FEED_RAPID) & (self.machine.compensation is None)
        longest = np.where(judged, _TIMES * (ideal + self.longer) + _TICKS * self.period, np.inf)
        if not self.as_programmed:
            return longest, np.zeros(s.count)
        feed = np.minimum(own_v, np.where(s.mode == FEED_TIP, s.feed / np.maximum(share, 1e-300), np.inf))
        feed = np.minimum(feed, np.where(s.mode == FEED_TILT, s.feed / np.maximum(turn, 1e-300), np.inf))
        feed = np.minimum(feed, np.where(s.mode == FEED_INVERSE, s.feed * length, np.inf))
        ramp = feed * (feed / own_a + 2.0 * own_a / own_j + 2.0 * self.period + self.longer)
        long = (s.mode != FEED_RAPID) & (s.curved < 0) & (length > _LONG * ramp)
        return longest, np.where(long, _REACHED * feed, 0.0)


def _at_ends(p: Placed, begin: Ints) -> Flags:
    """Return which new rows (n,) are in a corner of their move, or a tick from one, or beside another move.

    Where a tick is long, a corner may be left at full speed, and no row be there then. Runs start at ``begin``.
    """
    move, share = p.move, p.share
    length = p.stretch.length[move]
    inside: Flags = (share * length <= p.zones.first[move]) | ((1.0 - share) * length <= p.zones.last[move])
    near = inside.copy()
    near[1:] |= inside[:-1]
    near[:-1] |= inside[1:]
    out = near[p.old :]
    out[begin[1:]] = out[begin[1:] - 1] = True
    return out
