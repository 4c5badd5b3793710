"""The profile of the yaw against scipy's B-splines: values and both time derivatives."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from hexpost.setpoints.model import YawProfile


@pytest.mark.parametrize("step", [1, 4, 25])
def test_a_profile_is_the_uniform_cubic_b_spline_of_its_control_points(step):
    rng = np.random.default_rng(step)
    control, period = rng.normal(size=12), 0.004
    profile = YawProfile(step=step, control=control, period=period)
    tick = np.arange(0, 11 * step)
    held = np.concatenate([control[:1], control, [control[-1]] * 3])  # held before the first and after the last
    knots = (np.arange(len(held) + 4) - 3.0) * step * period
    spline = BSpline(knots, held, 3)
    for order, found in enumerate(profile.at(tick)):
        # scipy's second derivative jumps within rounding of a knot: ours is continuous there, too
        expected = spline.derivative(order)(tick * period) if order else spline(tick * period)
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-9 * np.abs(expected).max())


def test_a_profile_rests_before_its_first_and_after_its_last_control_point():
    profile = YawProfile(step=10, control=np.array([0.2, 0.2, 0.2, 0.5, 0.5, 0.5, 0.5]), period=1e-3)
    for tick, value in ((0, 0.2), (200, 0.5)):
        yaw, speed, growth = profile.at(np.array([tick]))
        assert (yaw[0], speed[0], growth[0]) == (pytest.approx(value), pytest.approx(0.0), pytest.approx(0.0))
