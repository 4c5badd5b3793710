"""A job planned in portions of whole spans is the job planned as a whole, and keeps the same limits."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from feed.jobs import MACHINE, norm, pauses, run
from feed.test_plan import JERK_LEFT, SEEDS, random_moves
from hypothesis import given, settings

from hexpost.feed import portions
from hexpost.feed.model import TooLongError
from hexpost.feed.plan import plan
from hexpost.feed.task import MODES, STRUT_LIMITED
from hexpost.path.build import build

DWELLS = pauses((-1, 6, 13, 13, 59), (0.1, 0.2, 0.05, 0.3, 0.4))


def stopping_moves(seed, n=60):
    """Return random moves, with a rest after every seventh."""
    moves = random_moves(seed, n)
    return replace(moves, stop=moves.stop | (np.arange(n) % 7 == 6))


def planned(moves, events, mode, portion):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(portions, "PORTION", portion)
        path = build(moves, MACHINE)
        return path, portions.portions(path), plan(path, moves, events, MACHINE, mode)


@pytest.mark.parametrize("mode", MODES)
@given(SEEDS)
@settings(max_examples=6, deadline=None)
def test_portions_give_the_timing_of_the_whole(mode, seed):
    """Spans differ by a tick where a correction came in another round: rounds are counted for all spans together.

    Where struts hold, one that comes to a limit to the last digit as programmed may be planned so here and not there.
    """
    moves = stopping_moves(seed)
    path, one, whole = planned(moves, DWELLS, mode, 10**6)
    _, several, parts = planned(moves, DWELLS, mode, 10)
    assert len(one) == 1 and len(several) > 3
    assert one[0][0] == several[0][0] == 0 and one[-1][1] == several[-1][1] == len(path.span_first) - 1
    assert np.array_equal(parts.programmed, whole.programmed) and np.array_equal(parts.s_end, whole.s_end)
    ticks = whole.end - whole.start[:-1]
    apart = np.abs((parts.end - parts.start[:-1]) - ticks) > 1 + 1e-3 * ticks
    assert apart.sum() <= (mode == STRUT_LIMITED)
    a, b = whole.pauses, parts.pauses
    assert np.array_equal(b.end - b.start, a.end - a.start) and np.array_equal(b.line, a.line)
    assert np.array_equal(np.searchsorted(parts.end, b.start), np.searchsorted(whole.end, a.start))
    assert np.array_equal(parts.start[1:] - parts.end, whole.start[1:] - whole.end)
    rest = parts.motion(parts.end.astype(np.float64))
    assert rest.rest.all() and np.array_equal(rest.s, whole.s_end)


@given(SEEDS)
@settings(max_examples=6, deadline=None)
def test_portions_keep_the_limits(seed):
    tip, near = MACHINE.tool_tip, 1 + 1e-6
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(portions, "PORTION", 10)
        r = run(stopping_moves(seed), events=DWELLS)
    assert norm(r.rate).max() <= tip.speed * near
    assert norm(r.acceleration).max() <= tip.acceleration * near
    assert norm(np.diff(r.acceleration, axis=1)).max() <= tip.jerk * JERK_LEFT * r.period
    assert (np.diff(r.tick) == 1).all()


def test_every_portion_is_whole_spans_and_long_enough():
    path, several, _ = planned(random_moves(5, 400), pauses(), MODES[0], 30)
    assert len(several) > 3 and all(b == a for (_, b), (a, _) in pairwise(several))
    assert all(path.span_first[b] - path.span_first[a] >= 30 for a, b in several)


def test_a_span_longer_than_a_portion_stays_whole():
    moves = replace(random_moves(5, 200), stop=np.arange(200) == 199)
    path, several, timing = planned(moves, pauses(), MODES[0], 1)
    assert len(several) == len(path.span_first) - 1 == len(timing.end)


@pytest.mark.parametrize("mode", MODES)
def test_a_job_that_takes_more_ticks_than_are_wanted_is_refused_and_no_bound_changes_a_timing(mode):
    moves = stopping_moves(3)
    path = build(moves, MACHINE)
    free = plan(path, moves, DWELLS, MACHINE, mode)
    held = plan(path, moves, DWELLS, MACHINE, mode, most_ticks=free.ticks)
    assert np.array_equal(held.t, free.t) and np.array_equal(held.end, free.end)
    for most in (free.ticks - 1, free.ticks // 2, 1):
        with pytest.raises(TooLongError):
            plan(path, moves, DWELLS, MACHINE, mode, most_ticks=most)
