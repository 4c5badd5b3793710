"""How long the average of each span is: by closed form for lone straights, by trial for the others."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.model import TOO_SHORT
from hexpost.feed.ramps import durations
from hexpost.feed.stretches import Stretches, causes, tagged

TRIES = (1.0, 0.7, 0.5, 0.35, 0.25, 0.17, 0.12)
"""Shares of the longest sensible window that are tried."""
AS_GOOD = 1.001
"""A window takes no longer than this, as a share, to be as good."""
ENOUGH = 30_000
"""A span is judged by its first so many stretches."""
ROOM = 1.5
"""A stretch is split only where it is so many times as long as the zones at its ends."""
WINDOWS = 33
"""Averages that are tried for a lone straight whose ramps are not alike."""
SLOWER = 0.999
"""A neighbour's cap below this share of a stretch's own is felt through the window."""


def choose(
    st: Stretches, whole: Flags, lone: Ints, period: float, rather: Ints | None = None, *, two_sided: bool = False
) -> Ints:
    """Return the window of each span in ticks, shape (spans,), at least 1.

    ``rather`` (spans,): windows that are taken where they are as good.

    ``whole`` (n,): stretches of lines and arcs, which may be split. Seven lengths are tried with the planner itself.
    None is longer than what a lone straight of the whole span's length, cap and jerk would need; ``two_sided``: at the
    larger of other limits for speeding up and slowing down.
    """
    spans = len(st.first) - 1
    best = np.ones(spans, dtype=np.int64)
    busy = np.ones(spans, dtype=bool)
    busy[lone] = False
    if busy.any():
        keep = busy[st.span] & (np.arange(len(st.span)) - st.first[st.span] < ENOUGH)
        part, whole_part = st.only(keep), whole[keep]
        longest = _longest(part, np.maximum(part.up, part.down) if two_sided else np.minimum(part.up, part.down))
        rather = None if rather is None else rather[busy]
        tries = [np.maximum(np.rint(share * longest / period), 1).astype(np.int64) for share in TRIES]
        time = np.full(len(longest), np.inf)
        found = np.ones(len(longest), dtype=np.int64)
        for ticks in tries if rather is None else [*tries, rather]:
            window = ticks.astype(np.float64) * period
            trial = split(part, whole_part, window).ramped(window).solved(window)
            taken = np.add.reduceat(durations(trial), trial.st.first[:-1]) + window
            found = np.where(taken < (AS_GOOD * time if ticks is rather else time), ticks, found)
            time = np.minimum(taken, time)
        best[busy] = found
    if len(lone):
        best[lone] = closed_windows(st, st.first[lone], period)
    return best


def _longest(st: Stretches, ramp: Array) -> Array:
    """Return the longest window of each span that can be of use for a ``ramp`` (n,), shape (spans,), s."""
    at = st.first[:-1]
    jerk = np.minimum.reduceat(st.jerk, at)
    to_acceleration = np.maximum.reduceat(ramp / st.jerk, at)
    to_length = np.cbrt(np.add.reduceat(st.size, at) / (2 * jerk))
    to_speed = np.sqrt(np.sqrt(np.maximum.reduceat(st.cap, at)) / jerk)
    out: Array = np.minimum(np.minimum(to_acceleration, to_length), to_speed)
    return out


def closed_windows(st: Stretches, k: Ints, period: float) -> Ints:
    """Return the windows of lone straights ``k``, in ticks: the time of constant jerk of the double S, rounded up."""
    return np.maximum(np.ceil(jerk_times(st, k) / period - 1e-9), 1).astype(np.int64)


def jerk_times(st: Stretches, k: Ints) -> Array:
    """Return the time of constant jerk of the double S of lone straights ``k``, shape (n,), s.

    L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, section 3.4:
    T_j = min((h / 2J)^(1/3), A / J, (v / J)^(1/2)). Both ramps have it: where one may be steeper than the other, the
    best of some between those of their own.
    """
    size, v, up, down, jerk = st.size[k], np.sqrt(st.cap[k]), st.up[k], st.down[k], st.jerk[k]
    best = _jerk_times(size, v, np.maximum(up, down), jerk)
    if (up == down).all():
        return best
    least = np.minimum(np.minimum(up, down) / jerk, best)
    T = least + np.linspace(1.0, 0.0, WINDOWS)[:, None] * (best - least)
    a = _both(np.minimum(up, jerk * T), np.minimum(down, jerk * T))
    top = np.minimum(a * _ramp_times(size, a, T), v)
    found: Array = np.take_along_axis(T, (size / top + top / a + T).argmin(axis=0)[None], axis=0)[0]
    return found


def _jerk_times(size: Array, speed: Array, ramp: Array, jerk: Array) -> Array:
    """Return the time of constant jerk of double Ss over ``size``, shape (n,), s."""
    out: Array = np.minimum(ramp / jerk, np.sqrt(speed / jerk))
    return np.minimum(out, np.cbrt(size / (2 * jerk)))


def double_s(size: Array, speed: Array, ramp: Array, jerk: Array) -> Array:
    """Return the time of the double S over ``size`` within limits of speed, acceleration and jerk, any shape, s."""
    T = _jerk_times(size, speed, ramp, jerk)
    a = jerk * T
    t = np.minimum(_ramp_times(size, a, T), speed / a)
    out: Array = size / (a * t) + t + T
    return out


def _ramp_times(size: Array, a: Array, T: Array) -> Array:
    """Return the longest ramp t at acceleration ``a`` before a coast of a window ``T`` at least: size = a t (t + T)."""
    out: Array = 2 * size / a / (np.sqrt(T**2 + 4 * size / a) + T)
    return out


def _both(up: Array, down: Array) -> Array:
    """Return the acceleration whose two ramps are as long as one ``up`` and one ``down``: the harmonic mean."""
    return np.where(up == down, up, 2.0 * up * down / (up + down))


def settled(st: Stretches, lone: Ints, window: Array) -> Stretches:
    """Return the stretches with accelerations for their windows [s], and lone straights capped for the closed form."""
    return coasting(st.ramped(window), lone, window)


def coasting(st: Stretches, lone: Ints, window: Array) -> Stretches:
    """Return the stretches with spans ``lone`` (k,) of one stretch capped so that they coast for a window [s].

    The trapezoid under the average must coast at least as long as the window T: h = a t (t + T) gives the longest
    ramp time t, and the top speed a t. Then no window holds both ramps and the jerk is a / T at most. Of two different
    ramps a is the harmonic mean: h = v^2 / 2 a1 + v^2 / 2 a2 + v T.
    """
    if not len(lone):
        return st
    k = st.first[lone]
    T, up, down = window[lone], st.up[k], st.down[k]
    a = _both(up, down)
    top = (a * _ramp_times(st.size[k], a, T)) ** 2
    cap = st.cap.copy()
    why = np.where(top < cap[k], np.uint8(TOO_SHORT), causes(cap[k]))
    cap[k] = tagged(np.minimum(cap[k], top), why)
    hold = st.hold.copy()
    hold[k] = np.where(why == TOO_SHORT, why, hold[k])
    return replace(st, cap=cap, hold=hold)


def split(st: Stretches, whole: Flags, window: Array) -> Stretches:
    """Return stretches with a zone split off where a long one borders on a slower one.

    The zone is as long as the slower neighbour travels in half a window [s], for so far its cap is felt.
    """
    slow_before, slow_after = np.full(len(st.cap), np.inf), np.full(len(st.cap), np.inf)
    slow_before[1:], slow_after[:-1] = st.cap[:-1], st.cap[1:]
    slow_before[st.first[:-1]] = np.inf
    slow_after[st.first[1:] - 1] = np.inf
    half = 0.5 * window[st.span]
    a = np.where(slow_before < SLOWER * st.cap, np.sqrt(np.minimum(slow_before, st.cap)) * half, 0.0)
    b = np.where(slow_after < SLOWER * st.cap, np.sqrt(np.minimum(slow_after, st.cap)) * half, 0.0)
    fits = whole & (st.size > ROOM * (a + b)) & (a + b > 0)
    if not fits.any():
        return st
    a, b = a * fits, b * fits
    size = np.stack([a, st.size - a - b, b], axis=1)
    keep = size > 0
    count = keep.sum(axis=1)
    edge = np.concatenate([[0], np.cumsum(count)])
    start = np.stack([st.s[:-1], st.s[:-1] + a, st.s[1:] - b], axis=1)[keep]
    at = np.repeat(np.arange(len(count)), count)
    return st.take(at, size=size[keep], s=np.append(start, st.s[-1]), first=edge[st.first])
