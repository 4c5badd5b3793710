"""The strut-limited schedule: every sample keeps every limit of every strut, and no mode is slower than it must be."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import FRAME, MACHINE, along_x, circle, lines, norm, pauses
from feed.test_plan import SEEDS, random_moves
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.feed.plan import plan
from hexpost.kinematics.struts import StrutModel
from hexpost.path.build import build
from hexpost.setpoints.sample import sample
from hexpost.setpoints.solve import Solver

MODEL = StrutModel(MACHINE).in_frame(FRAME.base_from_work, FRAME.tip)


def with_struts(speed=1.0, acceleration=1.0, jerk=1.0, /, period=1e-3, **limits):
    """Return the demonstration machine with strut limits scaled by these shares."""
    struts = tuple(
        replace(s, speed=s.speed * speed, acceleration=s.acceleration * acceleration, jerk=s.jerk * jerk)
        for s in MACHINE.struts
    )
    return replace(MACHINE, period=period, struts=struts, tool_tip=replace(MACHINE.tool_tip, **limits))


def planned(moves, on, mode="strut-limited"):
    """Return path and timing."""
    path = build(moves, on)
    return path, plan(path, moves, pauses(), on, mode)


def uses(moves, on, mode="strut-limited", plans=planned):
    """Return ticks, and the largest use of speed, acceleration and jerk limits at the setpoints."""
    path, timing = plans(moves, on, mode)
    solver, most = Solver(on, moves.frames), np.zeros(3)
    limit = [np.array([[getattr(s, n)] for s in on.struts]) for n in ("speed", "acceleration", "jerk")]
    for poses in sample(timing, path, moves):
        s = solver.solve(poses)
        use = [np.abs(x / y).max() for x, y in zip((s.speed, s.acceleration, s.jerk), limit, strict=True)]
        most = np.maximum(most, use)
    return timing.ticks, most


def between_ticks(moves, on, times=20, mode="strut-limited", plans=planned):
    """Return the largest use of strut speed, acceleration and jerk at ``times`` the control rate."""
    path, timing = plans(moves, on, mode)
    tick = np.arange(timing.ticks * times + 1) / times
    motion = timing.motion(tick)
    place = timing.locate(path, motion)
    q0, q1, q2 = path.evaluate(place.piece, place.u, 2)
    v = motion.speed
    _, speed, acceleration = MODEL.derivatives([q0, q1 * v, q1 * motion.acceleration + q2 * v * v])
    jerk = np.diff(acceleration, axis=1) / (on.period / times)
    names = ("speed", "acceleration", "jerk")
    limit = [np.array([[getattr(s, n)] for s in on.struts]) for n in names]
    return [np.abs(x / y).max() for x, y in zip((speed, acceleration, jerk), limit, strict=True)]


SHARES = st.tuples(*[st.floats(-2.5, 0.0)] * 3).map(lambda e: [10.0**x for x in e])


@given(SEEDS, SHARES)
@settings(max_examples=10, deadline=None)
def test_every_setpoint_keeps_every_limit_of_every_strut(seed, shares):
    _, most = uses(random_moves(seed), with_struts(*shares))
    assert (most <= 1.0).all(), most


def test_a_bound_that_is_lowered_where_the_speed_stays_is_looked_at_again():
    _, most = uses(random_moves(1387505046, 6), with_struts(0.0451, 1.362, 0.04063, period=0.01))
    assert (most <= 1.0).all(), most


@given(SEEDS, SHARES)
@settings(max_examples=4, deadline=None)
def test_at_twenty_times_the_rate_no_limit_is_exceeded(seed, shares):
    assert max(between_ticks(random_moves(seed, 5), with_struts(*shares))) <= 1.0


@given(SEEDS)
@settings(max_examples=6, deadline=None)
def test_struts_that_are_never_felt_change_nothing(seed):
    moves = random_moves(seed)
    free = with_struts(1e6, 1e6, 1e6)
    limited, programmed = planned(moves, free)[1].ticks, planned(moves, free, "as-programmed")[1].ticks
    assert 0.9 * programmed <= limited <= 1.02 * programmed + 3  # shorter stretches are corrected more finely


@pytest.mark.parametrize("mode", ["as-programmed", "strut-limited"])
@pytest.mark.parametrize("shares", [(0.3, 1, 1), (1, 0.2, 1), (1, 1, 0.1), (0.3, 0.2, 0.05)])
def test_rapids_stay_two_percent_under_the_struts_in_both_modes_and_come_near_it(mode, shares):
    points = np.array([[-100.0, 150.0], [-60.0, 80.0], [-50.0, 90.0], [-0.1, 0.1], [0.05, -0.1], [0.0, 0.2]])
    _, most = uses(lines(points, np.inf), with_struts(*shares), mode)
    assert most.max() <= 0.98 + 1e-6
    assert most.max() >= 0.8


def test_a_feed_move_is_as_programmed_until_the_struts_are_asked():
    on = with_struts(0.02, 0.02, 0.02)
    _, most = uses(along_x(60.0, 200.0), on, "as-programmed")
    assert most.max() > 1.0
    _, most = uses(along_x(60.0, 200.0), on)
    assert most.max() <= 1.0


def test_a_circle_that_the_struts_hold_runs_near_their_limit():
    on = with_struts(0.1, 0.1, 0.1)
    _, most = uses(circle(40.0, 6 * np.pi, 1000.0), on)
    assert 0.95 <= most.max() <= 1.0


@pytest.mark.parametrize("share", [1e-3, 1e-5])
def test_limits_far_too_small_and_moves_of_a_micrometre_never_fail(share):
    rng = np.random.default_rng(7)
    q = np.zeros((6, 40))
    q[:3] = np.cumsum(rng.normal(size=(3, 40)) * 1e-3, axis=1)
    on = with_struts(share, share, share, period=0.01)
    ticks, most = uses(lines(q, 50.0, rng.random(39) < 0.3), on)
    assert (most <= 1.0).all()
    assert ticks > 0


def test_a_strut_that_does_not_move_is_no_trouble():
    # A turn about the line through a strut's platform joint leaves that strut all but still.
    q = np.zeros((6, 2))
    q[5, 1] = 0.2
    _, most = uses(lines(q, np.inf), with_struts(0.1, 0.1, 0.1))
    assert most.max() <= 0.98 + 1e-6


@given(SEEDS)
@settings(max_examples=3, deadline=None)
def test_the_schedule_is_not_slower_than_the_programmed_feed_that_happens_to_be_safe(seed):
    moves = random_moves(seed, 6)
    on = with_struts(0.05, 0.05, 0.05)
    limited = planned(moves, on)[1].ticks
    for share in (0.5, 0.25, 0.12, 0.06, 0.03):
        slow = replace(moves, feed=moves.feed * share)
        ticks, most = uses(slow, on, "as-programmed")
        if most.max() <= 1.0:
            assert limited <= ticks * 1.02 + 2 * len(moves.feed)
            break
    assert norm(moves.end - moves.start).sum() > 0
