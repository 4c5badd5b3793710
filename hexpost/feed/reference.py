"""A motion along one span as the reference of a faster one: its limits as a convex program, the result on ticks."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Ints, among
from hexpost.feed.bounds import TINY
from hexpost.feed.minima import range_min
from hexpost.feed.model import AT_CORNER, FEED, TILT_SPEED, TIP_SPEED, Timing, no_pauses, whole_ticks
from hexpost.feed.spline_limits import Balls, Tops, at, basis
from hexpost.feed.task import Task
from hexpost.feed.weigh import holding
from hexpost.path.model import ToolPath, corners

PLANNED, PLANNED_SPEED = 0.995, 0.9998
"""Share of limits of acceleration, jerk and thrust, and of speeds, that is planned with: what is more is mended."""
FASTEST = 20.0
"""How much faster than the reference a place is run at most."""
STEADY = 0.1
"""How much z may change at most where the motion rests, between coefficients: else it has a peak in the last cell."""
INSIDE = 0.25, 0.5, 0.75
"""Where in corners limits hold, too, as shares of their length."""
TICKS = 1.5
"""So near to an edge of a cell, in averages, limits hold with the jerk of the cell beside it: that is averaged in."""
HALVINGS = 40
"""Steps in which the place in a cell is found."""
LOOKS = np.arange(8) / 8
"""Where in each cell the time is summed for ticks: at every second one, by the one between."""
SAME, FAST = 1e-9, 0.99
"""Feeds and bounds of speeds that are one; a share of the speed limit of the tip that is felt."""
DIGITS = 2.0**20
"""One over the unit of coefficients: what libraries of linear algebra round otherwise, some 1e-13, is not seen."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """Cubic B-spline along a span in cells of ``step`` s: place ``s`` from its start, speed, acceleration (n + 1,).

    ``jerk`` (n,) in each cell. It rests at both ends.
    """

    step: float
    s: Array
    v: Array
    a: Array
    jerk: Array

    @classmethod
    def of(cls, timing: Timing, span: int, cells: int) -> "Reference":
        """Return the motion in a span, averaged over one of ``cells`` - 1 parts of its time."""
        n = cells - 1
        tick = timing.start[span] + (timing.end[span] - timing.start[span]) / n * np.arange(1.0, n)
        step = float(timing.end[span] - timing.start[span]) * timing.period / n
        v = np.concatenate([[0.0, 0.0], timing.motion(tick).speed, [0.0, 0.0]])
        begin = timing.s[timing.first[span]]
        v *= (timing.s_end[span] - begin) / (v.sum() * step)
        speed, ramp = 0.5 * (v[1:] + v[:-1]), np.diff(v) / step
        jerk = np.diff(ramp) / step
        way = step * (speed[:-1] + step * (0.5 * ramp[:-1] + step * jerk / 6.0))
        return cls(step=step, s=np.concatenate([[0.0], np.cumsum(way)]), v=speed, a=ramp, jerk=jerk)

    def limits(self, task: Task, window: int) -> list[Balls | Tops]:
        """Return the limits of a task of this one span, for squares of how much faster than this a motion may be.

        They hold at both ends and in the middle of every cell, where pieces begin and end, and often in corners;
        ``window``: the average that the result will have, in ticks.
        """
        path, cell = task.path, np.arange(len(self.jerk))
        edges, last = path.s0 - path.s0[0], path.count - 1
        low = np.clip(np.searchsorted(edges, self.s[:-1], "right") - 1, 0, last)
        high = np.clip(np.searchsorted(edges, self.s[1:]) - 1, low, last)
        feed = range_min(task.limits.shares.speed, low, high)
        middle = self._rates(cell, np.full(len(cell), 0.5))[0]
        own = np.clip(np.searchsorted(edges, middle, "right") - 1, low, high)
        out: list[Balls | Tops] = [self._steady()]
        for place, piece in ((0.0, low), (0.5, own), (1.0, high)):
            out += self._at(task, None, np.full(len(cell), place), piece, feed)
        piece, s = _places(path)
        if len(piece):
            now = np.clip(np.searchsorted(self.s, s, "right") - 1, 0, cell[-1])
            x, near = self._found(now, s), TICKS * window * task.period / self.step
            beside = [(k, (-near <= x - k) & (x - k <= 1.0 + near) & among(now + k, cell)) for k in (-1, 0, 1)]
            at_cell = np.concatenate([now[here] + k for k, here in beside])
            at_x = np.concatenate([x[here] - k for k, here in beside])
            on = np.concatenate([piece[here] for _, here in beside])
            out += self._at(task, at_cell, at_x, on, feed[at_cell])
        return out

    def _rates(self, cell: Ints, x: Array) -> tuple[Array, Array, Array, Array]:
        """Return place, speed, acceleration and jerk at ``x`` (n,) of cells (n,)."""
        u, s, v, a, jerk = x * self.step, self.s[cell], self.v[cell], self.a[cell], self.jerk[cell]
        return s + u * (v + u * (a / 2.0 + u * jerk / 6.0)), v + u * (a + u * jerk / 2.0), a + u * jerk, jerk

    def _found(self, cell: Ints, s: Array) -> Array:
        """Return where in cells (n,) the places ``s`` (n,) are passed: 0 to 1."""
        low: Array = np.zeros(len(s))
        size = 1.0
        for _ in range(HALVINGS):
            size /= 2.0
            low += size * (self._rates(cell, low + size)[0] < s)
        return low

    def _at(self, task: Task, cell: Ints | None, x: Array, piece: Ints, feed: Array) -> list[Balls | Tops]:
        """Return the limits at ``x`` (n,) of cells (``None``: of all), on pieces (n,) where s' is at most ``feed``."""
        path, struts, tip = task.path, task.limits.struts, task.limits.shares.tip
        s, v, a, j = self._rates(np.arange(len(x)) if cell is None else cell, x)
        u = np.clip(s - (path.s0[piece] - path.s0[0]), 0.0, path.size[piece])
        q, base = path.evaluate(piece, u, 3), basis(x)
        slopes, aim = struts.slopes(piece, q), struts.aim[piece]
        use = (np.abs(slopes[0]) * v / (struts.speed * aim)).max(axis=0)
        most = PLANNED_SPEED * np.minimum(feed / np.maximum(v, TINY), 1.0 / np.maximum(use, TINY))
        most = np.minimum(most, FASTEST) ** 2
        out: list[Balls | Tops] = [Tops(most=most, base=base, cell=cell)]
        vectors = (
            ([y[None] for y in slopes], struts.least * aim, struts.jerk * aim),
            ([y[:3, None] for y in q[1:]], min(tip.acceleration, tip.slowing[0]), tip.jerk),
            ([y[3:, None] for y in q[1:]], min(tip.tilt_acceleration, tip.slowing[1]), tip.tilt_jerk),
        )
        for (c1, c2, c3), acceleration, jerk in vectors:
            slope, bend = c1 * v, c2 * (v * v) + c1 * a
            if slope.any():
                third = c3 * v**3 + 3.0 * c2 * (v * a) + c1 * j
                soft = self._rows(x, bend, 0.5 * slope) / (PLANNED * acceleration)
                hard = self._rows(x, third, 1.5 * bend, 0.5 * slope) / (PLANNED * jerk)
                out += [Balls(weights=soft, base=base, cell=cell)] if x[0] < 1.0 else []
                out += [Balls(weights=hard, base=base, cell=cell, jerk=True)]
        pull = struts.pull(piece, q)
        if pull and x[0] < 1.0:
            up, down = (pull.room(np.full_like(pull.low, sign), PLANNED) for sign in (1.0, -1.0))
            half, middle = 0.5 * (up + down), 0.5 * (up - down)
            weights = self._rows(x, (pull.ramp * a + pull.bend * (v * v))[None], (0.5 * pull.ramp * v)[None]) / half
            out.append(Balls(weights=weights, base=base, cell=cell, offset=(-middle / half)[None]))
        return out

    def _steady(self) -> Balls:
        """Return that z all but rests where the motion does."""
        weights: Array = np.zeros((3, 1, 1, len(self.jerk)))
        weights[:2, 0, 0, 0], weights[1:, 0, 0, -1] = (-1.0, 1.0), (-1.0, 1.0)
        return Balls(weights=weights / STEADY, base=basis(np.zeros(len(self.jerk))))

    def _rows(self, x: Array, *parts: Array) -> Array:
        """Return weights (3, ...) of coefficients in sums of ``parts`` (...) times z, z', z''."""
        return np.stack([sum(basis(x, o)[k] / self.step**o * y for o, y in enumerate(parts)) for k in range(3)])

    def laid(self, d: Array, task: Task, window: int, slower: float = 1.0) -> Timing:
        """Return the motion that is faster by coefficients ``d``, and ``slower``, on ticks: a timing of this one span.

        Its speed is looked at every ``window`` ticks and averaged over as many.
        """
        step, d = window * task.period, np.rint(DIGITS * d) / DIGITS
        r = np.append(np.sqrt(np.stack([at(d, basis(x)) for x in LOOKS])).T.reshape(-1), at(d, basis(1.0))[-1] ** 0.5)
        r /= slower
        part = 2.0 * self.step / len(LOOKS)
        h = part / 6.0 * (1.0 / r[:-2:2] + 4.0 / r[1::2] + 1.0 / r[2::2])  # T. Simpson's rule
        t = np.concatenate([[0.0], np.cumsum(h)])
        count = int(whole_ticks(t[-1:], step)[0])
        late = count * step / t[-1]
        tau = _passed(step / late * np.arange(1.0, count), t, part * np.arange(float(len(t))), r[::2])
        cell = np.minimum((tau / self.step).astype(np.int64), len(self.jerk) - 1)
        u = tau - cell * self.step
        x = u / self.step
        z = sum(d[cell + k] * b for k, b in enumerate(basis(x)))
        v = (self.v[cell] + u * (self.a[cell] + 0.5 * u * self.jerk[cell])) * np.sqrt(z) / (slower * late)
        return _timing(task, v, window)


