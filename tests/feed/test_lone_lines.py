"""Lone straights in six coordinates against the best seven-segment profile that a search of scipy finds."""

import numpy as np
import pytest
from feed.jobs import MACHINE, lines, pauses
from feed.lone_lines import best_time, lone_line
from feed.test_strut_limited import uses

from hexpost.feed.bounds import as_programmed, speed_caps
from hexpost.feed.plan import _constant, plan
from hexpost.feed.ramps import Rests
from hexpost.feed.straights import _profile, _slowed, _slower
from hexpost.feed.task import STRUT_LIMITED, task_of
from hexpost.path.build import build


@pytest.mark.parametrize(
    "seed", [3, 13, 17, 22, 25, *(pytest.param(k, marks=pytest.mark.long) for k in range(100, 140))]
)
def test_no_seven_segment_profile_is_one_percent_faster(seed):
    case = lone_line(seed)
    path = build(case.moves, case.on)
    timing = plan(path, case.moves, pauses(), case.on)
    best = best_time(case)
    assert timing.ticks * case.on.period <= 1.01 * best


@pytest.mark.parametrize("seed", [25, 13])
def test_rows_of_a_line_keep_the_struts_and_come_near_a_limit(seed):
    case = lone_line(seed, period=1e-3)
    _, most = uses(case.moves, case.on, "as-programmed")
    assert 0.97 <= most.max() <= 0.98 + 1e-6


def test_a_line_in_the_middle_of_others_takes_as_long_as_alone():
    # The place where a line ends was once looked at as the place where the next begins, at the speed of the first.
    rng = np.random.default_rng(1)
    q = np.concatenate([rng.uniform(-30, 30, (3, 101)), 0.2 * rng.uniform(-1, 1, (3, 101))])[:, 20:32]
    whole = lines(q, np.inf)
    timing = plan(build(whole, MACHINE), whole, pauses(), MACHINE)
    for k, ticks in enumerate(timing.end - timing.start[:-1]):
        one = lines(q[:, k : k + 2], np.inf)
        assert plan(build(one, MACHINE), one, pauses(), MACHINE).ticks == ticks


def as_one_stretch(seed):
    """Return a lone line without the struts, with shares of its limits left for them, and what it is planned with."""
    case = lone_line(seed)
    path, none = build(case.moves, case.on), np.zeros(0, dtype=np.int64)
    task, st, norms = task_of(path, case.moves, case.on, STRUT_LIMITED, Rests(span=none, ticks=none, line=none))
    one = np.ones(1, dtype=bool)
    free = as_programmed(speed_caps(path, case.moves, case.on.tool_tip, norms), path, case.on.tool_tip, norms)
    return free, _constant(st, one, task), task


@pytest.mark.parametrize("seed", range(8))
def test_constant_limits_of_a_line_leave_what_its_bent_lengths_take(seed):
    _, st, task = as_one_stretch(seed)
    shares, piece = task.limits.shares, st.piece
    a1, a2, j1, j2, j3 = (x[piece] for x in (shares.a1, shares.a2, shares.j1, shares.j2, shares.j3))
    half, top = 0.5 * st.size, np.minimum(st.cap, st.up * st.size)
    v = np.sqrt(np.minimum(top, np.cbrt(st.jerk * half**2) ** 2))
    assert (a1 * st.up + a2 * v**2 <= 1.0).all()
    used = j1 * st.jerk + 3.0 * j2 * v * st.up + j3 * v**3
    assert (used <= 1.0 + 1e-9).all()


@pytest.mark.parametrize("seed", range(8))
def test_a_line_that_struts_hold_is_slowed_until_they_keep_their_limits_and_no_further(seed):
    free, _, task = as_one_stretch(seed)
    slow = _slowed(free, _profile(free, task.period), task)
    use = _slower(slow, _profile(slow, task.period), task).max()
    assert 0.9 < use <= 1.02  # the average is in whole ticks again
