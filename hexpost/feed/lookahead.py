"""A long span in windows with look-ahead: what planning takes beside its result does not grow with the span.

Each window is planned with room to stop behind it. What no stop there can change stands; the next one begins with it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.feed.calm import calm_periods, calmed
from hexpost.feed.correct import Ranges, changed, correct
from hexpost.feed.drafts import LAST, LEFT, ROUNDS, power
from hexpost.feed.minima import erode, speeds
from hexpost.feed.model import Timing, TooLongError, whole_ticks
from hexpost.feed.ramps import Rests, durations, dwelt, intervals
from hexpost.feed.stretches import Speeds, Stretches
from hexpost.feed.task import Task, seconds_at, task_of
from hexpost.feed.windows import choose, split
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ToolPath, open_ended
from hexpost.shelf import Growing, let_go

WINDOW, AHEAD = 32_768, 4_096
"""Pieces that a window adds to the schedule; pieces behind them that are planned, too (more where they are too few)."""
BACK = 3.0
"""Corrections lower ramps, and caps are felt, less than so many averages before a sample."""
SAME = 1e-6
"""Relative difference of a speed squared below which a stop is not felt."""


class StuckError(Exception):
    """A window cannot keep the limits beside what stands."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Held:
    """What stands: the first ``count`` stretches with their ``cap`` (count,) and ``x`` (count + 1,), not to be changed.

    ``st``: these and those behind them that were planned already, without the last piece, which a stop ended.
    ``piece``: number in the span of the first one's; ``begin``: time in s at which it begins, from the span's start.
    """

    piece: int
    st: Stretches
    count: int
    cap: Array
    x: Array
    begin: float

    def behind(self, fresh: Stretches) -> Stretches:
        """Return its stretches with those of the ``fresh`` ones that belong to later pieces."""
        k = int(np.searchsorted(fresh.piece, self.st.piece[-1], "right"))
        return self.st.followed(fresh.part(k, len(fresh.size)))

    def kept(self, st: Stretches) -> Stretches:
        """Return stretches with the bounds of those that stand as they were.

        Raises
        ------
        StuckError
            They were changed, and would have to be.
        """
        n = self.count
        for name in ("cap", "up", "down"):
            if (getattr(st, name)[:n] != getattr(self.st, name)[:n]).any():
                raise StuckError
        return st


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Span:
    """A long span, what it is planned with, and the dwells after it.

    ``rather`` (1,): the average [ticks] that is taken if as good; ``window`` (1,): the one that is taken, if known;
    ``opened``: what is to be planned of its first window, if known.
    """

    path: ToolPath
    moves: Moves
    machine: Machine
    mode: str
    rests: Rests
    rather: Ints | None = None
    window: Ints | None = None
    opened: tuple[Task, Stretches] | None = None

    def averaged(self) -> "Span":
        """Return the span with its average, chosen from its first window."""
        task, st = self.task(0, min(WINDOW + AHEAD, self.path.count), 0.0, np.inf)
        whole, two = open_ended(task.path.kind[st.piece]), task.limits.two_sided
        chosen = choose(st, whole, np.zeros(0, dtype=np.int64), task.period, self.rather, two_sided=two)
        window = calmed(chosen, calm_periods(self.path, self.moves, self.machine), task.period)
        return replace(self, window=window, opened=(task, st))

    def task(self, low: int, high: int, begin: float, most_ticks: float) -> tuple[Task, Stretches]:
        """Return what is to be planned of pieces ``low`` to ``high`` (left out), which begin at a time [s]."""
        tick = int(begin / self.machine.period)
        none = np.zeros(0, dtype=np.int64)
        rests = Rests(span=none, ticks=none, line=none, begin=tick, phase=begin - tick * self.machine.period)
        part = self.path.pieces(low, high)
        if self.opened and low == 0 and high == self.opened[0].path.count:
            task, st = self.opened
        else:
            task, st, _ = task_of(part, self.moves, self.machine, self.mode, rests, small=0)
        least = tick + float(seconds_at(part, task.programmed).sum()) / task.period
        if least > most_ticks:
            raise TooLongError(least)
        return replace(task, most_ticks=2 * most_ticks), st


