"""Against other optimisers: straight moves from rest to rest, up to whole ticks; smooth paths by linear programs."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import along_x, circle, lines, machine, pauses
from feed.linear_programs import optimum
from feed.test_strut_limited import MODEL, planned, with_struts

from hexpost.feed.plan import plan
from hexpost.path.build import build

PERIOD = 1e-6
"""So short that whole ticks all but vanish: window and duration are each rounded up to one."""


@pytest.mark.parametrize(
    ("length", "speed", "acceleration", "jerk"),
    [(500, 600, 6000, 6e4), (100, 600, 2000, 5e4), (10, 600, 6000, 6e4), (1, 600, 6000, 6e4), (0.05, 100, 6000, 6e5)],
)
def test_ruckig_takes_as_long_from_rest_to_rest(length, speed, acceleration, jerk):
    ruckig = pytest.importorskip("ruckig")
    ask, answer = ruckig.InputParameter(1), ruckig.Trajectory(1)
    ask.current_position, ask.target_position = [0.0], [float(length)]
    ask.max_velocity, ask.max_acceleration, ask.max_jerk = [float(speed)], [float(acceleration)], [float(jerk)]
    assert ruckig.Ruckig(1).calculate(ask, answer) in {ruckig.Result.Working, ruckig.Result.Finished}
    on, moves = machine(PERIOD, speed=speed, acceleration=acceleration, jerk=jerk), along_x(length, speed)
    taken = plan(build(moves, on), moves, pauses(), on).ticks * PERIOD
    assert answer.duration - 1e-9 <= taken <= answer.duration + 3 * PERIOD


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
        (ramp(2000.0), (0.2, 0.1, 0.1)),
    ],
)
def test_where_struts_hold_at_most_eight_percent_are_lost_against_linear_programs(moves, shares):
    assert 0.995 < against_optimum(moves, with_struts(*shares, **FREE)) < 1.08
