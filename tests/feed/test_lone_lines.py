"""Lone straights in six coordinates against the best seven-segment profile that a search of scipy finds."""

import numpy as np
import pytest
from feed.jobs import MACHINE, lines, pauses
from feed.lone_lines import best_time, lone_line
from feed.test_strut_limited import uses

from hexpost.feed.plan import plan
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
