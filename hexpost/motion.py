"""The path and its timing: dense chains become smooth curves where planning finds that they gain."""

from contextlib import closing

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.model import Timing
from hexpost.feed.patches import patched
from hexpost.feed.plan import dwells, plan
from hexpost.feed.task import AS_PROGRAMMED, SMALL, STRUT_LIMITED
from hexpost.machine.model import Machine
from hexpost.moves.model import Events, Moves
from hexpost.path.model import ToolPath
from hexpost.path.runs import FEWEST, beside, runs
from hexpost.path.splice import CurveStore, SmoothCurve, spliced
from hexpost.shelf import LONG, running_sum
from hexpost.workers.ordered import ordered

LOSS = 0.01
"""A chain that loses, or would gain, a smaller share of its time is left as it is."""
MANY = 10_000
"""Moves of chains from which more than one process is worth its start."""


def motion(
    path: ToolPath,
    moves: Moves,
    events: Events,
    machine: Machine,
    mode: str = AS_PROGRAMMED,
    *,
    most_ticks: float = np.inf,
    workers: int = 1,
) -> tuple[ToolPath, Timing]:
    """Return a path of ``moves``, as it was built or with chains smoothed, and its timing; arguments as in ``plan``.

    Dense chains are smoothed where that gains: what loses time against its feeds is planned again as a smooth curve,
    and stays one if it is faster and the whole from stop to stop is no slower. Chains are smoothed, and parts of very
    long spans planned, on ``workers``.
    What keeps the limits of the struts is run at the optimum where that gains.

    Raises
    ------
    TooLongError
        The job takes more than ``most_ticks``.
    """
    path, timing = _smoothed(path, moves, events, machine, mode, most_ticks=most_ticks, workers=workers)
    if mode == STRUT_LIMITED:
        from hexpost.feed.optimal import shortened  # scipy, where it is needed

        timing = shortened(path, timing, moves, machine)
    return path, timing


def _smoothed(
    path: ToolPath, moves: Moves, events: Events, machine: Machine, mode: str, *, most_ticks: float, workers: int
) -> tuple[ToolPath, Timing]:
    """Return the path with the chains smoothed that gain by it, and its timing."""
    timing = plan(path, moves, events, machine, mode, most_ticks=most_ticks, workers=workers)
    curves = _curves(path, timing, moves, machine, workers)
    known = [(path, timing)]
    while curves:
        other, faster = spliced(path, curves), None
        if mode == AS_PROGRAMMED and len(known) > 1 and SMALL < other.count <= LONG:
            rests = dwells(other, events, machine.period)
            faster = patched(other, known, moves, machine, rests, most_ticks=most_ticks)
        if faster is None:
            faster = plan(
                other, moves, events, machine, mode, most_ticks=most_ticks, rather=timing.window, workers=workers
            )
        known.append((other, faster))
        good = _gain(curves, known[0], known[-1])
        if good.all():
            return known[-1]
        curves = [c for c, stays in zip(curves, good, strict=True) if stays]
    return path, timing


def _curves(path: ToolPath, timing: Timing, moves: Moves, machine: Machine, workers: int) -> list[SmoothCurve]:
    """Return the curves of the chains that lose time against their feeds."""
    first: Ints = path.move[path.span_first[:-1]].astype(np.int64)
    last = np.append(first[1:], moves.count) - 1
    asked = running_sum(path.count, lambda w: path.size[w] / timing.programmed[w])
    lost = _lost(path, timing, asked, path.span_first[:-1], path.span_first[1:])
    chains: list[tuple[int, int]] = []
    for k in np.flatnonzero((last - first + 1 >= FEWEST) & lost).tolist():
        for a, b in runs(moves, machine, int(first[k]), int(last[k]) + 1):
            low, high = np.searchsorted(path.move, (a, b + 1))
            if _lost(path, timing, asked, np.array([low]), np.array([high]))[0]:
                chains.append((a, b))
    if not chains:
        return []
    from hexpost.path.chains import smooth  # scipy, where it is needed

    def curve(chain: tuple[int, int]) -> SmoothCurve | None:
        return smooth(moves, *chain, beside(path, moves, *chain, machine), machine)

    crew = min(workers, len(chains)) if sum(b - a for a, b in chains) >= MANY else 1
    out = CurveStore(moves.count)
    with closing(ordered(iter(chains), curve, crew)) as found:
        for one in found:
            if one is not None:
                out.add(one)
    return out.whole()


def _lost(path: ToolPath, timing: Timing, asked: Array, low: Ints, high: Ints) -> Flags:
    """Return where pieces ``low`` to ``high`` (n,) (left out) take longer than by their feeds, ``asked`` (p + 1,)."""
    seconds = _at(path, timing, high - 1, end=True) - _at(path, timing, low, end=False)
    out: Flags = seconds - (asked[high] - asked[low]) > LOSS * seconds
    return out


def _gain(curves: list[SmoothCurve], one: tuple[ToolPath, Timing], other: tuple[ToolPath, Timing]) -> Flags:
    """Return which curves (c,) make the path faster, and what is between their stops no slower."""
    first = np.array([c.first - (c.before > 0.0) for c in curves])
    last = np.array([c.last + (c.after > 0.0) for c in curves])
    seconds, ticks = [], []
    for path, timing in (one, other):
        a, b = np.searchsorted(path.move, first), np.searchsorted(path.move, last, "right") - 1
        seconds.append(_at(path, timing, b, end=True) - _at(path, timing, a, end=False))
        span = np.searchsorted(path.span_first, a, "right") - 1
        ticks.append(timing.end[span] - timing.start[span])
    out: Flags = (seconds[1] < (1.0 - LOSS) * seconds[0]) & (ticks[1] <= ticks[0])
    return out


def _at(path: ToolPath, timing: Timing, piece: Ints, *, end: bool) -> Array:
    """Return the times [s] at which pieces (n,) begin or end, before the speed is averaged."""
    span = np.searchsorted(path.span_first, piece, "right") - 1
    s = path.s0[piece + int(end)]
    k = np.searchsorted(timing.s, s, "right") - 1
    k = np.clip(k, timing.first[span], timing.first[span + 1] - 1)
    way, v = np.maximum(s - timing.s[k], 0.0), timing.v[k]
    root = np.sqrt(np.maximum(v * v + 2.0 * timing.u[k] * way, 0.0))
    out: Array = timing.t[k] + 2.0 * way / np.maximum(v + root, 1e-300)
    return out