def in_windows(span: Span, *, most_ticks: float) -> Timing | None:
    """Return the timing of a path of one span, planned in windows; ``None`` where it must be planned as a whole.

    That is where a window cannot keep the limits of the struts beside what stands.

    Raises
    ------
    TooLongError
        The job takes more than ``most_ticks``.
    """
    try:
        return _timing(span, most_ticks - span.rests.begin)
    except StuckError:
        return None


def from_rest_to_rest(path: ToolPath, window: Ints, moves: Moves, machine: Machine, mode: str) -> tuple[Task, Speeds]:
    """Return what was planned, and the speeds, of the spans of a path averaged over ``window`` (spans,) [ticks].

    As a window of a long span is planned; where ``window`` is 0 it is chosen, and put there.

    Raises
    ------
    StuckError
        Samples that must keep the limits do not.
    """
    none = np.zeros(0, dtype=np.int64)
    task, st, _ = task_of(path, moves, machine, mode, Rests(span=none, ticks=none, line=none), small=0)
    whole, given = open_ended(path.kind[st.piece]), np.flatnonzero(window)
    if len(given) < len(window):
        chosen = choose(st, whole, given, task.period, two_sided=task.limits.two_sided)
        np.copyto(window, task.calmed(chosen), where=window == 0)
    seconds = window.astype(np.float64) * task.period
    return task, _mended(split(st, whole, seconds).ramped(seconds), window, None, task)


