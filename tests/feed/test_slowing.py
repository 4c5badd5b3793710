"""Other limits for slowing down than for speeding up: closed forms, ruckig, samples of random paths and machines."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from feed.jobs import FAR, MACHINE, along_x, circle, lines, machine, pauses, run
from feed.test_plan import SEEDS, random_moves
from feed.test_strut_limited import MODEL, planned
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.feed.plan import plan
from hexpost.feed.task import MODES
from hexpost.machine.model import ToolTip
from hexpost.path.build import build

RATIOS = st.sampled_from([0.2, 0.5, 0.8, 1.5, 3.0])
JERKS = st.floats(3.0, 6.5).map(lambda x: 10.0**x)


def trapezoid(d, v, a, b):
    """Return the time from rest to rest at ramps a and b: the textbook's trapezoid, or triangle where it is short."""
    peak = min(v, sqrt(2.0 * d * a * b / (a + b)))
    return d / peak + 0.5 * peak / a + 0.5 * peak / b


@pytest.mark.parametrize("slowing", [50.0, 100.0, 250.0])
@pytest.mark.parametrize("d", [0.3, 4.0, 60.0])
def test_without_a_jerk_that_is_felt_a_straight_takes_the_time_of_the_trapezoid(d, slowing):
    period = 1e-4
    r = run(along_x(d, 20.0), machine(period, speed=20.0, acceleration=100.0, deceleration=slowing, jerk=FAR))
    best = trapezoid(d, 20.0, 100.0, slowing)
    assert best - 1e-9 <= r.timing.ticks * period <= best + 2.01 * period
    a = r.acceleration[0]
    assert a.max() == pytest.approx(100.0, rel=1e-6)
    assert a.min() == pytest.approx(-slowing, rel=1e-6)


def ruckig_seconds(d, v, a, b, j):
    """Return the least time by the other planner."""
    ruckig = pytest.importorskip("ruckig")
    ask, answer = ruckig.InputParameter(1), ruckig.Trajectory(1)
    ask.current_position, ask.target_position = [0.0], [float(d)]
    ask.max_velocity, ask.max_jerk = [float(v)], [float(j)]
    ask.max_acceleration, ask.min_acceleration = [float(a)], [-float(b)]
    assert ruckig.Ruckig(1).calculate(ask, answer) in {ruckig.Result.Working, ruckig.Result.Finished}
    return answer.duration


@given(st.floats(0.5, 500), st.floats(20, 1000), st.floats(500, 20000), RATIOS, JERKS)
@settings(max_examples=60, deadline=None)
def test_a_straight_is_no_faster_than_ruckig_and_slower_by_at_most_six_percent(d, v, a, ratio, j):
    # Both ramps share one average; one of its own each would save up to 4.6 % (400 random ones, median 0).
    period, b = 1e-3, ratio * a
    r = run(along_x(d, v), machine(period, speed=v, acceleration=a, deceleration=b, jerk=j))
    best, taken = ruckig_seconds(d, v, a, b, j), r.timing.ticks * period
    assert best - 1e-9 <= taken <= 1.06 * best + 3 * period
    found = r.acceleration[0]
    assert found.max() <= a * (1 + 1e-9)
    assert -found.min() <= b * (1 + 1e-9)
    assert np.abs(np.diff(found)).max() / period <= j * (1 + 1e-6)


def of_the_tip(half, rate, acceleration, most, slow):
    """Return the largest use of a limit of tip or tilt: what slows it down counts by a limit of its own."""
    v, a = rate[half], acceleration[half]
    size = np.sqrt((v * v).sum(axis=0))
    along = (a * v).sum(axis=0)[size > 1e-9] / size[size > 1e-9]
    across = np.sqrt(np.maximum((a * a).sum(axis=0)[size > 1e-9] - along**2, 0.0))
    return float(np.hypot(across / most, np.where(along > 0.0, along / most, along / slow)).max(initial=0.0))


@given(SEEDS, RATIOS, RATIOS)
@settings(max_examples=15, deadline=None)
def test_tip_and_tilt_slow_down_no_harder_than_they_may(seed, tip, tilt):
    limits = MACHINE.tool_tip
    own = {"deceleration": tip * limits.acceleration, "tilt_deceleration": tilt * limits.tilt_acceleration}
    r = run(random_moves(seed), machine(**own))
    assert of_the_tip(slice(3), r.rate, r.acceleration, limits.acceleration, own["deceleration"]) <= 1.002
    assert of_the_tip(slice(3, 6), r.rate, r.acceleration, limits.tilt_acceleration, own["tilt_deceleration"]) <= 1.002


def slowing_struts(ratio, share=1.0):
    """Return the demonstration machine with struts whose accelerations are a share, and slow down otherwise."""
    struts = [
        replace(s, acceleration=share * s.acceleration, deceleration=ratio * share * s.acceleration)
        for s in MACHINE.struts
    ]
    return replace(MACHINE, struts=tuple(struts))


