"""Forward kinematics brings the pose back, says so when it cannot, and needs few rounds."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kinematics.poses import demonstration_struts, motion

from hexpost.kinematics.forward import MOST_ROUNDS, forward
from hexpost.kinematics.struts import Struts

ORDERS = ["".join(p) for p in permutations("ABC")]


@pytest.mark.parametrize("order", ORDERS)
def test_forward_undoes_inverse(order):
    seen = demonstration_struts()
    struts = Struts(seen.base, seen.platform, order)
    (q,) = motion(300, 1, 1)
    guess = q + np.random.default_rng(2).uniform(-1, 1, q.shape) * np.array([20, 20, 20, 0.03, 0.03, 0.03])[:, None]
    found = forward(struts, struts.lengths(q), guess)
    assert found.converged.all()
    assert found.rounds <= 6
    assert np.abs(found.pose[:3] - q[:3]).max() < 1e-10
    assert np.abs(found.pose[3:] - q[3:]).max() < 1e-12


def test_lengths_rounded_to_a_millionth_move_the_tip_by_a_few_millionths():
    struts = demonstration_struts()
    (q,) = motion(300, 3, 1)
    found = forward(struts, np.round(struts.lengths(q), 6), q)
    assert found.converged.all()
    assert np.linalg.norm(found.pose[:3] - q[:3], axis=0).max() < 3e-6


@settings(deadline=None, max_examples=25)
@given(st.lists(st.floats(-1.2, 1.2), min_size=3, max_size=3), st.integers(0, 5))
def test_angles_come_back_on_the_branch_of_the_guess(turns, whole):
    struts = demonstration_struts()
    q = np.array([10.0, 20.0, 30.0, 0.2 * turns[0], 0.2 * turns[1], 0.3 * turns[2] + 2 * np.pi * whole])[:, None]
    found = forward(struts, struts.lengths(q), q + 0.01)
    assert found.converged.all()
    assert np.abs(found.pose - q).max() < 1e-9


def test_middle_angle_at_a_quarter_turn_is_no_trap():
    """With B at 90 degrees A and C turn about one line, and a Newton step in angles would divide by zero."""
    seen = demonstration_struts()
    flat = np.array([[0, 0, 1], [0, 1, 0], [-1, 0, 0.0]])  # the platform joints as they lie after B = -90
    struts = Struts(seen.base, seen.platform @ flat.T, "ABC")
    q = np.array([5.0, 6.0, 7.0, 0.1, np.pi / 2, 0.1])[:, None]
    lengths = struts.lengths(q)
    found = forward(struts, lengths, q + 0.02)
    assert found.converged.all()
    assert np.abs(struts.lengths(found.pose) - lengths).max() < 1e-10


def test_impossible_and_broken_lengths_are_said_to_be_so():
    struts = demonstration_struts()
    (q,) = motion(4, 5, 1)
    lengths = struts.lengths(q)
    lengths[0, 1] = 1.0
    lengths[2, 2] = np.nan
    found = forward(struts, lengths, q)
    assert found.converged.tolist() == [True, False, False, True]
    assert np.isnan(found.pose[:, 1:3]).all()
    assert np.isfinite(found.pose[:, [0, 3]]).all()
    assert found.rounds == MOST_ROUNDS


def test_a_singular_start_does_not_end_in_an_error():
    half = np.deg2rad([20, 100, 140, 220, 260, 340])
    ring = np.stack([np.cos(half), np.sin(half), 0 * half], axis=1)
    struts = Struts(ring, ring, "ABC")
    found = forward(struts, np.full((6, 1), 1.1), np.array([0, 0, 1.0, 0, 0, 0])[:, None])
    assert found.pose.shape == (6, 1)


def test_no_poses_need_no_rounds():
    found = forward(demonstration_struts(), np.empty((6, 0)), np.empty((6, 0)))
    assert found.pose.shape == (6, 0)
    assert found.rounds == 0
