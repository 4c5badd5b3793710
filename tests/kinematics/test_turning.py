"""A platform turned about its tool: tip and axis stay, derivatives against differences and scipy's rotations."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from hexpost.kinematics.turning import about_tool

ORDERS = {"ABC": "xyz", "CBA": "zyx", "BCA": "yzx", "ACB": "xzy"}


def motion(t, seed):
    """A smooth motion of six coordinates and of a turn at times t (n,): values and two derivatives."""
    rng = np.random.default_rng(seed)
    size, speed, phase = rng.uniform(0.1, 0.5, 7), rng.uniform(0.5, 2, 7), rng.uniform(0, 6, 7)
    x = speed[:, None] * t + phase[:, None]
    size, speed = size[:, None], speed[:, None]
    value, rate, growth = size * np.sin(x), size * speed * np.cos(x), -size * speed**2 * np.sin(x)
    return [value[:6], rate[:6], growth[:6]], (value[6], rate[6], growth[6])


@given(st.integers(0, 10**6), st.sampled_from(sorted(ORDERS)))
def test_rotation_is_that_of_scipy_and_derivatives_are_differences(seed, order):
    h = 1e-5
    t = np.array([0.3 - h, 0.3, 0.3 + h])
    q, turn = motion(t, seed)
    pose, rate, acceleration = about_tool(q, turn, order)
    letters = ["ABC".index(x) for x in order]
    want = Rotation.from_euler(ORDERS[order], q[0][3:][letters].T) * Rotation.from_euler("z", turn[0][:, None])
    got = Rotation.from_euler(ORDERS[order], pose[3:][letters].T)
    assert got.as_matrix() == pytest.approx(want.as_matrix(), abs=1e-12)
    assert (pose[:, 2] - pose[:, 0]) / (2 * h) == pytest.approx(rate[:, 1], abs=1e-7)
    assert (rate[:, 2] - rate[:, 0]) / (2 * h) == pytest.approx(acceleration[:, 1], abs=1e-6)


def test_tip_and_axis_stay():
    q, turn = motion(np.linspace(0, 5, 200), 3)
    pose, rate, acceleration = about_tool(q, turn, "ABC")
    assert np.array_equal(pose[:3], q[0][:3])
    assert np.array_equal(rate[:3], q[1][:3])
    assert np.array_equal(acceleration[:3], q[2][:3])
    axes = [Rotation.from_euler("xyz", p[3:].T).apply([0, 0, 1]) for p in (q[0], pose)]
    assert axes[1] == pytest.approx(axes[0], abs=1e-12)


def test_an_upright_tool_turns_by_c_alone():
    n = 5
    q = [np.zeros((6, n)) for _ in range(3)]
    pose, rate, acceleration = about_tool(q, (np.full(n, 0.7), np.full(n, 0.1), np.full(n, -0.3)), "ABC")
    assert pose[5] == pytest.approx(0.7)
    assert rate[5] == pytest.approx(0.1)
    assert acceleration[5] == pytest.approx(-0.3)
    assert not pose[:5].any()
