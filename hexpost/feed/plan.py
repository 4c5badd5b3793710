"""The schedule: bounds, windows, running minima, corrections, ticks; as programmed, or limited by the struts."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.attainable import within_reach
from hexpost.feed.bounds import TINY, as_programmed, lone_straights, speed_caps
from hexpost.feed.drafts import Draft, fastest, mended
from hexpost.feed.long_spans import fastest_in_windows
from hexpost.feed.lookahead import Span
from hexpost.feed.model import Timing, TooLongError, whole_ticks
from hexpost.feed.portions import LONG, Portions, portions, rests_of
from hexpost.feed.ramps import Rests
from hexpost.feed.straights import fitted
from hexpost.feed.stretches import Stretches, causes, tagged
from hexpost.feed.task import AS_PROGRAMMED, SMALL, STRUT_LIMITED, Task, seconds_at, task_of
from hexpost.feed.windows import choose, closed_windows, settled, split
from hexpost.machine.model import Machine
from hexpost.moves.model import Events, Moves
from hexpost.path.model import ToolPath, open_ended

FELT = 0.99
"""A lone straight whose bounds the struts lower below this share is also planned piece by piece."""
SHORTEST = 1.0
"""... unless it is shorter than this many mm: over that the slopes of the struts are all but constant."""
SCALES = (0.6, 1.5)
"""Windows that are tried beside the one found by trial where there are few stretches, as shares of it."""
DRAFTS_APART = 2
"""Drafts of one job, and the rounds of their corrections, differ by less than this factor in the time they take."""
FEW = 0.005
"""Not so with more stretches, where such straights take less than this share of the time of the job."""
LONE_SHARE = 0.995
"""Share of the strut limits that a lone straight in closed form is planned with."""
LONE_CURVATURE = 0.25
"""Most of it that the curvature of the struts' lengths may take there."""


def plan(
    path: ToolPath,
    moves: Moves,
    events: Events,
    machine: Machine,
    mode: str = AS_PROGRAMMED,
    *,
    most_ticks: float = np.inf,
    rather: Ints | None = None,
    workers: int = 1,
) -> Timing:
    """Return the timing of a path within programmed feed and tool-tip limits.

    ``mode``: ``"as-programmed"`` is what an ordinary control would run; ``"strut-limited"`` keeps every limit of the
    struts, too. Rapids have no programmed speed: they run, from rest to rest, at the best that tool-tip limits and
    struts allow (2 % under their limits) in both modes. A corner has the lower feed of its two moves. Never fails:
    all bounds hold for standing still. ``rather`` (spans,): the windows [ticks] that spans of many stretches are
    averaged over where these are as good as any. Parts of very long spans are planned on ``workers``.

    Raises
    ------
    TooLongError
        The job takes more than ``most_ticks``.
    """
    rests, done, begin = dwells(path, events, machine.period), Portions(path.count), 0
    for a, b in portions(path):
        part, after = path.spans(a, b), rests_of(rests, a, b, begin)
        timing, own = None, None if rather is None else rather[a:b]
        if b == a + 1 and part.count >= LONG:
            span = Span(path=part, moves=moves, machine=machine, mode=mode, rests=after, rather=own)
            timing = fastest_in_windows(span, most_ticks=most_ticks, workers=workers)
        timing = timing or _planned(part, moves, machine, mode, after, most_ticks=most_ticks, rather=own)
        done.add(timing)
        begin = timing.ticks
        if begin > most_ticks:
            raise TooLongError(begin)
    return done.whole()


def _planned(
    path: ToolPath, moves: Moves, machine: Machine, mode: str, rests: Rests, *, most_ticks: float, rather: Ints | None
) -> Timing:
    """Return the timing of a portion of the path."""
    task, drafts = _mended(path, moves, machine, mode, rests, most_ticks=most_ticks, rather=rather)
    doubtful = []
    if mode == STRUT_LIMITED:
        doubtful = _mended(path, moves, machine, AS_PROGRAMMED, rests, most_ticks=most_ticks, rather=rather)[1]
    return fastest(drafts, task, doubtful)


def _mended(
    path: ToolPath, moves: Moves, machine: Machine, mode: str, rests: Rests, *, most_ticks: float, rather: Ints | None
) -> tuple[Task, list[tuple[Draft, Timing]]]:
    """Return the drafts of a portion of the path, mended, with their timings."""
    task, st, norms = task_of(path, moves, machine, mode, rests)
    least = rests.begin + float(rests.ticks.sum()) + float(seconds_at(path, task.programmed).sum()) / task.period
    if least > most_ticks:
        raise TooLongError(least)
    task = replace(task, most_ticks=DRAFTS_APART * most_ticks)
    lone = np.zeros(len(st.first) - 1, dtype=bool)
    lone[lone_straights(path)] = True
    closed = _constant(st, lone, task)
    firm = lone & task.firm
    felt = _felt(st, closed, firm)
    if firm.any() and not task.limits.two_sided:
        closed, near = fitted(closed, firm, as_programmed(task.caps, path, machine.tool_tip, norms), task)
        felt &= ~near
    simple = lone & ~felt
    if simple.any():
        st = st.grafted(closed, simple)
    waiting, drafts = _drafts(task, st, simple, norms, rather), []
    del st, norms
    while waiting:  # of a long program every copy counts: each draft goes when it is mended
        drafts.append(mended(waiting.pop(0), task))
    if felt.any():
        drafts.append(mended(_closed(drafts[0][0], closed, felt, task), task, felt))
    return task, drafts


