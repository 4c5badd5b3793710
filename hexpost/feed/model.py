"""What the feed planner hands on: motion along the path as a function of time, on ticks of the control period."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines
from hexpost.moves.model import WITH, Events
from hexpost.path.model import ToolPath

FEED, TIP_SPEED, TIP_ACCELERATION, TIP_JERK, TILT_SPEED, TILT_ACCELERATION, TILT_JERK, TOO_SHORT = range(8)
"""What holds the speed of a stretch: programmed feed, a tool-tip or tilt limit, a span too short to accelerate."""
STRUT = 8
"""From here on a strut holds it: see ``strut_cause``."""
STARTS = 126
"""Cause of the time that starts and stops take beside their ramps: averages of the speed, and whole ticks."""
AT_CORNER = 64
"""Added to the cause when it is felt on a rounded corner."""

KINDS = ("speed", "acceleration", "jerk", "thrust")
OWN = {
    FEED: "programmed feed", 1: "tool-tip speed", 2: "tool-tip acceleration", 3: "tool-tip jerk", 4: "tilt speed",
    5: "tilt acceleration", 6: "tilt jerk", TOO_SHORT: "too short to accelerate", STARTS: "starts and stops",
}  # fmt: skip

TICK_SLACK = 1e-6
"""A rest may begin by this share of a period after its tick, so that one rounding error costs no row."""


def strut_cause(strut: Ints, kind: int) -> Codes:
    """Return the causes of struts (n,), counted from 0; ``kind`` 0 speed, 1 acceleration, 2 jerk (3 is free)."""
    return (STRUT + 4 * strut + kind).astype(np.uint8)


def cause_text(cause: int) -> str:
    """Return the words for a cause."""
    code = cause & ~AT_CORNER if cause != STARTS else STARTS
    where = "corner: " if cause & AT_CORNER and cause != STARTS else ""
    if code in OWN:
        return where + OWN[code]
    strut, kind = divmod(code - STRUT, len(KINDS))
    return f"{where}strut {strut + 1} {KINDS[kind]}"


def whole_ticks(seconds: Array, period: float) -> Ints:
    """Return the ticks that these times take, rounded up."""
    return np.ceil(seconds / period - TICK_SLACK).astype(np.int64)


TIES = 8.0
"""Times that differ by so many roundings are one: where intervals are as long as averages, both ends change as one."""


class TooLongError(Exception):
    """A job takes more ``ticks`` than are wanted."""

    def __init__(self, ticks: float) -> None:
        super().__init__(ticks)
        self.ticks = ticks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pauses(Columns):
    """Rests that the program asks for (dwells), shape (d,), rising: ticks in ``(start, end]``, and their line."""

    start: Ints
    end: Ints
    line: Lines


def no_pauses() -> Pauses:
    """Return that nothing rests."""
    none = np.zeros(0, dtype=np.int64)
    return Pauses(start=none, end=none, line=none.astype(np.int32))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathMotion:
    """Motion along the path, shape (n,): time in ticks, span, parameter s, its three time derivatives.

    ``jerk`` holds from then on (it is piecewise constant). ``rest``: at the end of the span, or after it.
    """

    tick: Ints | Array
    span: Ints
    s: Array
    speed: Array
    acceleration: Array
    jerk: Array
    rest: Flags


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathPlace:
    """Where on the path, shape (n,): piece, and parameter from its start."""

    piece: Ints
    u: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timing:
    """Speed along the path: stop-to-stop spans of constant path acceleration, then averaged over a window.

    Intervals, shape (m,): start ``t`` [s], parameter ``s``, speed ``v``, acceleration ``u`` (constant inside) and
    ``cause`` (codes above); each span closes with an interval at rest. ``first`` (spans + 1,): first interval of
    each span. The motion is the mean of s(t) over the last ``window`` (spans,) ticks inside the span, so the tool
    stays on the path and the jerk is (u(t) - u(t - T)) / T.

    ``start`` (spans + 1,): tick at which each span starts (the last: end of the job); ``end`` (spans,): tick at
    which it rests exactly on its end point, parameter ``s_end``. Pauses lie between the end and the next start.

    ``programmed`` (pieces,): the speed along the path by the programmed feed alone, of rapids by the speed limits.
    """

    period: float
    t: Array
    s: Array
    v: Array
    u: Array
    cause: Codes
    first: Ints
    start: Ints
    end: Ints
    s_end: Array
    window: Ints
    pauses: Pauses
    programmed: Array

    @property
    def ticks(self) -> int:
        """Return the number of periods of the job; samples are ticks 0 to this, both included."""
        return int(self.start[-1])

    def motion(self, tick: Ints | Array) -> PathMotion:
        """Return the motion at rising times in ticks, shape (n,), which may be fractions."""
        if not len(self.end):
            none = np.zeros(len(tick))
            return PathMotion(tick=tick, span=none.astype(np.int64), s=none, speed=none, acceleration=none, jerk=none,
                          rest=np.ones(len(tick), dtype=bool))  # fmt: skip
        g0, g1 = np.clip(np.searchsorted(self.start, (tick[0], tick[-1])) - 1, 0, len(self.end) - 1)
        if g0 == g1:
            span: Ints = np.full(len(tick), g0)
            n, base, end = self.window[g0 : g0 + 1], self.start[g0 : g0 + 1], self.end[g0 : g0 + 1]
        else:
            span = np.clip(np.searchsorted(self.start[g0 : g1 + 1], tick) - 1, 0, None) + g0
            n, base, end = self.window[span], self.start[span], self.end[span]
        now, ago = np.maximum(tick, base), np.maximum(tick - n, base)
        before = np.clip(tick - n - base, -n, 0)  # ticks of the window that lie before the span
        origin, states, i, j = self._states(now, ago)
        area, s, v, u = states
        w = 1.0 / (n * self.period)
        rest = tick >= end
        mean = (area[i] - area[j] - before * self.period * s[j]) * w + origin
        moving = ~rest
        return PathMotion(
            tick=tick,
            span=span,
            s=np.where(rest, self.s_end[span], mean),
            speed=(s[i] - s[j]) * w * moving,
            acceleration=(v[i] - v[j]) * w * moving,
            jerk=(u[i] - np.where(before < 0, 0.0, u[j])) * w * moving,
            rest=rest,
        )

    def _states(self, now: Ints | Array, ago: Ints | Array) -> tuple[float, Array, Ints, Ints]:
        """Return an origin of s, the (4, k) integral of s, s, v, u at ticks, and where now and ago stand in them."""
        low, high = int(ago[0]), int(now[-1])
        if now.dtype == np.int64 and high - low < 2 * len(now):  # one evaluation serves both ends of the windows
            tick: Ints | Array = np.arange(low, high + 1)
            i, j = (now - low).astype(np.int64), (ago - low).astype(np.int64)
        else:
            tick = np.concatenate([ago, now])
            j = np.arange(len(ago))
            i = j + len(ago)
        at = (tick - low) * self.period  # times and places count from here, or long jobs would lose digits
        begin = low * self.period
        a = max(int(np.searchsorted(self.t, begin + at[0], "right")) - 1, 0)
        b = int(np.searchsorted(self.t, begin + at[-1], "right")) + 1
        t, v, u = self.t[a:b] - begin, self.v[a:b], self.u[a:b]
        origin = float(self.s[a])
        s = self.s[a:b] - origin
        h = np.diff(t)
        area = np.zeros(len(t))
        np.cumsum(h * (s[:-1] + h * (v[:-1] / 2 + h * u[:-1] / 6)), out=area[1:])
        tie = TICK_SLACK**2 * self.period + TIES * np.spacing(begin + float(at[-1]))
        k = np.maximum(np.searchsorted(t, at + tie, "right") - 1, 0)
        h = at - t[k]
        out = np.empty((4, len(at)))
        out[3] = u[k]
        vk, sk = v[k], s[k]
        out[2] = vk + out[3] * h
        out[1] = sk + h * (vk + 0.5 * h * out[3])
        out[0] = area[k] + h * (sk + h * (vk / 2 + h * out[3] / 6))
        return origin, out, i, j

    def locate(self, path: ToolPath, motion: PathMotion) -> PathPlace:
        """Return the pieces under the samples; never a piece of another span (at a stop, s alone does not say)."""
        s, span = motion.s, motion.span
        a = max(int(np.searchsorted(path.s0, s[0], "right")) - 1, 0)
        b = int(np.searchsorted(path.s0, s[-1], "right")) + 1
        piece: Ints = np.searchsorted(path.s0[a:b], s, "right") + (a - 1)
        if span[0] == span[-1]:
            np.clip(piece, path.span_first[span[0]], path.span_first[span[0] + 1] - 1, out=piece)
        else:
            np.clip(piece, path.span_first[span], path.span_first[span + 1] - 1, out=piece)
        u = np.maximum(s - path.s0[piece], 0.0)
        if motion.rest.any():
            u[motion.rest] = path.size[piece[motion.rest]]
        return PathPlace(piece=piece, u=u)

    def end_ticks(self, path: ToolPath, move: Ints) -> Ints:
        """Return the first ticks at which the tool has reached the ends of moves (n,), rising; 0 for move -1.

        Where the end is rounded off, its place is the vertex of the corner. A rest after the end does not count.
        """
        k, u = path.end_of(move)
        span = np.searchsorted(path.span_first, k, "right") - 1
        s = path.s0[k] + u
        lo, hi = self.start[span].copy(), self.end[span].copy()
        inner = np.flatnonzero((k + 1 < path.span_first[span + 1]) | (u < path.size[k]))
        s, lo, hi = s[inner], lo[inner], hi[inner]
        while len(inner) and (hi - lo).max() > 1:  # the tool is short of s at lo, and not at hi
            middle = (lo + hi) // 2
            there = self.motion(middle).s >= s
            hi, lo = np.where(there, middle, hi), np.where(there, lo, middle)
        out: Ints = self.end[span]
        out[inner] = hi
        return np.where(move < 0, 0, out)

    def start_ticks(self, path: ToolPath, move: Ints) -> Ints:
        """Return the ticks at which moves (n,), rising, begin: the start of a span, or the end of the move before."""
        behind = move >= len(path.length)
        k = np.where(behind, path.count, path.end_of(np.where(behind, 0, move))[0])
        span = np.searchsorted(path.span_first, k, "right") - 1
        inner = (path.move[np.minimum(path.span_first[span], path.count - 1)] != move) & (move >= 0) & ~behind
        begin = self.start[np.minimum(span, len(self.end))]
        return np.where(inner, self.end_ticks(path, move - 1), np.where(move < 0, 0, begin))

    def event_ticks(self, path: ToolPath, events: Events) -> Ints:
        """Return the ticks at which events (e,) take effect; a dwell's is where it begins.

        ``WITH``: the start of the move. ``AFTER``: its end, behind the dwells that the program puts before it.
        """
        pause = whole_ticks(np.maximum(events.pause, 0.0), self.period)
        total = np.concatenate([[0], np.cumsum(pause)])
        new = np.searchsorted(events.move, events.move)  # first event of the same move
        if not path.count:
            return total[:-1]
        after = self.end_ticks(path, events.move) + total[:-1] - total[new]
        return np.where(events.rule == WITH, self.start_ticks(path, events.move), after)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reasons:
    """Per program line that moves the tool, rising, shape (k,); and the seconds lost to each cause in the whole job.

    ``programmed`` and ``reached``: mm/s of the tip, or rad/s of the tilt where ``turning``; ``programmed`` is inf for
    rapids. ``lost``: seconds more than the programmed feed alone would take (the tool-tip speed limits for rapids);
    ``cause``: what most of them are lost to. Words for causes: ``cause_text``.
    """

    line: Lines
    programmed: Array
    reached: Array
    turning: Flags
    cause: Codes
    lost: Array
    total: dict[int, float]
    taken: float = 0.0
    least: float = 0.0
    """Seconds that the job takes, and that no motion along its path within the same limits goes below; 0: not known."""

    @property
    def beyond(self) -> float | None:
        """Return by what share of the least time there is the job may be longer, at most; ``None``: not known."""
        return max(self.taken / self.least - 1.0, 0.0) if self.least > 0.0 else None

    def slowest(self, most: int) -> Ints:
        """Return where the (at most so many) lines that lost most stand, most first; of equals the first."""
        count = len(self.lost)
        least = np.partition(self.lost, count - most)[count - most] if most < count else -np.inf
        at = np.flatnonzero(self.lost >= least)
        return at[np.argsort(-self.lost[at], kind="stable")][:most]
