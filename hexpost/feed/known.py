"""What is known of a path from schedules of others with the same moves: which pieces, and how these were passed."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, in_ranges
from hexpost.feed.model import Timing
from hexpost.feed.ramps import Rests, intervals, laid
from hexpost.feed.stretches import Speeds
from hexpost.path.model import ToolPath

SAME, SAME_TIME = 1e-8, 1e-8
"""Speeds that differ by less, as a share, are one; and times that differ by less, in ticks."""
MATCHED = ("kind", "offset", "size")
"""Columns in which pieces of one move are the same where they are the same pieces."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passed:
    """Intervals, shape (m,): place counted from the start of the piece, speed, acceleration, duration, cause.

    ``first`` (p,): the first of each piece; ``count`` (p,): how many it has; ``programmed`` (p,) as in ``Timing``.
    """

    s: Array
    v: Array
    u: Array
    h: Array
    cause: Codes
    first: Ints
    count: Ints
    programmed: Array

    @classmethod
    def of(cls, path: ToolPath, timing: Timing) -> "Passed":
        """Return those of a timing of a path."""
        span = np.repeat(np.arange(len(timing.end)), np.diff(path.span_first))
        low, high = timing.first[:-1][span], timing.first[1:][span] - 1
        first = np.clip(np.searchsorted(timing.s, path.s0[:-1]), low, high)
        last = np.append(first[1:], 0)
        last[path.span_first[1:] - 1] = timing.first[1:] - 1
        s = timing.s.copy()
        s[in_ranges(first, last)] -= np.repeat(path.s0[:-1], last - first)
        h = np.diff(timing.t, append=timing.t[-1:])
        return cls(
            s=s, v=timing.v, u=timing.u, h=h, cause=timing.cause,
            first=first, count=last - first, programmed=timing.programmed,
        )  # fmt: skip

    @classmethod
    def new(cls, path: ToolPath, speeds: Speeds, programmed: Array) -> "Passed":
        """Return those of speeds on the stretches of a path."""
        s, v, u, h, cause, each = intervals(speeds)
        count = np.bincount(speeds.st.piece, each, path.count).astype(np.int64)
        place = s - np.repeat(path.s0[:-1], count)
        first = np.cumsum(count) - count
        return cls(s=place, v=v, u=u, h=h, cause=cause, first=first, count=count, programmed=programmed)

    def seconds(self, piece: Ints) -> Array:
        """Return the time that pieces (n,) take."""
        t = np.concatenate([[0.0], np.cumsum(self.h)])
        first = self.first[piece]
        out: Array = t[first + self.count[piece]] - t[first]
        return out

    def same(self, piece: Ints, other: "Passed", of_other: Ints, period: float) -> Flags:
        """Return where pieces (n,) are passed as are those ``of_other`` (n,)."""
        a, b, count = self.first[piece], other.first[of_other], self.count[piece]
        out: Flags = (count == other.count[of_other]) & (count > 0)
        for k in range(int(count.max(initial=0))):
            at = np.flatnonzero(out & (k < count))
            i, j = a[at] + k, b[at] + k
            dv, dh = np.abs(self.v[i] - other.v[j]), np.abs(self.h[i] - other.h[j])
            out[at] = (dv <= SAME * self.v[i]) & (dh <= SAME_TIME * period)
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sources:
    """Where pieces (p,) are known from: number of the schedule, -1 for none, and the ``piece`` there.

    ``window`` (spans,): the average of all schedules, in ticks; 0 where they differ, and nothing is known.
    ``run`` (p,): counts what follows as it did there; a new one begins with a span and where something else follows.
    ``time`` (p + 1,): seconds at which pieces begin, the time of pieces that are not known left out.
    """

    number: Ints
    piece: Ints
    window: Ints
    run: Ints
    time: Array

    @classmethod
    def of(cls, path: ToolPath, known: list[tuple[ToolPath, Timing]], passed: list[Passed]) -> "Sources":
        """Return those of a path: each piece is taken from where it is farthest from anything else.

        A span that is as the last schedule has it is taken from there.
        """
        match = [_matched(path, one) for one, _ in known]
        windows, (last, _), size = np.stack([timing.window for _, timing in known]), known[-1], np.diff(path.span_first)
        as_last = np.logical_and.reduceat(match[-1] >= 0, path.span_first[:-1]) & (size == np.diff(last.span_first))
        window = np.where((windows == windows[0]).all(axis=0), windows[0], np.where(as_last, windows[-1], 0))
        match = [np.where(np.repeat(w != window, size), -1, x) for x, w in zip(match, windows, strict=True)]
        opens = np.zeros(path.count + 1, dtype=np.bool_)
        opens[path.span_first] = True
        seconds = np.zeros(path.count)
        for found, one in zip(match, passed, strict=True):
            here = np.flatnonzero((found >= 0) & (seconds == 0.0))
            seconds[here] = one.seconds(found[here])
        time = np.concatenate([[0.0], np.cumsum(seconds)])
        ends = [np.concatenate([[True], (x[1:] != x[:-1] + 1) | (x[1:] < 0), [True]]) for x in match]
        room = np.stack([_room(time, x | opens, opens) for x in ends])
        room[np.stack(match) < 0] = -1.0
        number = room.argmax(axis=0)
        row = np.arange(path.count)
        new = opens[:-1] | (np.diff(number, prepend=-1) != 0) | np.stack(ends)[number, row]
        piece = np.stack(match)[number, row]
        return cls(
            number=np.where(piece < 0, -1, number), piece=piece, window=window, run=np.cumsum(new), time=time
        )  # fmt: skip

    def with_others(self, at: Ints, number: int, piece: Ints) -> "Sources":
        """Return them with pieces ``at`` (n,) taken from ``piece`` (n,) of schedule ``number``."""
        numbers, pieces = self.number.copy(), self.piece.copy()
        numbers[at], pieces[at] = number, piece
        return replace(self, number=numbers, piece=pieces)


