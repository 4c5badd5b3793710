"""Why a job is not faster: for every block the programmed and the reached feed, and the seconds lost to each cause."""

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints
from hexpost.feed.bounds import programmed_speed
from hexpost.feed.model import FEED, STARTS, Reasons, Timing
from hexpost.machine.model import ToolTip
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, LINE, Moves
from hexpost.path.model import Path

BLOCK = 8192
"""Intervals looked at together."""
NOTHING = 1e-9
"""Lost time below this share of an interval is rounding."""
KEYS = 128
"""More than there are causes."""


def reasons(timing: Timing, path: Path, moves: Moves, tip: ToolTip) -> Reasons:
    """Return what held every block of a job that is planned as ``timing``."""
    norms = path.norms_max(1)[:, 0]
    line, back = np.unique(moves.line, return_inverse=True)
    n = len(line)
    last = np.zeros(n, dtype=np.int64)
    last[back] = np.arange(len(back))
    place, lost, cause = _losses(timing, path, programmed_speed(path, moves, tip, norms))
    key, group = np.unique(back[path.move[place]] * KEYS + cause, return_inverse=True)
    seconds = np.bincount(group, weights=lost, minlength=len(key))
    order = np.argsort(seconds, kind="stable")
    held = np.full(n, FEED, dtype=np.uint8)
    held[key[order] // KEYS] = key[order] % KEYS
    total = np.bincount(key % KEYS, weights=seconds, minlength=KEYS)
    mode = moves.feed_mode[last]
    turning = turns(moves)
    feed = np.where(mode == FEED_INVERSE, moves.feed[last] * _travel(path, last, norms), moves.feed[last])
    lost_by_line: Array = np.bincount(key // KEYS, weights=seconds, minlength=n).astype(np.float64)
    return Reasons(
        line=line.astype(np.int64),
        programmed=np.where(mode == FEED_RAPID, np.inf, feed),
        reached=_reached(timing, path, turning, back, n),
        turning=turning[last],
        cause=held,
        lost=lost_by_line,
        total={int(k): float(total[k]) for k in np.argsort(-total) if total[k] > 0},
    )


def turns(moves: Moves) -> Flags:
    """Return which moves are pure rotations, shape (n,)."""
    out: Flags = (moves.feed_mode == FEED_TILT) | ((moves.kind == LINE) & (moves.start == moves.end)[:3].all(axis=0))
    return out


def _losses(timing: Timing, path: Path, speed: Array) -> tuple[Ints, Array, Codes]:
    """Return piece, seconds lost against ``speed`` (p,) along the path, and cause of every interval (m,)."""
    span = np.repeat(np.arange(len(timing.end)), np.diff(timing.first))
    piece = np.clip(
        np.searchsorted(path.s0, timing.s, "right") - 1, path.span_first[span], path.span_first[span + 1] - 1
    )
    time, way = np.diff(timing.t, append=0.0), np.diff(timing.s, append=0.0)
    rest = timing.first[1:] - 1
    time[rest], way[rest] = timing.end * timing.period - timing.t[rest], 0.0
    cause = timing.cause.copy()
    cause[rest] = STARTS
    lost = np.maximum(time - way / speed[piece], 0.0)
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


def _travel(path: Path, move: Ints, norms: Array) -> Array:
    """Return how far the tip goes on moves (n,), or how far the tool turns where the tip stays, for inverse time."""
    k = np.minimum(np.searchsorted(path.move, move), max(path.count - 1, 0))
    slope = np.where(norms[0, k] > 0, norms[0, k], norms[1, k])
    out: Array = path.length[move] * slope
    return out
