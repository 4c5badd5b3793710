"""The yaw profile against scipy's B-splines, and its bounds."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import FRAME
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import BSpline
from setpoints.test_solve import poses

from hexpost.setpoints.model import YawProfile
from hexpost.setpoints.sample import turned


@given(st.integers(0, 10**6), st.integers(4, 30), st.integers(2, 400))
def test_equals_scipys_uniform_cubic_b_spline(seed, count, step):
    control = np.random.default_rng(seed).uniform(-1, 1, count)
    profile = YawProfile(step=step, control=control, period=0.001)
    padded = np.concatenate([control[:1].repeat(3), control, control[-1:].repeat(3)])
    knots = (np.arange(len(padded) + 4) - 5.0) * step  # the basis of padded[i] is centred on knot i + 2
    spline = BSpline(knots, padded, 3)
    tick = np.arange(0, (count - 1) * step, max(1, count * step // 200))
    for order, values in enumerate(profile.at(tick)):
        want = spline.derivative(order)(tick) if order else spline(tick)
        assert values == pytest.approx(want / 0.001**order, rel=1e-9, abs=1e-9 / 0.001**order)


@given(st.integers(0, 10**6))
def test_derivatives_stay_among_the_differences(seed):
    control = np.random.default_rng(seed).uniform(-1, 1, 20)
    yaw, speed, growth = YawProfile(step=50, control=control, period=0.001).at(np.arange(1200))
    assert control.min() <= yaw.min() + 1e-12 and yaw.max() <= control.max() + 1e-12
    assert np.abs(speed).max() <= np.abs(np.diff(control)).max() / 0.05 + 1e-9
    assert np.abs(growth).max() <= np.abs(np.diff(control, 2)).max() / 0.05**2 + 1e-9


def test_rests_where_control_points_are_held():
    profile = YawProfile(step=10, control=np.array([0, 0, 0, 0.5, 0.7, 0.7, 0.7, 0.7]), period=0.001)
    for tick, yaw in ((0, 0.0), (50, 0.7), (500, 0.7)):
        assert [float(x[0]) for x in profile.at(np.array([tick]))] == pytest.approx([yaw, 0, 0])


def test_yaw_of_the_frame_and_of_the_profile_add_up_and_none_changes_nothing():
    tilted = poses(0, 40)
    level = {k: np.vstack([getattr(tilted, k)[:3], np.zeros((3, 40))]) for k in ("pose", "rate", "acceleration")}
    upright = replace(tilted, **level)
    frames = (FRAME, replace(FRAME, yaw=0.3))
    profile = YawProfile(step=10, control=np.array([0, 0, 0.1, 0.2, 0.2, 0.2]), period=0.001)
    assert turned(upright, frames, None, "ABC") is upright
    for at, known in ((0, profile), (1, None), (1, profile)):
        found = turned(replace(upright, frame=at), frames, known, "ABC")
        yaw, speed, growth = np.zeros((3, 40)) if known is None else known.at(upright.tick)
        assert found.pose[5] == pytest.approx(yaw + 0.3 * at, abs=1e-12)
        assert found.rate[5] == pytest.approx(speed, abs=1e-9)
        assert found.acceleration[5] == pytest.approx(growth, abs=1e-9)
        assert np.array_equal(found.pose[:3], upright.pose[:3])
