"""The least time that any motion takes: never above what a schedule, linear programs or brute force find, and near."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import FAR, along_x, circle, lines, machine, pauses
from feed.linear_programs import optimum
from feed.test_optimum import helix, ramp
from feed.test_plan import SEEDS, random_moves
from feed.test_slowing import ruckig_seconds
from feed.test_strut_limited import MODEL, SHARES, planned, with_struts
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, vstack

from hexpost.feed.least import least_seconds
from hexpost.feed.optimal import shortened
from hexpost.feed.plan import plan
from hexpost.feed.task import MODES
from hexpost.path.build import build


def least(moves, on, mode="strut-limited"):
    """Return a time that nothing goes below, and the schedule's own."""
    path, timing = planned(moves, on, mode)
    return least_seconds(timing, path, moves, on, mode, struts=True), timing.ticks * timing.period, path, timing


@given(SEEDS, SHARES, st.sampled_from(MODES), st.booleans())
@settings(max_examples=20, deadline=None)
def test_no_schedule_goes_below_it(seed, shares, mode, effort):
    moves, on = random_moves(seed, 5), replace(with_struts(*shares), effort=effort)
    bound, taken, path, timing = least(moves, on, mode)
    if mode == "strut-limited":
        taken = shortened(path, timing, moves, on).ticks * timing.period
    assert 0.0 < bound <= taken


@given(SEEDS, st.sampled_from([0.3, 2.0]))
@settings(max_examples=8, deadline=None)
def test_nor_where_limits_are_others_for_slowing_down(seed, ratio):
    on = with_struts(0.5, 0.1, 0.5)
    tip = replace(on.tool_tip, deceleration=ratio * on.tool_tip.acceleration)
    struts = tuple(replace(s, deceleration=ratio * s.acceleration) for s in on.struts)
    bound, taken, *_ = least(random_moves(seed, 5), replace(on, tool_tip=tip, struts=struts))
    assert 0.0 < bound <= taken


@pytest.mark.parametrize(
    ("moves", "shares"),
    [
        (helix(60.0, 3 * np.pi, 2000.0, 30.0, (0.2, -0.15)), (0.1, 0.1, 0.2)),
        (helix(120.0, np.pi, 2000.0, 20.0, (0.3, 0.3)), (1.0, 0.05, 1.0)),
        (helix(60.0, 3 * np.pi, 200.0, 30.0, (0.2, -0.15)), (1.0, 1.0, 1.0)),
        (ramp(2000.0), (0.2, 0.1, 0.1)),
        (ramp(2000.0), (1.0, 0.1, 1.0)),
    ],
)
def test_linear_programs_find_nothing_below_it(moves, shares):
    bound, taken, path, timing = least(moves, with_struts(*shares))
    motion = timing.motion(np.arange(4 * timing.ticks + 1) / 4)
    best = optimum(path, MODEL, with_struts(*shares), float(moves.feed[0]), (motion.s, motion.speed))
    assert bound <= 1.005 * best  # programs of 250 nodes do not see the first step: some 0.5 % (test_optimum.py)
    assert bound <= taken
    assert bound >= 0.6 * best


def without_jerk(moves, on, nodes=1500):
    """Return the least time of one piece under limits of speed and acceleration alone, by one linear program.

    Of all profiles of the speed squared x the largest anywhere is the fastest: the greatest sum of x. Struts alone.
    """
    path, _ = planned(moves, on)
    s = np.linspace(0.0, path.s0[-1], nodes)
    piece = np.clip(np.searchsorted(path.s0, s, "right") - 1, 0, path.count - 1)
    q = path.evaluate(piece, s - path.s0[piece], 2)
    _, slope, bend = MODEL.derivatives([q[0], q[1], q[2]])
    step = s[1] - s[0]
    most = np.array([x.acceleration for x in on.struts])
    cap = np.min([(x.speed / np.maximum(np.abs(slope[k]), 1e-9)) ** 2 for k, x in enumerate(on.struts)], axis=0)
    cap = np.minimum(cap, float(moves.feed[0]) ** 2)
    cap[[0, -1]] = 0.0
    rows, right, n = [], [], np.arange(nodes - 1)
    for k in range(6):
        middle, bent = 0.5 * (slope[k, 1:] + slope[k, :-1]), 0.5 * (bend[k, 1:] + bend[k, :-1])
        before, after = 0.5 * bent - middle / (2 * step), 0.5 * bent + middle / (2 * step)
        one = coo_matrix(
            (np.concatenate([before, after]), (np.concatenate([n, n]), np.concatenate([n, n + 1]))),
            shape=(nodes - 1, nodes),
        )
        rows += [one, -one]
        right += [np.full(2 * (nodes - 1), most[k])]
    found = linprog(-np.ones(nodes), A_ub=vstack(rows).tocsr(), b_ub=np.concatenate(right), bounds=np.c_[0 * cap, cap])
    root = np.sqrt(np.maximum(found.x, 0.0))
    return float((2.0 * step / (root[1:] + root[:-1])).sum())


@pytest.mark.parametrize(
    ("moves", "shares"),
    [
        (circle(40.0, 4 * np.pi, 1000.0), (0.2, 0.1, 1e6)),
        (circle(60.0, np.pi, 400.0), (1.0, 0.05, 1e6)),
        (ramp(2000.0), (0.5, 0.05, 1e6)),
    ],
)
def test_one_linear_program_without_jerk_takes_as_long_or_little_longer(moves, shares):
    far = {
        "speed": FAR,
        "acceleration": FAR,
        "jerk": FAR,
        "tilt_speed": 1e4,
        "tilt_acceleration": FAR,
        "tilt_jerk": FAR,
    }
    on = with_struts(*shares, **far)
    bound, *_ = least(moves, on)
    best = without_jerk(moves, on)
    assert 0.85 * best <= bound <= 1.002 * best


@given(st.floats(0.5, 300), st.floats(20, 500), st.floats(500, 9000), st.floats(4.0, 6.0).map(lambda x: 10.0**x))
@settings(max_examples=30, deadline=None)
def test_of_a_lone_straight_it_is_the_optimum_in_whole_ticks(d, v, a, j):
    on = machine(1e-3, speed=v, acceleration=a, jerk=j)
    bound, taken, *_ = least(along_x(d, v), on, "as-programmed")
    best = ruckig_seconds(d, v, a, a, j)
    assert (1 - 1.5e-4) * best <= bound <= best + 1e-3
    assert bound <= taken


def test_dwells_and_stops_count():
    moves = lines(np.array([[0.0, 40.0, 40.0], [0.0, 0.0, 30.0], *[[0.0] * 3] * 4]), 50.0, stop=True)
    on = machine(1e-3)
    path = build(moves, on)
    timing = plan(path, moves, pauses((0, 1), (0.25, 0.5)), on)
    bound = least_seconds(timing, path, moves, on, "as-programmed", struts=True)
    assert bound == pytest.approx(timing.ticks * 1e-3, abs=0.012)
    assert 0.75 + 70.0 / 50.0 < bound <= timing.ticks * 1e-3
