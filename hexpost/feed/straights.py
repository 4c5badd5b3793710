"""Lone straights under the struts: the double S whose limits are those that the struts turn out to have along it."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, among
from hexpost.feed.bounds import TINY
from hexpost.feed.model import KINDS, strut_cause, whole_ticks
from hexpost.feed.stretches import Stretches, causes, tagged
from hexpost.feed.task import Task
from hexpost.feed.windows import closed_windows, double_s, settled

ROUNDS = 4
"""Looks along each line; what is over a limit at the last is slowed down as a whole."""
LOOKS = np.linspace(0.0, 1.0, 7)
"""Where each part of a profile is looked at, as shares of its time."""
SHARE = 0.9985
"""Share of the strut limits that is planned with: between two looks a little more may be used."""
GAIN = 1.004
"""A line keeps its bounds, which clear it of looks at its samples, where no more than this is gained."""
NEAR = 1.01
"""A line that takes at most so many times what its struts need, each alone, and a tick, is fast enough."""
PLACES, WEIGHTS = (x / 2 for x in np.polynomial.legendre.leggauss(5))
PLACES = PLACES + 0.5
"""Gauss's places and weights on a way of length 1."""
BLOCK = 128
"""Lines that are looked at together."""
SIGNS = np.array([1.0, 0.0, -1.0, 0.0, -1.0, 0.0, 1.0])
"""The sign of the jerk in the seven parts of a double S."""
CRUISE, EVEN, CHANGE = np.arange(7) == 3, among(np.arange(7), (1, 5)), SIGNS != 0.0
"""Its parts of one speed, of one acceleration, of one jerk."""
FELT = (
    np.stack([CRUISE | True, CRUISE, CRUISE, CRUISE]),
    np.stack([CRUISE & False, ~CRUISE, EVEN, ~CRUISE]),
    np.stack([CRUISE & False, CRUISE & False, CHANGE, CRUISE & False]),
)
"""What holds the speed, the acceleration and the jerk of a profile: kinds of limits of the struts in its parts."""
POWERS = (1.0, 1 / 2, 1 / 3, 1 / 2)
"""A use of a limit of each kind, to this power, is how much slower the profile must be to use all of it."""


def fitted(st: Stretches, which: Flags, free: Stretches, task: Task) -> tuple[Stretches, Flags]:
    """Return stretches with bounds made to measure for lone straights ``which`` (spans,), of one stretch each.

    And which spans (spans,) are then so near to the least time that nothing else need be tried.

    A profile that is stretched in time by k uses k, k^2, k^3 times less of limits of speed, acceleration and jerk. So
    one look along a line says what constant limits would have held it as its struts do; the double S of these limits
    is the next shape. Few rounds find the fastest: what the struts allow hardly depends on the shape. ``free``: the
    bounds of all pieces without the struts.
    """
    rows, spans, near = st.first[:-1][which], np.flatnonzero(which), np.zeros(len(which), dtype=bool)
    columns = {name: getattr(st, name).copy() for name in ("cap", "up", "jerk", "hold", "jerk_hold")}
    for first in range(0, len(rows), BLOCK):
        k = rows[first : first + BLOCK]
        edges = np.arange(len(k) + 1)
        was = st.take(k, s=np.append(st.s[:-1][k], 0.0), span=edges[:-1], first=edges)
        own, lines = free.take(was.piece, s=was.s, span=was.span, first=edges), was
        for _ in range(ROUNDS - 1):
            lines = _held(own, _profile(lines, task.period), task)
        lines = _slowed(lines, _profile(lines, task.period), task)
        before, time = (_profile(x, task.period).time for x in (was, lines))
        near[spans[first : first + BLOCK]] = np.minimum(time, before) <= NEAR * _least(own, task) + 1.0
        gain = before > GAIN * time
        for name, column in columns.items():
            column[k[gain]] = getattr(lines, name)[gain]
    return replace(st, **columns, down=columns["up"]), near


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Profile:
    """Double Ss: ticks, largest speed, acceleration, jerk (n,); place and rates at looks (7 parts, looks, n)."""

    time: Array
    top: Array
    ramp: Array
    jolt: Array
    s: Array
    v: Array
    a: Array
    j: Array


