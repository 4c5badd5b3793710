"""A time that no motion along the path goes below, whatever its jerk: how near a schedule is to the best there is.

All that is left out of the limits makes the time shorter, never longer: jerks, thrusts, what curvature and ramps take
from each other in between. Per stretch bounds are the largest that hold anywhere in it, at edges those that hold there;
two running minima are then the fastest of all motions under them (``minima.py``).
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from hexpost.arrays import Array, Flags, Ints, distinct
from hexpost.feed.bounds import HUGE, TINY, lone_straights, speed_caps
from hexpost.feed.minima import speeds
from hexpost.feed.model import TICK_SLACK, Timing
from hexpost.feed.portions import portions
from hexpost.feed.ramps import durations
from hexpost.feed.stretches import Speeds, Stretches
from hexpost.feed.struts import SAGGING, StrutLimits, strut_limits
from hexpost.feed.task import STRUT_LIMITED
from hexpost.feed.windows import double_s
from hexpost.kinematics.struts import Struts
from hexpost.machine.model import Machine, ToolTip
from hexpost.moves.model import Moves
from hexpost.path.model import CORNER, ROUND, ToolPath

PARTS = 8.0
"""Stretches of a bent piece; other pieces have as many as their travel asks for, at most so many."""
MANY = 100_000
"""With more pieces, each is one stretch."""
STEP_MM, STEP_RAD = 8.0, 0.1
"""Longest stretch of a line or arc under the struts: travel of the tip, turn."""
ROUNDS = 3
"""A ramp is bounded for speeds up to a cap, and the cap by what ramps add to the edges: so often in turn."""
BLOCK = 4096
"""Stretches that are looked at together."""
MOST_PARTS = 1e4
"""Most stretches that one piece is cut into."""
STILL = 1e-9
"""A slope of the pose below this is none."""
FAR_BELOW = 0.5
"""No strut is ever shorter than this share of the least that it may be."""
ROUNDING = 1e-4
"""Share of the time that rounding, and stretches of all but one speed, may have added (``ramps.EVEN``)."""


def least_seconds(timing: Timing, path: ToolPath, moves: Moves, machine: Machine, mode: str, *, struts: bool) -> float:
    """Return a time [s] that no schedule of a job goes below in spans of whole ticks; dwells are as in its ``timing``.

    ``mode``: as it was planned; ``struts``: whether the struts follow from the path alone (they are left out if not).
    """
    ticks = timing.end - timing.start[:-1]
    least: Ints = np.zeros(len(ticks), dtype=np.int64)
    for a, b in portions(path) if path.count else ():
        part = path.spans(a, b)
        seconds = _spans(part, moves, machine, mode, struts=struts) * (1.0 - ROUNDING)
        least[a:b] = np.ceil(seconds / timing.period - TICK_SLACK).astype(np.int64)
    return float((timing.ticks - ticks.sum() + np.minimum(least, ticks).sum()) * timing.period)


def _spans(path: ToolPath, moves: Moves, machine: Machine, mode: str, *, struts: bool) -> Array:
    """Return a time (spans,) [s] that no motion along each span goes below."""
    norms = path.norms_max()
    limits = strut_limits(path, moves, machine, rapids_only=mode != STRUT_LIMITED)
    felt: Flags = (limits.aim > 0.0) & (struts and not machine.by_axes)
    st, caps = _stretches(path, norms, felt), speed_caps(path, moves, machine.tool_tip, norms).speed
    most = _Struts.of(machine)
    edge = np.full(len(st.cap) + 1, HUGE)
    for low in range(0, len(st.cap), BLOCK):
        k = np.arange(low, min(low + BLOCK, len(st.cap)))
        _bound(st, edge, k, path, norms=norms, tip=machine.tool_tip, speed=caps)
        k = k[felt[st.piece[k]]]
        if len(k):
            _bound_struts(st, edge, k, path, norms=norms, limits=limits, most=most)
    x = speeds(st.size, st.first, st.cap, st.up, st.down, edge=edge)
    out: Array = np.add.reduceat(durations(Speeds(st=st, cap=st.cap, x=x)), st.first[:-1])
    np.maximum(out, _straights(path, norms, machine.tool_tip, caps), out=out)
    return np.maximum(out, _alone(path, limits, most, felt[path.span_first[:-1]]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Struts:
    """Limits (6, 1) of the struts, none less than schedules may use; none is ever as short as ``shortest``."""

    speed: Array
    acceleration: Array
    jerk: Array
    shortest: float

    @classmethod
    def of(cls, machine: Machine) -> "_Struts":
        """Return those of a machine: its commands may make up for what struts give way."""
        more = 1.0 + SAGGING * (machine.compensation is not None)
        rows = [(more * s.speed, max(s.acceleration, s.slowing), s.jerk) for s in machine.struts]
        speed, acceleration, jerk = np.array(rows).T[:, :, None]
        shortest = FAR_BELOW * min(s.stroke[0] for s in machine.struts)
        return cls(speed=speed, acceleration=acceleration, jerk=jerk, shortest=shortest)


def _stretches(path: ToolPath, norms: Array, felt: Flags) -> Stretches:
    """Return stretches without bounds; ``norms`` (2, 3, p) as ``norms_max`` gives, ``felt`` (p,): the struts are."""
    (p1, p2, _), (q1, _, _) = norms
    travel = np.maximum(p1 * path.size / STEP_MM, (q1 + p2 / np.maximum(p1, TINY)) * path.size / STEP_RAD)
    count = np.where(path.kind >= CORNER, PARTS, np.where(felt, np.clip(travel, 1.0, MOST_PARTS), 1.0))
    count = np.ceil(count) if path.count <= MANY else np.ones(path.count)
    none, n = np.zeros(path.count, dtype=np.uint8), path.count
    return Stretches(
        piece=np.arange(n),
        size=path.size,
        cap=np.full(n, HUGE),
        up=np.full(n, HUGE),
        down=np.full(n, HUGE),
        hold=none,
        jerk=np.full(n, HUGE),
        jerk_hold=none,
        s=path.s0,
        span=np.repeat(np.arange(len(path.span_first) - 1), np.diff(path.span_first)),
        first=path.span_first,
    ).divided(count.astype(np.int64))


def _looks(st: Stretches, k: Ints, path: ToolPath, first: int) -> tuple[Ints, list[Array]]:
    """Return pieces (3 n,) and pose (``first`` 0) and its two derivatives at start, middle, end of stretches (n,)."""
    piece = st.piece[k]
    begin = np.maximum(st.s[k] - path.s0[piece], 0.0)
    u = np.concatenate([begin, begin + 0.5 * st.size[k], begin + st.size[k]])
    piece = np.tile(piece, 3)
    return piece, path.evaluate(piece, np.minimum(u, path.size[piece]), 2, first)


def _bound(st: Stretches, edge: Array, k: Ints, path: ToolPath, *, norms: Array, tip: ToolTip, speed: Array) -> None:
    """Lower the bounds of stretches ``k`` (n,), and those at their edges, to what tip, tilt and feeds allow.

    ``speed`` (p,): the largest s' of pieces that are nowhere faster along the path than on average.
    """
    _, (q1, q2) = _looks(st, k, path, 1)
    piece, size, n = st.piece[k], st.size[k], len(k)
    bent, faster = path.kind[piece] >= CORNER, np.ones(n)
    slopes = []
    for half, (most1, most2, _) in zip((slice(3), slice(3, 6)), norms[:, :, piece], strict=True):
        least = np.sqrt(np.einsum("ij,ij->j", q1[half, n : 2 * n], q1[half, n : 2 * n])) - 0.5 * size * most2
        least = np.where(bent, np.maximum(least, 0.0), most1)
        slopes.append((least, np.where(bent, most2, 0.0)))
        faster = np.maximum(faster, np.where(most1 > STILL, most1 / np.maximum(least, TINY), 1.0))
    cap = np.minimum(speed[piece] * faster, HUGE**0.5) ** 2
    round_ = path.kind[piece] == ROUND
    cap = np.where(round_, np.minimum(cap, tip.acceleration / np.maximum(norms[0, 1, piece], TINY)), cap)
    st.cap[k] = np.minimum(cap, HUGE)
    for half, (least, along), up, down in zip(
        (slice(3), slice(3, 6)), slopes, (tip.acceleration, tip.tilt_acceleration), tip.slowing, strict=True
    ):
        for bound, most in ((st.up, up), (st.down, down)):
            bound[k] = np.minimum(bound[k], (most + along * st.cap[k]) / np.maximum(least, TINY))
        way, bend = q1[half], q2[half]
        length = np.sqrt(np.einsum("ij,ij->j", way, way))
        part = np.einsum("ij,ij->j", way, bend) / np.maximum(length, STILL)
        across = np.sqrt(np.maximum(np.einsum("ij,ij->j", bend, bend) - part * part, 0.0))
        _lower(edge, k, np.where(length > STILL, up / np.maximum(across, TINY), HUGE))


def _bound_struts(
    st: Stretches, edge: Array, k: Ints, path: ToolPath, *, norms: Array, limits: StrutLimits, most: _Struts
) -> None:
    """Lower the bounds of stretches ``k`` (n,), and those at their edges, to what the struts allow.

    In a stretch the slope of a length is at least that in the middle less what its bend can take from it, and what
    bends are above that in the middle likewise. At an edge two struts have one s'': |l'' x + l' s''| <= A of both
    leaves |l1'' l2' - l2'' l1'| x <= A1 |l2'| + A2 |l1'|.
    """
    where, q = _looks(st, k, path, 0)
    slope, bend = limits.slopes(where, q)
    fastest = _meeting(slope, bend, most)
    _lower(edge, k, fastest)
    size, n = st.size[k], len(k)
    second, third = _derivatives(st.piece[k], norms, limits, most)
    middle = slope[:, n : 2 * n]
    least = np.maximum(np.abs(middle) - 0.5 * size * second, TINY)
    cap = np.minimum(st.cap[k], (np.minimum(most.speed / least, HUGE**0.5) ** 2).min(axis=0))
    own, open_ = np.copysign(1.0, middle) * bend[:, n : 2 * n], 0.5 * size * third
    for _ in range(ROUNDS):
        ramps = [
            ((most.acceleration + np.maximum(way * own + open_, 0.0) * cap) / least).min(axis=0) for way in (-1.0, 1.0)
        ]
        cap = np.minimum(cap, np.minimum(fastest[:n], fastest[2 * n :]) + 2.0 * np.maximum(*ramps) * size)
    st.cap[k] = cap
    for bound, ramp in zip((st.up, st.down), ramps, strict=True):
        bound[k] = np.minimum(bound[k], ramp)


def _meeting(slope: Array, bend: Array, most: _Struts) -> Array:
    """Return the largest speed squared (n,) at places where lengths have the first two derivatives (6, n)."""
    size = np.abs(slope)
    out: Array = (np.minimum(most.speed / np.maximum(size, TINY), HUGE**0.5) ** 2).min(axis=0)
    for i, j in combinations(range(6), 2):
        turn = np.abs(bend[i] * slope[j] - bend[j] * slope[i])
        pair = most.acceleration[i] * size[j] + most.acceleration[j] * size[i]
        np.minimum(out, np.where(turn > TINY, pair / np.maximum(turn, TINY), HUGE), out=out)
    return out


def _lower(edge: Array, k: Ints, bound: Array) -> None:
    """Lower what stands at both edges of stretches ``k`` (n,) to bounds (3 n,) at their starts, middles and ends."""
    np.minimum.at(edge, k, bound[: len(k)])
    np.minimum.at(edge, k + 1, bound[2 * len(k) :])


def _derivatives(piece: Ints, norms: Array, limits: StrutLimits, most: _Struts) -> tuple[Array, Array]:
    """Return the most (n,) that second and third derivative of the length of any strut can be on pieces (n,).

    With the joint at x, l = |x|: |l''| <= |x''| + |x'|^2 / l, |l'''| <= |x'''| + 3 |x'| |x''| / l + 3 |x'|^3 / l^2;
    with the arm b about the tip and w the most that the tool turns, |x'| <= |p'| + w b, and so on (product rule).
    """
    (p1, p2, p3), (q1, q2, q3) = norms[:, :, piece]
    arm = max(float(np.linalg.norm(s.platform, axis=1).max()) for s in limits.seen if isinstance(s, Struts))
    w, growth, third = 3.0**0.5 * q1, 3.0**0.5 * q2, 3.0**0.5 * q3
    turn, third = growth + w * w, third + 3.0 * w * growth + 2.0 * w**3
    x1, x2 = p1 + w * arm, p2 + (turn + w * w) * arm
    x3 = p3 + (third + 3.0 * w * turn + w**3) * arm
    length = most.shortest
    return x2 + x1 * x1 / length, x3 + 3.0 * x1 * x2 / length + 3.0 * x1**3 / length**2


def _straights(path: ToolPath, norms: Array, tip: ToolTip, speed: Array) -> Array:
    """Return the time (spans,) [s] of the double S of spans that are one straight piece, within tip limits; else 0."""
    out = np.zeros(len(path.span_first) - 1)
    lone = lone_straights(path)
    k = path.span_first[lone]
    p, q = np.maximum(norms[:, 0, k], TINY)
    slow, turn = tip.slowing
    ramp = np.minimum(max(tip.acceleration, slow) / p, max(tip.tilt_acceleration, turn) / q)
    out[lone] = double_s(path.size[k], np.minimum(speed[k], HUGE), ramp, np.minimum(tip.jerk / p, tip.tilt_jerk / q))
    return out


def _alone(path: ToolPath, limits: StrutLimits, most: _Struts, felt: Flags) -> Array:
    """Return the time (spans,) [s] that each strut alone needs from end to end of spans ``felt``; else 0."""
    out = np.zeros(len(felt))
    spans = np.flatnonzero(felt)
    for low in range(0, len(spans), BLOCK):
        some = spans[low : low + BLOCK]
        first, last = path.span_first[some], path.span_first[some + 1] - 1
        start, end = path.evaluate(first, np.zeros(len(first)), 0)[0], path.evaluate(last, path.size[last], 0)[0]
        way: Array = np.zeros((6, len(some)))
        for frame in distinct(limits.frame[first]).tolist():
            at, seen = limits.frame[first] == frame, limits.seen[frame]
            way[:, at] = np.abs(seen.derivatives([end[:, at]])[0] - seen.derivatives([start[:, at]])[0])
        out[some] = double_s(way + TINY, most.speed, most.acceleration, most.jerk).max(axis=0)
    return out
