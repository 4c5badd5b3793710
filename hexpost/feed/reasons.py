"""Why a job is not faster: for every block the programmed and the reached feed, and the seconds lost to each cause."""

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines
from hexpost.feed.model import FEED, STARTS, Reasons, Timing
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, LINE, Moves
from hexpost.path.model import ToolPath
from hexpost.shelf import column, windows

BLOCK = 16384
"""Intervals whose speeds are looked at together."""
NOTHING = 1e-4
"""Lost time below this share of an interval is nothing: speeds are planned no finer."""


def reasons(timing: Timing, path: ToolPath, moves: Moves) -> Reasons:
    """Return what held every block of a job that is planned as ``timing``."""
    line, back = _lines(moves.line)
    n = len(line)
    last, programmed, turning = np.zeros(n, dtype=np.int32), column((n,), np.float64), np.zeros(n, dtype=np.bool_)
    for part in windows(len(back)):
        last[back[part]] = np.arange(part.start, part.stop, dtype=np.int32)
    turned = turns(moves)
    for part in windows(n):
        move = last[part]
        mode, feed = moves.feed_mode[move], moves.feed[move]
        inverse = np.flatnonzero(mode == FEED_INVERSE)
        feed[inverse] *= _travel(path, move[inverse])
        programmed[part] = np.where(mode == FEED_RAPID, np.inf, feed)
        turning[part] = turned[move]
    place, lost, cause = _losses(timing, path, back)
    held, seconds, total = _held(place, lost, cause, n)
    return Reasons(
        line=line,
        programmed=programmed,
        reached=_reached(timing, path, turned, back, n),
        turning=turning,
        cause=held,
        lost=seconds,
        total=dict(sorted(total.items(), key=lambda item: -item[1])),
    )


def _lines(line: Lines) -> tuple[Lines, Lines]:
    """Return the lines that occur, rising, and where each of ``line`` (n,) stands among them."""
    there = np.zeros(int(line.max(initial=0)) + 1, dtype=bool)
    there[line] = True
    place = np.cumsum(there, dtype=np.int32)
    place -= 1
    back: Lines = column((len(line),), np.int32)
    for part in windows(len(line)):
        back[part] = place[line[part]]
    return np.flatnonzero(there).astype(np.int32), back


def _held(line: Lines, lost: Array, cause: Codes, n: int) -> tuple[Codes, Array, dict[int, float]]:
    """Return what most seconds of each of ``n`` lines are lost to, all seconds of each, and those of each cause."""
    held, most, whole = np.full(n, FEED, dtype=np.uint8), np.zeros(n), np.zeros(n)
    total: dict[int, float] = {}
    for code in np.flatnonzero(np.bincount(cause)).tolist():
        seconds = np.zeros(n)
        for part in windows(len(line)):
            here = cause[part] == code
            np.add.at(seconds, line[part][here], lost[part][here])
        for part in windows(len(line)):
            at = line[part][cause[part] == code]
            at = at[seconds[at] >= most[at]]
            held[at], most[at] = code, seconds[at]
        whole += seconds
        if seconds.any():
            total[code] = float(seconds.sum())
    return held, whole, total


def turns(moves: Moves) -> Flags:
    """Return which moves are pure rotations, shape (n,)."""
    out = np.zeros(moves.count, dtype=np.bool_)
    for part in windows(moves.count):
        still = (moves.start[:3, part] == moves.end[:3, part]).all(axis=0)
        out[part] = (moves.feed_mode[part] == FEED_TILT) | ((moves.kind[part] == LINE) & still)
    return out


def _losses(timing: Timing, path: ToolPath, back: Lines) -> tuple[Lines, Array, Codes]:
    """Return place of the line, seconds lost against the programmed feed, and cause of every interval (m,)."""
    m = len(timing.t)
    place, lost, cause = (column((m,), kind) for kind in (np.int32, np.float64, np.uint8))
    for part in windows(m):
        span = _spans(timing, part)
        piece = np.searchsorted(path.s0, timing.s[part], "right") - 1
        piece = np.clip(piece, path.span_first[span], path.span_first[span + 1] - 1)
        behind = slice(part.start, part.stop + 1)
        time, way = np.diff(timing.t[behind]), np.diff(timing.s[behind])
        if part.stop == m:
            time, way = np.append(time, 0.0), np.append(way, 0.0)
        why = timing.cause[part].copy()
        rest = np.flatnonzero(np.arange(part.start + 1, part.stop + 1) == timing.first[span + 1])
        own = span[rest]
        time[rest], way[rest] = timing.end[own] * timing.period - timing.t[part][rest], 0.0
        why[rest] = STARTS
        seconds = np.maximum(time - way / timing.programmed[piece], 0.0)
        place[part], cause[part] = back[path.move[piece]], why
        lost[part] = np.where(seconds < NOTHING * time, 0.0, seconds)
    return place, lost, cause


def _spans(timing: Timing, part: slice) -> Ints:
    """Return the spans of some intervals."""
    return np.searchsorted(timing.first, np.arange(part.start, part.stop), "right") - 1


def _reached(timing: Timing, path: ToolPath, turning: Flags, back: Lines, n: int) -> Array:
    """Return the largest speed of each of ``n`` lines: of the tip, or of the tilt in pure rotations."""
    out, before = np.zeros(n), 0.0
    for part in windows(len(timing.t), BLOCK):
        t = timing.t[part.start : part.stop + 1]
        middle = t[: part.stop - part.start].copy()
        middle[: len(t) - 1] += 0.5 * np.maximum(np.diff(t), 0.0)
        tick = middle / timing.period + 0.5 * timing.window[_spans(timing, part)]
        tick = np.maximum(np.maximum.accumulate(tick), before)
        before = float(tick[-1])
        motion = timing.motion(tick)
        place = timing.locate(path, motion)
        q = path.evaluate(place.piece, place.u, 1, 1)[0]
        move = path.move[place.piece]
        half = np.where(turning[move], q[3:], q[:3])
        np.maximum.at(out, back[move], np.sqrt(np.einsum("ij,ij->j", half, half)) * motion.speed)
    return out


def _travel(path: ToolPath, move: Lines) -> Array:
    """Return how far the tip goes on moves (n,), or how far the tool turns where the tip stays, for inverse time."""
    k = np.minimum(np.searchsorted(path.move, move), max(path.count - 1, 0))
    q = path.evaluate(k, np.zeros(len(k)), 1, 1)[0]
    tip, tilt = (np.sqrt(np.einsum("ij,ij->j", x, x)) for x in (q[:3], q[3:]))
    out: Array = path.length[move] * np.where(tip > 0, tip, tilt)
    return out