def _passed(when: Array, t: Array, y: Array, slope: Array) -> Array:
    """Return a function at ``when`` (n,), by cubics between times ``t`` (m,) with its values and slopes (Hermite)."""
    k = np.clip(np.searchsorted(t, when, "right") - 1, 0, len(t) - 2)
    h, rise = t[k + 1] - t[k], y[k + 1] - y[k]
    x = (when - t[k]) / h
    a, b = slope[k] * h - rise, rise - slope[k + 1] * h
    out: Array = y[k] + x * rise + x * (1.0 - x) * (a * (1.0 - x) + b * x)
    return out


def _places(path: ToolPath) -> tuple[Ints, Array]:
    """Return pieces and places on them, counted from the start of a span: both sides of edges, more in corners."""
    pieces, start = np.arange(path.count), path.s0[:-1] - path.s0[0]
    bent = corners(path.kind)
    found = [(pieces[1:], start[1:]), (pieces[:-1], start[1:])]
    found += [(pieces[bent], (start + x * path.size)[bent]) for x in INSIDE]
    return np.concatenate([p for p, _ in found]), np.concatenate([s for _, s in found])


def _timing(task: Task, v: Array, window: int) -> Timing:
    """Return the timing of one span with speeds (k,) every ``window`` ticks between rest and rest."""
    path, step = task.path, window * task.period
    v = np.concatenate([[0.0], v, [0.0]])
    v *= (path.s0[-1] - path.s0[0]) / (v.sum() * step)
    u = np.append(np.diff(v) / step, 0.0)
    s = path.s0[0] + np.concatenate([[0.0], np.cumsum(0.5 * step * (v[1:] + v[:-1]))])
    s[-1] = path.s0[-1]
    ticks = np.array([0, window * len(v)])
    timing = Timing(
        period=task.period,
        t=step * np.arange(float(len(v))),
        s=s,
        v=v,
        u=u,
        cause=np.zeros(len(v), dtype=np.uint8),
        first=np.array([0, len(v)]),
        start=ticks,
        end=ticks[1:],
        s_end=path.s0[-1:].copy(),
        window=np.array([window]),
        pauses=no_pauses(),
        programmed=task.programmed,
    )
    return replace(timing, cause=_held(timing, task))


def _held(timing: Timing, task: Task) -> Codes:
    """Return what holds the speed of the intervals (m,) of a timing, by what their middles use most."""
    path, limits = task.path, task.limits
    middle = np.arange(1.0, len(timing.t)) * timing.window[0]  # the average is half a window late
    motion = timing.motion(middle)
    place = timing.locate(path, motion)
    cause = holding(motion, place, path, limits)
    fast = cause == TIP_SPEED
    feed = task.programmed[place.piece] < limits.shares.speed[place.piece] * (1.0 + SAME)
    tip = np.linalg.norm(path.evaluate(place.piece, place.u, 1, 1)[0][:3], axis=0) * motion.speed
    cause[fast & ~feed & (tip < FAST * limits.shares.tip.speed)] = TILT_SPEED
    cause[fast & feed] = FEED
    cause[corners(path.kind[place.piece])] |= AT_CORNER
    return np.append(cause, np.uint8(0))