def _timing(span: Span, most_ticks: float) -> Timing:
    """Return the timing of a long span."""
    count, period, rests = span.path.count, span.machine.period, span.rests
    columns = {name: Growing(count + count // 8) for name in ("t", "s", "v", "u", "cause", "programmed")}
    rest = np.bincount(rests.span + 1, weights=rests.ticks, minlength=2).astype(np.int64)
    start, time = rests.begin + rest[:1], 0.0
    window: Ints = np.zeros(0, dtype=np.int64)
    for (s, v, u, duration, cause), programmed, window in _windows(span, most_ticks):  # noqa: B007 - the last is used
        t = time + np.concatenate([[0.0], np.cumsum(duration)])
        time = float(t[-1])
        new = {"t": t[:-1] + start * period, "s": s, "v": v, "u": u, "cause": cause, "programmed": programmed}
        for name, column in columns.items():
            column.add(new[name])
        let_go()
    s_end, none = span.path.s0[-1:].copy(), np.zeros(1)
    for name, last in (("t", start * period + time), ("s", s_end), ("v", none), ("u", none)):
        columns[name].add(last)
    columns["cause"].add(np.zeros(1, dtype=np.uint8))
    end = start + whole_ticks(np.array([time]), period) + window
    found: dict[str, Any] = {name: column.whole() for name, column in columns.items()}
    return Timing(
        **found,
        period=period,
        first=np.array([0, columns["t"].count]),
        start=np.concatenate([start, end + rest[1:]]),
        end=end,
        s_end=s_end,
        window=window,
        pauses=dwelt(rests, np.concatenate([[rests.begin], end])),
    )


def _windows(span: Span, most_ticks: float) -> Iterator[tuple[list[Any], Array, Ints]]:
    """Yield, window by window, the intervals that stand, the programmed speeds of pieces, and the average [ticks]."""
    held: _Held | None = None
    span = span if span.window is not None else span.averaged()
    window = np.zeros(0, dtype=np.int64) if span.window is None else span.window
    told, low, begin, ahead = 0, 0, 0.0, AHEAD
    while True:
        high = min(low + WINDOW + ahead, span.path.count)
        task, st = span.task(low, high, begin, most_ticks)
        whole = open_ended(task.path.kind[st.piece])
        seconds = window.astype(np.float64) * task.period
        st = split(st, whole, seconds).ramped(seconds)
        now = _mended(st if held is None else held.behind(st), window, held, task)
        done, last = 0 if held is None else held.count, high == span.path.count
        count = len(now.cap) if last else _standing(now, seconds)
        if not last and (count <= done or now.st.piece[count] - now.st.piece[done] < WINDOW // 2):
            ahead *= 2
            continue
        yield intervals(now, done, count)[:5], task.programmed[told - low :], window
        if last:
            return
        told, held = high, _held(now, count, seconds, low, begin)
        low, begin = held.piece, held.begin


def _mended(st: Stretches, window: Ints, held: _Held | None, task: Task) -> Speeds:
    """Return the speeds of a window, corrected until its samples keep all limits, as far as ``drafts.mended`` would.

    Raises
    ------
    StuckError
        Samples that must keep the limits do not.
    """
    seconds = window.astype(np.float64) * task.period
    now = _solved(st, seconds, held)
    timing = task.laid(now, window)
    firm = bool(task.firm.any())
    where: Ranges | None = None
    if held is not None:
        time = held.begin + durations(now)[: held.count].sum()
        where = Ranges(lo=np.array([time / task.period]), hi=np.array([np.inf]))
    for k in range(ROUNDS if firm else ROUNDS + LAST):
        if timing.ticks > task.most_ticks:
            raise TooLongError(timing.ticks)
        found = correct(st, timing, task.path, task.limits, where, power=power(k), ramps=k >= ROUNDS)
        if found is None or (k >= ROUNDS and float(found.worst.max()) <= LEFT):
            return now
        st = found.st if held is None else held.kept(found.st)
        before, now = now, _solved(st, seconds, held)
        timing = task.laid(now, window)
        where = changed(before, now, timing)
    if firm:
        raise StuckError
    return now


def _solved(st: Stretches, seconds: Array, held: _Held | None) -> Speeds:
    """Return the largest speeds, from a rest or from what stands to a rest.

    Raises
    ------
    StuckError
        What stands is too fast for it.
    """
    cap = erode(st.size, st.span, st.first, st.cap, seconds)
    if held is None:
        return Speeds(st=st, cap=cap, x=speeds(st.size, st.first, cap, st.up, st.down))
    n, start = held.count, float(held.x[-1])
    cap[:n] = held.cap
    rest = st.part(n, len(cap))
    x = speeds(rest.size, rest.first, cap[n:], rest.up, rest.down, start=start)
    if x[0] < (1 - SAME) * start:
        raise StuckError
    return Speeds(st=st, cap=cap, x=np.concatenate([held.x, x[1:]]))


def _standing(now: Speeds, seconds: Array) -> int:
    """Return how many stretches stand: no stop at the end of the window, and no correction it may cause, changes them.

    Nor do corrections of its last piece, which is planned anew. Twice: before the first place that feels them,
    corrections may lower what lies a few averages back; the worst they can ask for there is another stop, and what
    feels that one may be corrected in turn.
    """
    back = BACK * float(seconds[0])
    time = np.concatenate([[0.0], np.cumsum(durations(now))])
    brake = np.concatenate([[0.0], np.cumsum(2 * now.st.down * now.st.size)])
    edge = len(now.cap)
    last = int(np.searchsorted(now.st.piece, now.st.piece[-1]))
    for _ in range(2):
        felt = min(int(np.argmax(brake[edge] - brake[: edge + 1] <= now.x[: edge + 1] * (1 + SAME))), last)
        edge = max(int(np.searchsorted(time, time[felt] - back, "right")) - 1, 0)
    return edge


def _held(now: Speeds, count: int, seconds: Array, low: int, begin: float) -> _Held:
    """Return what stands after a window of pieces from ``low`` on, which begins at a time [s]: its last averages."""
    st = now.st
    time = np.concatenate([[0.0], np.cumsum(durations(now))])
    back = int(np.searchsorted(time, time[count] - BACK * float(seconds[0]), "right")) - 1
    piece = int(st.piece[max(back, 0)])
    first, end = (int(k) for k in np.searchsorted(st.piece, [piece, st.piece[-1]]))
    some = st.part(first, end)
    return _Held(
        piece=low + piece,
        st=replace(some, piece=some.piece - piece),
        count=count - first,
        cap=now.cap[first:count],
        x=now.x[first : count + 1],
        begin=begin + float(time[first]),
    )
