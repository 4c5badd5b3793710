"""Spans at their optimum: an interior-point method shortens schedules that lose time against it.

What planning found is the reference. How much faster it can be run, place by place, is a convex program (``interior``);
the result is laid on ticks, looked at between them as every draft is, and taken only where it keeps all limits and is
shorter. What is over is made slower where it is, and the program solved again; what then is left, as a whole.

What that may take is counted, not timed, so that every computer decides alike.
"""

from dataclasses import replace
from typing import Any

import numpy as np

from hexpost.arrays import Array
from hexpost.feed.attainable import least_seconds
from hexpost.feed.correct import weighed
from hexpost.feed.interior import STEPS, fastest, start
from hexpost.feed.model import STRUT, TILT_ACCELERATION, TILT_JERK, TIP_ACCELERATION, TIP_JERK, Timing
from hexpost.feed.ramps import Rests
from hexpost.feed.reference import Reference
from hexpost.feed.task import SMALL, STRUT_LIMITED, Task, task_of
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ToolPath
from hexpost.shelf import joined, running_sum

GAIN = 0.01
"""Least share of the time of a span that a bound must leave, and that must be gained; with all effort any tick."""
SHARE = 0.1
"""Most of the time of a span that its planning may take, counted; with all effort there is no such bound."""
ONCE, PER_ROW, PER_TICK = 0.002, 2.5e-7, 1e-5
"""Seconds that a step takes beside its limits, that each of these takes, and a look at a tick: measured once."""
LEAST = 12
"""Fewest steps that a program may be allowed."""
CELL, CELL_BEST = 8e-3, 2.5e-3
"""Time of a cell of the reference, in s; the second with all effort."""
FEWEST, MOST = 60, 20_000
"""Cells of a span."""
LOOKED = 200_000
"""A span that takes more ticks has its speed set every so many of these parts of it."""
AGAIN, AGAIN_BEST, AS_A_WHOLE = 3, 6, 4
"""Times that a program is solved, slower where samples are over, with all effort, too; that a motion is as a whole."""
BELOW = 1.002
"""What is over is made slower until it uses so much less than all."""


def shortened(path: ToolPath, timing: Timing, moves: Moves, machine: Machine) -> Timing:
    """Return a strut-limited timing with spans of at most ``SMALL`` stretches run at the optimum where that gains.

    It must gain a hundredth of their time, and its planning take no more than a tenth of it, unless the machine is to
    be used with all ``effort``.
    """
    seconds = (timing.end - timing.start[:-1]) * timing.period
    pieces = np.diff(path.span_first)
    asked = running_sum(path.count, lambda w: path.size[w] / timing.programmed[w])[path.span_first]
    gain = np.diff(asked) < (1.0 if machine.effort else 1.0 - GAIN) * seconds
    enough = True if machine.effort else seconds > LEAST * ONCE / SHARE
    best: dict[int, Timing] = {}
    for span in np.flatnonzero(gain & enough & (pieces <= SMALL)).tolist() if not machine.calm else ():
        found = _shorter(path.spans(span, span + 1), timing, span, moves, machine)
        if found is not None:
            best[span] = found
    return _spliced(timing, best) if best else timing


