"""The as-programmed schedule: bounds, window, running minima, corrections, ticks."""

import numpy as np

from hexpost.arrays import Ints
from hexpost.feed.bounds import as_programmed, lone_straights, shares
from hexpost.feed.correct import changed, correct
from hexpost.feed.model import Timing, whole_ticks
from hexpost.feed.ramps import Rests, lay
from hexpost.feed.windows import choose, settled, split
from hexpost.machine.model import Machine
from hexpost.moves.model import Events, Moves
from hexpost.path.model import ROUND, Path

ROUNDS = 12
"""Most corrections; what is left then stays, for the schedule shows an ordinary control and promises nothing."""

GENTLE = 3
"""After so many corrections what is still over is lowered twice as hard."""


def plan(path: Path, moves: Moves, events: Events, machine: Machine) -> Timing:
    """Return the timing of a path as an ordinary control would run it: programmed feed and tool-tip limits.

    Rapids run at the tool-tip limits, from rest to rest. A corner has the lower feed of its two moves. Never fails:
    all bounds hold for standing still, too.
    """
    period, tip = machine.period, machine.tool_tip
    rests = dwells(path, events, period)
    norms = path.norms_max()
    lone = lone_straights(path)
    whole = path.kind <= ROUND
    whole[path.span_first[lone]] = False
    st = as_programmed(path, moves, tip, norms)
    window = choose(st, whole, lone, period)
    seconds = window.astype(np.float64) * period
    now = settled(split(st, whole, seconds), lone, seconds).solved(seconds)
    timing = lay(now, window, rests, period)
    limits, where = shares(path, moves, tip, norms), None
    for k in range(ROUNDS):
        lower = correct(now.st, timing, path, limits, where, power=1.0 if k < GENTLE else 2.0)
        if lower is None:
            break
        before, now = now, lower.solved(seconds)
        timing = lay(now, window, rests, period)
        where = changed(before, now, timing)
    return timing


def dwells(path: Path, events: Events, period: float) -> Rests:
    """Return the dwells among the events, each after the span that ends with its move, in whole ticks."""
    here = np.flatnonzero(events.pause > 0)
    last: Ints = path.move[path.span_first[1:] - 1].astype(np.int64)
    move = events.move[here]
    span = np.minimum(np.searchsorted(last, move), len(last) - 1)
    return Rests(
        span=np.where(move < 0, -1, span),
        ticks=whole_ticks(events.pause[here], period),
        line=events.line[here].astype(np.int64),
    )
