"""Why a job is not faster: for every block the programmed and the reached feed, and the seconds lost to each cause."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines
from hexpost.feed.model import FEED, STARTS, PathPlace, Reasons, Timing
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, LINE, Moves
from hexpost.path.model import EDGE, ToolPath
from hexpost.shelf import column, windows

BLOCK = 16384
"""Intervals whose speeds are looked at together."""
LEAST_SPEED = 1e-300
"""Keeps times of no way in range."""
NOTHING = 1e-4
"""Lost time below this share of an interval is nothing: speeds are planned no finer."""


def reasons(timing: Timing, path: ToolPath, moves: Moves) -> Reasons:
    """Return what held every block of a job that is planned as ``timing``."""
    timing = _move_by_move(timing, path)
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


def _move_by_move(timing: Timing, path: ToolPath) -> Timing:
    """Return the same timing with its intervals cut where moves end that are parts of one piece: smoothed chains."""
    ends = path.ends
    if not len(ends.move):
        return timing
    s = path.s0[ends.piece] + ends.u
    span = np.searchsorted(path.span_first, ends.piece, "right") - 1
    k = np.clip(np.searchsorted(timing.s, s, "right") - 1, timing.first[span], timing.first[span + 1] - 1)
    way, v, u = np.maximum(s - timing.s[k], 0.0), timing.v[k], timing.u[k]
    speed = np.sqrt(np.maximum(v * v + 2.0 * u * way, 0.0))
    t = timing.t[k] + 2.0 * way / np.maximum(v + speed, LEAST_SPEED)
    after = timing.t[np.minimum(k + 1, len(timing.t) - 1)]
    inside = np.flatnonzero((way > 0.0) & (k + 1 < timing.first[span + 1]) & (t < after))
    k = k[inside]
    first = timing.first + np.searchsorted(k, timing.first)
    return replace(
        timing,
        t=np.insert(timing.t, k + 1, t[inside]),
        s=np.insert(timing.s, k + 1, s[inside]),
        v=np.insert(timing.v, k + 1, speed[inside]),
        u=np.insert(timing.u, k + 1, u[inside]),
        cause=np.insert(timing.cause, k + 1, timing.cause[k]),
        first=first,
    )


def _moves_at(path: ToolPath, piece: Ints, u: Array) -> Lines:
    """Return the moves (n,) to which ``u`` of pieces belong: a corner to the one that ends in it."""
    move: Lines = path.move[piece]
    at = np.flatnonzero(path.kind[piece] >= EDGE)
    if at.size:
        move[at] = path.move_at(piece[at], u[at])
    return move


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
        middle = np.maximum(timing.s[part] - path.s0[piece], 0.0) + 0.5 * np.maximum(way, 0.0)
        place[part], cause[part] = back[_moves_at(path, piece, middle)], why
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
        move = _moves_at(path, place.piece, place.u)
        np.maximum.at(out, back[move], _size(path, place, turning[move]) * motion.speed)
    ends = path.ends
    for part in windows(len(ends.move), BLOCK):  # a move of a chain may lie between two of these times
        last: Ints = ends.move[part].astype(np.int64)
        place = PathPlace(piece=ends.piece[part], u=ends.u[part])
        size = _size(path, place, turning[last]) * timing.motion(timing.end_ticks(path, last)).speed
        np.maximum.at(out, back[last], size)
        next_too = np.flatnonzero(ends.move[1:][part] == last[: len(ends.move[1:][part])] + 1)
        np.maximum.at(out, back[last[next_too] + 1], size[next_too])
    return out


def _size(path: ToolPath, place: PathPlace, turning: Flags) -> Array:
    """Return how far the tip goes, or the tool turns where ``turning`` (n,), for a unit of the path at places (n,)."""
    q = path.evaluate(place.piece, place.u, 1, 1)[0]
    half = np.where(turning, q[3:], q[:3])
    out: Array = np.sqrt(np.einsum("ij,ij->j", half, half))
    return out


def _travel(path: ToolPath, move: Lines) -> Array:
    """Return how far the tip goes on moves (n,), or how far the tool turns where the tip stays, for inverse time."""
    k = np.minimum(np.searchsorted(path.move, move), max(path.count - 1, 0))
    q = path.evaluate(k, np.zeros(len(k)), 1, 1)[0]
    tip, tilt = (np.sqrt(np.einsum("ij,ij->j", x, x)) for x in (q[:3], q[3:]))
    out: Array = path.length[move] * np.where(tip > 0, tip, tilt)
    return out