def _profile(st: Stretches, period: float) -> _Profile:
    """Return the double S of lines of one stretch each, with a window of whole ticks."""
    lone = np.arange(len(st.size))
    window = closed_windows(st, lone, period).astype(np.float64) * period
    st = settled(st, lone, window)
    top = np.sqrt(st.cap)
    rise = top / st.up
    long, short = np.maximum(rise, window), np.minimum(rise, window)
    even, cruise = long - short, np.maximum(st.size / top - rise - window, 0.0)
    s, v, a = np.zeros((3, len(top)))
    looks: Array = np.empty((4, len(SIGNS), len(LOOKS), len(top)))
    for k, time in enumerate((short, even, short, cruise, short, even, short)):
        t, j = LOOKS[:, None] * time, SIGNS[k] * top / (long * short)
        looks[:, k] = s + t * (v + t * (a / 2 + t * j / 6)), v + t * (a + t * j / 2), a + t * j, j + 0.0 * t
        s, v, a = looks[:3, k, -1]
    s, v, a, j = looks
    return _Profile(
        time=whole_ticks(st.size / top + rise, period) + window / period,
        top=top,
        ramp=top / long,
        jolt=top / (long * short),
        s=np.minimum(s, st.size),
        v=v,
        a=a,
        j=j,
    )


def _held(free: Stretches, p: _Profile, task: Task) -> Stretches:
    """Return lines under constant limits that would have held their profiles as the struts do, and ``free`` ones."""
    slower, bounds = _slower(free, p, task), []
    for felt, was, power in zip(FELT, (p.top, p.ramp, p.jolt), (1, 2, 3), strict=True):
        some = np.where(felt[:, None, :, None], slower, 0.0).max(axis=2).reshape(-1, len(was))
        worst = some.argmax(axis=0)
        kind, strut = np.divmod(worst, slower.shape[1])
        cause = strut_cause(strut, kind)
        bounds.append((was / some[worst, np.arange(len(was))] ** power, cause))
    (v, why), (up, hold), (jerk, jerk_hold) = bounds
    cap = np.where(v * v < free.cap, tagged(v * v, why), free.cap)
    hold, jerk_hold = np.where(up < free.up, hold, free.hold), np.where(jerk < free.jerk, jerk_hold, free.jerk_hold)
    up, jerk = np.minimum(up, free.up), np.minimum(jerk, free.jerk)
    return replace(free, cap=cap, up=up, down=up, hold=hold, jerk=jerk, jerk_hold=jerk_hold)


def _slowed(st: Stretches, p: _Profile, task: Task) -> Stretches:
    """Return lines whose profiles are so much slower that they keep all limits of the struts."""
    k = np.maximum(_slower(st, p, task).max(axis=(0, 1, 2)), 1.0)
    up = st.up / k**2
    return replace(st, cap=tagged(st.cap / k**2, causes(st.cap)), up=up, down=up, jerk=st.jerk / k**3)


def _slower(st: Stretches, p: _Profile, task: Task) -> Array:
    """Return how much slower profiles must be for each limit to be used whole, (kinds, struts, parts, n)."""
    shape, limits = p.s.shape, task.limits.struts
    piece = np.broadcast_to(st.piece, shape).reshape(-1)
    q = task.path.evaluate(piece, p.s.reshape(-1), 3)
    l1, l2, l3 = (x.reshape(6, *shape) for x in limits.slopes(piece, q))
    speed, acceleration, jerk = (x[:, :, None, None] for x in (limits.speed, limits.acceleration, limits.jerk))
    aim = SHARE * limits.aim[st.piece]
    uses = [
        l1 * p.v / (speed * aim),
        (l1 * p.a + l2 * p.v**2) / (acceleration * aim),
        (l1 * p.j + 3 * l2 * p.v * p.a + l3 * p.v**3) / (jerk * aim),
    ]
    pull = limits.pull(piece, q)
    if pull:
        moving = pull.ramp * p.a.reshape(-1) + pull.bend * p.v.reshape(-1) ** 2
        uses.append((moving / pull.room(moving, SHARE)).reshape(6, *shape))
    out: Array = np.zeros((len(KINDS), 6, len(SIGNS), len(st.size)))
    for k, use in enumerate(uses):
        out[k] = np.abs(use).max(axis=2) ** POWERS[k]
    return out


def _least(free: Stretches, task: Task) -> Array:
    """Return the time in ticks that no motion of lines (n,) goes below: of each strut alone, and without struts."""
    limits, n = task.limits.struts, len(free.size)
    piece = np.tile(free.piece, len(PLACES))
    q = task.path.evaluate(piece, (PLACES[:, None] * free.size).reshape(-1), 1)
    slope = limits.slopes(piece, q)[0].reshape(6, len(PLACES), n)
    travel = np.abs(np.einsum("ijk,j->ik", slope, WEIGHTS)) * free.size + TINY
    own = (x * limits.aim[free.piece] for x in (limits.speed, limits.acceleration, limits.jerk))
    alone = double_s(travel, *own).max(axis=0)
    time: Array = np.maximum(alone, double_s(free.size, np.sqrt(free.cap), free.up, free.jerk)) / task.period
    return time
