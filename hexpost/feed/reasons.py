"""Why a job is not faster: for every block the programmed and the reached feed, and the seconds lost to each cause."""

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines
from hexpost.feed.model import FEED, STARTS, Reasons, Timing
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, LINE, Moves
from hexpost.path.model import Path

BLOCK = 8192
"""Intervals looked at together."""
NOTHING = 1e-4
"""Lost time below this share of an interval is nothing: speeds are planned no finer."""


def reasons(timing: Timing, path: Path, moves: Moves) -> Reasons:
    """Return what held every block of a job that is planned as ``timing``."""
    line, back = _lines(moves.line)
    n = len(line)
    last = np.zeros(n, dtype=np.int64)
    last[back] = np.arange(len(back))
    piece, lost, cause = _losses(timing, path)
    held, total = _held(back[path.move[piece]], lost, cause, n)
    mode, feed, turning = moves.feed_mode[last], moves.feed[last], turns(moves)
    inverse = np.flatnonzero(mode == FEED_INVERSE)
    feed[inverse] *= _travel(path, last[inverse])
    return Reasons(
        line=line,
        programmed=np.where(mode == FEED_RAPID, np.inf, feed),
        reached=_reached(timing, path, turning, back, n),
        turning=turning[last],
        cause=held,
        lost=np.bincount(back[path.move[piece]], weights=lost, minlength=n).astype(np.float64),
        total=dict(sorted(total.items(), key=lambda item: -item[1])),
    )


def _lines(line: Lines) -> tuple[Ints, Ints]:
    """Return the lines that occur, rising, and where each of ``line`` (n,) stands among them."""
    there = np.zeros(int(line.max(initial=0)) + 1, dtype=bool)
    there[line] = True
    place: Ints = np.cumsum(there) - 1
    return np.flatnonzero(there), place[line]


def _held(line: Ints, lost: Array, cause: Codes, n: int) -> tuple[Codes, dict[int, float]]:
    """Return what most seconds of each of ``n`` lines are lost to, and the seconds lost to each cause in all."""
    held, most = np.full(n, FEED, dtype=np.uint8), np.zeros(n)
    total: dict[int, float] = {}
    for code in np.flatnonzero(np.bincount(cause)).tolist():
        here = np.flatnonzero(cause == code)
        at = line[here]
        seconds = np.bincount(at, weights=lost[here], minlength=n)
        at = at[seconds[at] >= most[at]]
        held[at], most[at] = code, seconds[at]
        if seconds.any():
            total[code] = float(seconds.sum())
    return held, total


def turns(moves: Moves) -> Flags:
    """Return which moves are pure rotations, shape (n,)."""
    out: Flags = (moves.feed_mode == FEED_TILT) | ((moves.kind == LINE) & (moves.start == moves.end)[:3].all(axis=0))
    return out


def _losses(timing: Timing, path: Path) -> tuple[Ints, Array, Codes]:
    """Return piece, seconds lost against the programmed feed, and cause of every interval (m,)."""
    span = np.repeat(np.arange(len(timing.end)), np.diff(timing.first))
    piece = np.clip(
        np.searchsorted(path.s0, timing.s, "right") - 1, path.span_first[span], path.span_first[span + 1] - 1
    )
    time, way = np.diff(timing.t, append=0.0), np.diff(timing.s, append=0.0)
    rest = timing.first[1:] - 1
    time[rest], way[rest] = timing.end * timing.period - timing.t[rest], 0.0
    cause = timing.cause.copy()
    cause[rest] = STARTS
    lost = np.maximum(time - way / timing.programmed[piece], 0.0)
    lost[lost < NOTHING * time] = 0.0
    return piece, lost, cause


def _reached(timing: Timing, path: Path, turning: Flags, back: Ints, n: int) -> Array:
    """Return the largest speed of each of ``n`` lines: of the tip, or of the tilt in pure rotations."""
    out = np.zeros(n)
    middle = timing.t.copy()
    middle[:-1] += 0.5 * np.maximum(np.diff(timing.t), 0.0)
    tick = middle / timing.period + 0.5 * np.repeat(timing.window, np.diff(timing.first))
    tick = np.maximum.accumulate(tick)
    for begin in range(0, len(tick), BLOCK):
        motion = timing.motion(tick[begin : begin + BLOCK])
        place = timing.locate(path, motion)
        q = path.evaluate(place.piece, place.u, 1, 1)[0]
        move = path.move[place.piece]
        part = np.where(turning[move], q[3:], q[:3])
        np.maximum.at(out, back[move], np.sqrt(np.einsum("ij,ij->j", part, part)) * motion.speed)
    return out


def _travel(path: Path, move: Ints) -> Array:
    """Return how far the tip goes on moves (n,), or how far the tool turns where the tip stays, for inverse time."""
    k = np.minimum(np.searchsorted(path.move, move), max(path.count - 1, 0))
    q = path.evaluate(k, np.zeros(len(k)), 1, 1)[0]
    tip, tilt = (np.sqrt(np.einsum("ij,ij->j", x, x)) for x in (q[:3], q[3:]))
    out: Array = path.length[move] * np.where(tip > 0, tip, tilt)
    return out
