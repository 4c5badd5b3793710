"""Single straight moves from rest to rest against another optimiser: the double S is the optimum, up to whole ticks."""

import pytest
from feed.jobs import along_x, machine, pauses

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