def least_time(path: ToolPath, moves: Moves, events: Events, machine: Machine) -> tuple[float, int]:
    """Return a time [s] that no schedule goes below, by programmed feeds and dwells, and the line that takes most."""
    rest = np.append(events.pause, 0.0)
    dwell = int(np.argmax(rest))
    total, most, line = float(rest.sum()), float(rest[dwell]), int(np.append(events.line, 0)[dwell])
    for a, b in portions(path) if path.count else ():
        part = path.spans(a, b)
        caps = speed_caps(part, moves, machine.tool_tip, part.norms_max())
        seconds = seconds_at(part, caps.programmed)
        total += float(seconds.sum())
        k = int(np.argmax(seconds))
        if seconds[k] >= most:
            most, line = float(seconds[k]), int(moves.line[part.move[k]])
    return total, line


def _drafts(task: Task, st: Stretches, simple: Flags, norms: Array, rather: Ints | None) -> list[Draft]:
    """Return the drafts to be tried; spans ``simple`` (spans,) have the closed form; ``norms`` of the pieces."""
    period = task.period
    whole = open_ended(task.path.kind[st.piece]) & ~simple[st.span]
    drafts, small, hard = [], len(st.span) <= SMALL, task.firm & ~simple
    two = task.limits.two_sided
    chosen = choose(st, whole, np.flatnonzero(simple), period, None if small else rather, two_sided=two)
    if small and hard.any():
        st = within_reach(st, hard, chosen.astype(np.float64) * period, task, norms)
        chosen = choose(st, whole, np.flatnonzero(simple), period, two_sided=two)
    for scale in (1.0, *SCALES) if small and not simple.all() else (1.0,):
        window = np.where(simple, chosen, np.maximum(np.rint(scale * chosen), 1).astype(np.int64))
        window = task.calmed(window)
        seconds = window.astype(np.float64) * period
        bounds = settled(split(st, whole, seconds), np.flatnonzero(simple), seconds)
        drafts.append(Draft(st=bounds, window=window, closed=simple))
    return drafts


def _closed(draft: Draft, closed: Stretches, felt: Flags, task: Task) -> Draft:
    """Return the draft with the closed form for the lone straights whose struts are ``felt`` (spans,)."""
    window = np.ones(len(felt), dtype=np.int64)
    window[felt] = closed_windows(closed, closed.first[:-1][felt], task.period)
    window = np.where(felt, task.calmed(window), window)
    bounds = settled(closed, np.flatnonzero(felt), window.astype(np.float64) * task.period)
    return draft.grafted(Draft(st=bounds, window=window, closed=felt), felt)


def _constant(st: Stretches, lone: Flags, task: Task) -> Stretches:
    """Return the lone straights, each made one stretch, its bounds constant and, under the struts, mild enough.

    With shares of limits a1 |s''| + a2 s'^2, and the like for jerks, what the curvature of the struts'
    lengths takes at the top speed is left out of acceleration and jerk, so that the double S keeps the limits.
    """
    st = st.merged(lone)
    k = st.first[:-1][lone & task.firm]
    if not len(k):
        return st
    piece, c = st.piece[k], task.limits.shares
    a1, a2, j1, j2, j3 = (np.maximum(x[piece], TINY) for x in (c.a1, c.a2, c.j1, c.j2, c.j3))
    cap, up, jerk, h = st.cap.copy(), st.up.copy(), st.jerk.copy(), st.size[k]
    least = np.minimum(LONE_CURVATURE / a2, (LONE_CURVATURE / j3) ** (2 / 3))
    cap[k] = np.where(least < cap[k], tagged(least, causes(cap[k])), cap[k])
    top = np.minimum(np.minimum(cap[k], up[k] * h), np.cbrt(jerk[k] * (0.5 * h) ** 2) ** 2)
    v = np.sqrt(top)
    up[k] = np.minimum(up[k], np.minimum((LONE_SHARE - a2 * top) / a1, LONE_CURVATURE / (3 * j2 * v)))
    jerk[k] = np.minimum(jerk[k], (LONE_SHARE - 3 * j2 * v * up[k] - j3 * v**3) / j1)
    down = st.down.copy()
    down[k] = up[k]
    return replace(st, cap=cap, up=up, down=down, jerk=jerk)


def _felt(st: Stretches, closed: Stretches, lone: Flags) -> Flags:
    """Return which lone straights would gain by bounds that follow the struts along the way, shape (spans,)."""
    out = np.zeros(len(lone), dtype=bool)
    if lone.any():
        at, best = st.first[:-1], closed.first[:-1][lone]
        gain = np.zeros(len(best), dtype=bool)
        for name in ("cap", "up", "down"):
            gain |= getattr(closed, name)[best] < FELT * np.maximum.reduceat(getattr(st, name), at)[lone]
        out[lone] = gain & (closed.size[best] > SHORTEST)
        time = closed.size / np.sqrt(closed.cap) + np.sqrt(closed.cap) / closed.up
        all_time = time.sum() + (st.size / np.sqrt(st.cap))[~lone[st.span]].sum()
        if len(st.span) > SMALL and time[closed.first[:-1][out]].sum() < FEW * all_time:
            out[:] = False
    return out


def dwells(path: ToolPath, events: Events, period: float) -> Rests:
    """Return the dwells among the events, each after the span that ends with its move, in whole ticks."""
    here = np.flatnonzero(events.pause > 0)
    last: Ints = np.append(path.move[path.span_first[1:-1]], len(path.length)).astype(np.int64) - 1
    move = events.move[here]
    span = np.minimum(np.searchsorted(last, move), len(last) - 1)
    return Rests(
        span=np.where(move < 0, -1, span),
        ticks=whole_ticks(events.pause[here], period),
        line=events.line[here].astype(np.int64),
    )
