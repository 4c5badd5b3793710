"""Against other optimisers: straight moves from rest to rest, up to whole ticks; smooth paths by linear programs."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import along_x, circle, lines, machine, pauses
from feed.linear_programs import optimum
from feed.test_strut_limited import MODEL, planned, with_struts
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hexpost.feed.bounds import as_programmed, speed_caps
from hexpost.feed.plan import plan
from hexpost.feed.ramps import durations
from hexpost.feed.windows import coasting, jerk_times
from hexpost.path.build import build


def ruckig_seconds(length, speed, acceleration, jerk):
    """Return the duration of a straight move from rest to rest by the other planner."""
    ruckig = pytest.importorskip("ruckig")
    ask, answer = ruckig.InputParameter(1), ruckig.Trajectory(1)
    ask.current_position, ask.target_position = [0.0], [float(length)]
    ask.max_velocity, ask.max_acceleration, ask.max_jerk = [float(speed)], [float(acceleration)], [float(jerk)]
    assert ruckig.Ruckig(1).calculate(ask, answer) in {ruckig.Result.Working, ruckig.Result.Finished}
    return answer.duration


def double_s(length, speed, acceleration, jerk, period=1e-3):
    """Return machine, move and path, and the closed form's duration in s before it is laid on ticks."""
    on, moves = machine(period, speed=speed, acceleration=acceleration, jerk=jerk), along_x(length, speed)
    path = build(moves, on)
    norms = path.norms_max()
    caps = speed_caps(path, moves, on.tool_tip, norms)
    st, lone = as_programmed(caps, path, on.tool_tip, norms), np.array([0])
    window = jerk_times(st, lone)
    return on, moves, path, float(durations(coasting(st.ramped(window), lone, window).solved(window))[0] + window[0])


STRAIGHTS = st.tuples(
    *(st.floats(*e).map(lambda x: 10.0**x) for e in [(-3.0, 3.0), (0.5, 3.0), (1.5, 4.5), (3.0, 6.5)])
)
"""Length, speed, acceleration, jerk: mm and s."""


@given(STRAIGHTS)
@example((500.0, 600.0, 6000.0, 6e4))
@example((0.05, 100.0, 6000.0, 6e5))
@settings(max_examples=60, deadline=None)
def test_ruckig_takes_as_long_from_rest_to_rest(straight):
    assert double_s(*straight)[-1] == pytest.approx(ruckig_seconds(*straight), rel=1e-9)


@given(STRAIGHTS, st.sampled_from([1e-3, 4e-3, 1.25e-4]))
@settings(max_examples=40, deadline=None)
def test_ticks_cost_a_straight_less_than_three_of_them_at_its_end(straight, period):
    # Window and duration are each rounded up to a tick; a longer window also makes the ramps a little longer.
    on, moves, path, exact = double_s(*straight, period)
    taken = plan(path, moves, pauses(), on).ticks * period
    assert exact - 1e-6 * period <= taken <= exact + 3 * period


FREE = {
    "speed": 1e5, "acceleration": 1e6, "jerk": 1e9, "tilt_speed": 1e3, "tilt_acceleration": 1e4, "tilt_jerk": 1e7
}  # fmt: skip
"""Limits of tip and tilt that are never felt."""


def helix(radius, turn, feed, rise=0.0, tilt=(0.0, 0.0)):
    """Return an arc whose tip rises and whose tool tilts on the way."""
    move = circle(radius, turn, feed)
    end = move.end.copy()
    end[2:5, 0] = rise, *tilt
    return replace(move, end=end)


def ramp(feed):
    """Return a straight move with a tool that tilts, across the middle of the work space."""
    return lines(np.array([[-150, 250], [-100, 150], [0, 40], [-0.2, 0.3], [0.1, -0.2], [0, 0]], dtype=float), feed)


def against_optimum(moves, on):
    """Return the duration of the strut-limited schedule over that of the fastest motion that linear programs find."""
    path, timing = planned(moves, on)
    motion = timing.motion(np.arange(4 * timing.ticks + 1) / 4)
    best = optimum(path, MODEL, on, float(moves.feed[0]), (motion.s, motion.speed))
    return timing.ticks * timing.period / best


@pytest.mark.parametrize(
    ("moves", "on"),
    [(helix(60.0, 3 * np.pi, 200.0, 30.0, (0.2, -0.15)), with_struts()), (ramp(150.0), with_struts(0.5, 0.5, 0.5))],
)
def test_where_the_feed_holds_at_most_three_percent_are_lost_against_linear_programs(moves, on):
    assert 0.995 < against_optimum(moves, on) < 1.03


@pytest.mark.parametrize(
    ("moves", "shares"),
    [
        (helix(60.0, 3 * np.pi, 2000.0, 30.0, (0.2, -0.15)), (0.1, 0.1, 0.2)),
        (helix(60.0, 4 * np.pi, 2000.0), (0.1, 0.05, 0.05)),
        (helix(60.0, 3 * np.pi, 2000.0, 30.0, (0.2, -0.15)), (1.0, 0.05, 1.0)),
        (helix(20.0, 4 * np.pi, 2000.0, 20.0), (1.0, 0.1, 0.1)),
        (helix(100.0, 2 * np.pi, 2000.0, 20.0, (0.3, 0.0)), (1.0, 0.02, 0.2)),
        (helix(120.0, np.pi, 2000.0, 20.0, (0.3, 0.3)), (1.0, 0.05, 1.0)),
        (helix(30.0, 1.5 * np.pi, 2000.0, 60.0, (0.2, 0.3)), (0.3, 0.1, 0.1)),
        (ramp(2000.0), (0.2, 0.1, 0.1)),
        (ramp(2000.0), (1.0, 0.1, 1.0)),
        (ramp(2000.0), (1.0, 0.02, 0.02)),
    ],
)
def test_where_struts_hold_at_most_eight_percent_are_lost_against_linear_programs(moves, shares):
    assert 0.995 < against_optimum(moves, with_struts(*shares, **FREE)) < 1.08