def _shorter(path: ToolPath, timing: Timing, span: int, moves: Moves, machine: Machine) -> Timing | None:
    """Return a shorter timing of one span, whose ``path`` is given; ``None`` where none is found."""
    ticks = int(timing.end[span] - timing.start[span])
    seconds = ticks * timing.period
    most = ticks - 1 if machine.effort else int((1.0 - GAIN) * ticks)
    none = np.zeros(0, dtype=np.int64)
    task, st, _ = task_of(path, moves, machine, STRUT_LIMITED, Rests(span=none, ticks=none, line=none))
    if len(st.span) > SMALL or least_seconds(st, task) > most * timing.period:
        return None
    cells = int(np.clip(seconds / (CELL_BEST if machine.effort else CELL), FEWEST, MOST))
    window = -(-ticks // LOOKED)
    allowed = np.inf if machine.effort else SHARE * seconds
    try:
        with np.errstate(over="raise", invalid="raise", divide="raise"):
            return _shortest(Reference.of(timing, span, cells), task, window, most, allowed)
    except ArithmeticError:  # no room, or numbers out of range: the schedule stays as it was
        return None


def _shortest(ref: Reference, task: Task, window: int, most_ticks: int, allowed: float) -> Timing | None:
    """Return a timing of the one span of a task of at most so many ticks; ``allowed``: seconds of planning it."""
    limits, cells = ref.limits(task, window), len(ref.jerk)
    a_step = ONCE + sum(PER_ROW * x.state(np.ones(cells + 2)).slack.size for x in limits)
    look = PER_TICK * cells * ref.step / task.period
    d, left = start(limits, cells), allowed
    if left < LEAST * a_step + look:
        return None
    for _ in range(AGAIN_BEST if allowed == np.inf else AGAIN):
        d, _, steps = fastest(limits, d, int(min(STEPS, (left - look) / a_step)))
        left -= steps * a_step + look
        timing = ref.laid(d, task, window)
        slower, over = _over(ref, timing, task)
        if over == 1.0 or left < LEAST * a_step + look:
            break
        limits = [x.slower(slower) for x in limits]
    whole = 1.0
    for _ in range(AS_A_WHOLE):
        if over == 1.0 or timing.ticks > most_ticks:
            break
        whole *= over
        timing = ref.laid(d, task, window, slower=whole)
        over = _over(ref, timing, task)[1]
    return timing if over == 1.0 and timing.ticks <= most_ticks else None


def _over(ref: Reference, timing: Timing, task: Task) -> tuple[Array, float]:
    """Return by what factors cells (cells,) must be slower, those beside them, too, and the largest: 1 if none."""
    out = np.ones(len(ref.jerk))
    for motion, bad in weighed(timing, task.path, task.limits, None):
        cell = np.searchsorted(ref.s, motion.s[bad.motion] - task.path.s0[0], "right") - 1
        np.maximum.at(out, np.clip(cell, 0, len(out) - 1), (BELOW * bad.over) ** (1.0 / POWERS[bad.cause]))
    most = float(out.max())
    out[1:-1] = np.maximum(np.maximum(out[2:], out[:-2]), out[1:-1])
    return out, most


def _powers() -> Array:
    """Return, by code of a cause (256,), the power of speed with which the rate grows that it limits."""
    code = np.arange(256)
    out: Array = np.where(code >= STRUT, np.array([1.0, 2.0, 3.0, 2.0])[(code - STRUT) & 3], 1.0)
    out[[TIP_ACCELERATION, TILT_ACCELERATION]], out[[TIP_JERK, TILT_JERK]] = 2.0, 3.0
    return out


POWERS = _powers()


def _spliced(timing: Timing, best: dict[int, Timing]) -> Timing:
    """Return a timing with spans taken from others of that span alone, rising; what comes after is earlier."""
    count, spans = np.diff(timing.first), len(timing.end)
    ticks, window = timing.end - timing.start[:-1], timing.window.copy()
    for span, one in best.items():
        ticks[span], window[span], count[span] = one.ticks, one.window[0], len(one.t)
    start = timing.start[0] + np.concatenate([[0], np.cumsum(ticks + timing.start[1:] - timing.end)])
    earlier = timing.start - start
    columns: dict[str, list[Any]] = {name: [] for name in ("t", "s", "v", "u", "cause")}
    low = 0
    for span in [*best, spans]:
        run = slice(timing.first[low], timing.first[span])
        for name, parts in columns.items():
            parts.append(getattr(timing, name)[run] - (earlier[low] * timing.period if name == "t" else 0))
            if span < spans:
                parts.append(getattr(best[span], name) + (start[span] * timing.period if name == "t" else 0))
        low = span + 1
    shift = earlier[np.searchsorted(timing.end, timing.pauses.start, "right")]
    pauses = replace(timing.pauses, start=timing.pauses.start - shift, end=timing.pauses.end - shift)
    whole: dict[str, Any] = {name: joined(parts) for name, parts in columns.items()}
    return replace(
        timing,
        **whole,
        first=np.concatenate([[0], np.cumsum(count)]),
        start=start,
        end=start[:-1] + ticks,
        window=window,
        pauses=pauses,
    )