def as_known(
    path: ToolPath, number: Ints, piece: Ints, passed: list[Passed], *, window: Ints, rests: Rests, period: float
) -> Timing:
    """Return the timing of a path whose pieces (p,) are passed as in schedule ``number`` (p,) the ``piece`` (p,) is.

    ``window`` (spans,): averages in ticks; ``period`` in s.
    """
    begin = np.cumsum([0, *(len(x.v) for x in passed)])
    first, count, programmed = (
        np.zeros(path.count, dtype=np.int64),
        np.zeros(path.count, dtype=np.int64),
        np.zeros(path.count),
    )
    for k, one in enumerate(passed):
        here = np.flatnonzero(number == k)
        own = piece[here]
        first[here], count[here], programmed[here] = one.first[own] + begin[k], one.count[own], one.programmed[own]
    rows = in_ranges(first, first + count)
    s, v, u, h, cause = (np.concatenate([getattr(x, n) for x in passed])[rows] for n in ("s", "v", "u", "h", "cause"))
    s += np.repeat(path.s0[:-1], count)
    starts = np.concatenate([[0], np.cumsum(count)])[path.span_first]
    s_end = path.s0[path.span_first[1:]]
    return laid([s, v, u, h, cause], starts, s_end, window=window, rests=rests, period=period, programmed=programmed)


def agreed(seconds: Array, opens: Flags) -> Array:
    """Return the time (n,) from where pieces (n,) last opened something else to their start; ``seconds`` (n,) of all.

    Where pieces of two schedules, one after the other, are the same for an average long, one goes over into the other.
    """
    row, time = np.arange(len(seconds)), np.concatenate([[0.0], np.cumsum(seconds)])[:-1]
    out: Array = time - time[np.maximum.accumulate(np.where(opens, row, 0))]
    return out


def _room(time: Array, ends: Flags, opens: Flags) -> Array:
    """Return the time (p,) from pieces to the nearer of the ``ends`` (p + 1,) about them; those at a rest are far."""
    edge = np.arange(len(time))
    before = np.maximum.accumulate(np.where(ends, edge, 0))[:-1]
    after = np.minimum.accumulate(np.where(ends, edge, len(edge) - 1)[::-1])[::-1][1:]
    out: Array = np.minimum(
        np.where(opens[before], np.inf, time[:-1] - time[before]),
        np.where(opens[after], np.inf, time[after] - time[1:]),
    )
    return out


def _matched(path: ToolPath, other: ToolPath) -> Ints:
    """Return which piece of another path each piece (p,) is, -1 where it is none of its pieces."""
    number = np.arange(path.count)
    begins = np.maximum.accumulate(np.where(np.diff(path.move, prepend=-1) != 0, number, 0))
    found = np.searchsorted(other.move, path.move) + number - begins
    at = np.minimum(found, other.count - 1)
    same = (found < other.count) & (other.move[at] == path.move)
    for name in MATCHED:
        same &= getattr(other, name)[at] == getattr(path, name)
    for mine, theirs in (
        (path.span_first[:-1], other.span_first[:-1]),
        (path.span_first[1:] - 1, other.span_first[1:] - 1),
    ):
        same[mine] &= found[mine] == theirs
    out: Ints = np.where(same, found, -1)
    return out