def of_struts(moves, on, mode, times=20):
    """Return ticks, and the largest use of the limits of struts that speed up and that slow down, between ticks too."""
    path, timing = planned(moves, on, mode)
    motion = timing.motion(np.arange(timing.ticks * times + 1) / times)
    place = timing.locate(path, motion)
    q0, q1, q2 = path.evaluate(place.piece, place.u, 2)
    v = motion.speed
    _, speed, pull = MODEL.derivatives([q0, q1 * v, q1 * motion.acceleration + q2 * v * v])
    faster = np.array([[s.acceleration] for s in on.struts])
    slower = np.array([[s.deceleration] for s in on.struts])
    return timing.ticks, np.abs(pull / np.where(speed * pull < 0.0, slower, faster)).max()


@given(SEEDS, RATIOS, st.sampled_from([0.03, 0.1, 0.4]))
@settings(max_examples=12, deadline=None)
def test_at_twenty_times_the_rate_no_strut_slows_down_harder_than_it_may(seed, ratio, share):
    assert of_struts(random_moves(seed, 6), slowing_struts(ratio, share), "strut-limited")[1] <= 1.0 + 1e-9


@pytest.mark.parametrize("mode", MODES)
def test_rapids_use_what_struts_may_when_they_slow_down(mode):
    moves = lines(np.array([[-100.0, 150.0], [-60.0, 80.0], [-50.0, 90.0], [0.0, 0.0], [0.0, 0.0], [0.0, 0.0]]), np.inf)
    ticks, use = of_struts(moves, slowing_struts(0.5, 0.2), mode)
    easy, _ = of_struts(moves, slowing_struts(1.0, 0.2), mode)
    hard, _ = of_struts(moves, slowing_struts(1.0, 0.1), mode)
    assert use <= 0.98 + 1e-6
    assert easy < ticks < 0.96 * hard


def test_a_circle_that_struts_hold_runs_by_the_lower_limit_where_they_turn_round():
    ticks, use = of_struts(circle(40.0, 6 * np.pi, 1000.0), slowing_struts(0.5, 0.1), "strut-limited")
    easy, _ = of_struts(circle(40.0, 6 * np.pi, 1000.0), slowing_struts(1.0, 0.1), "strut-limited")
    assert 0.9 <= use <= 1.0
    assert ticks >= 1.2 * easy


@pytest.mark.parametrize("mode", MODES)
def test_limits_that_are_as_for_speeding_up_change_nothing(mode):
    moves, tip = random_moves(11), MACHINE.tool_tip
    alike = replace(tip, deceleration=tip.acceleration, tilt_deceleration=tip.tilt_acceleration)
    assert isinstance(alike, ToolTip)
    same = replace(MACHINE, tool_tip=alike, struts=slowing_struts(1.0).struts)
    path = build(moves, MACHINE)
    one, two = (plan(path, moves, pauses(), on, mode) for on in (MACHINE, same))
    assert all((getattr(one, name) == getattr(two, name)).all() for name in ("t", "s", "v", "u", "cause", "window"))


@pytest.mark.parametrize("effort", [False, True])
def test_the_optimum_keeps_both_limits(effort):
    from hexpost.feed.optimal import shortened

    on = replace(slowing_struts(0.6, 0.1), effort=effort)
    moves = random_moves(5, 12)
    path, timing = planned(moves, on)
    better = shortened(path, timing, moves, on)
    assert better.ticks <= timing.ticks
    motion = better.motion(np.arange(better.ticks * 20 + 1) / 20)
    place = better.locate(path, motion)
    q0, q1, q2 = path.evaluate(place.piece, place.u, 2)
    v = motion.speed
    _, speed, pull = MODEL.derivatives([q0, q1 * v, q1 * motion.acceleration + q2 * v * v])
    most = np.array([[s.acceleration] for s in on.struts])
    assert np.abs(pull / np.where(speed * pull < 0.0, 0.6 * most, most)).max() <= 1.0 + 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_a_lone_line_is_no_slower_than_where_its_struts_may_never_do_more_than_they_may_when_they_slow_down(seed):
    """What keeps the lower limit both ways keeps both; and a line that no other limit holds uses one of them."""
    rng = np.random.default_rng(seed)
    ends = np.concatenate([rng.uniform(-60.0, 60.0, (3, 2)), 0.2 * rng.uniform(-1.0, 1.0, (3, 2))])
    moves, ratio = lines(ends, 300.0), (0.2, 0.5)[seed % 2]
    ticks, use = of_struts(moves, slowing_struts(ratio, 0.4), "strut-limited", 4)
    hard, _ = of_struts(moves, slowing_struts(1.0, 0.4 * ratio), "strut-limited", 4)
    assert ticks <= 1.01 * hard
    assert 0.9 <= use <= 1.0
