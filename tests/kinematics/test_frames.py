"""Frames against scipy's Rotation (a general-purpose library) and against the definition of the angles."""

from itertools import permutations
from math import pi

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from hexpost.kinematics.frames import invert, pose_from_matrix, pose_matrix, rotation

ORDERS = ["".join(p) for p in permutations("ABC")]
LETTER_TO_AXIS = {"A": "x", "B": "y", "C": "z"}


def test_default_order_turns_about_fixed_x_then_y_then_z():
    assert np.allclose(rotation(pi / 2, 0.0, 0.0, "ABC") @ [0, 1, 0], [0, 0, 1], atol=1e-15)
    assert np.allclose(rotation(0.0, pi / 2, 0.0, "ABC") @ [0, 0, 1], [1, 0, 0], atol=1e-15)
    assert np.allclose(rotation(0.0, 0.0, pi / 2, "ABC") @ [1, 0, 0], [0, 1, 0], atol=1e-15)
    assert np.allclose(rotation(pi / 2, 0.0, pi / 2, "ABC") @ [0, 1, 0], [0, 0, 1], atol=1e-15)


@pytest.mark.parametrize("order", ORDERS)
def test_rotation_equals_scipy_with_extrinsic_axes(order):
    angles = np.random.default_rng(3).uniform(-pi, pi, (3, 50))
    ours = rotation(*angles, order)
    columns = ["ABC".index(letter) for letter in order]
    theirs = Rotation.from_euler("".join(LETTER_TO_AXIS[x] for x in order), angles[columns].T).as_matrix()
    assert ours.shape == (3, 3, 50)
    assert np.abs(np.moveaxis(ours, 2, 0) - theirs).max() < 1e-15 * 4


@pytest.mark.parametrize("order", ORDERS)
def test_pose_from_matrix_gives_back_the_pose_next_to_near(order):
    rng = np.random.default_rng(4)
    for _ in range(100):
        pose = np.concatenate([rng.uniform(-500, 500, 3), rng.uniform(-9, 9, 3)])
        near = pose + rng.uniform(-0.2, 0.2, 6)
        again = pose_from_matrix(pose_matrix(pose, order), order, near)
        middle = "ABC".index(order[1])
        if abs(np.cos(pose[3 + middle])) > 0.3:
            assert np.abs(again - pose).max() < 1e-12
        assert np.abs(pose_matrix(again, order) - pose_matrix(pose, order)).max() < 1e-14


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("quarter", [pi / 2, -pi / 2])
@pytest.mark.parametrize("off", [0.0, 1e-12, 1e-8, 1e-5])
def test_gimbal_lock_keeps_the_rotation(order, quarter, off):
    pose = np.array([1.0, 2.0, 3.0, 0.4, 0.7, -0.9])
    pose[3 + "ABC".index(order[1])] = quarter + off
    for near in (None, pose, np.zeros(6)):
        again = pose_from_matrix(pose_matrix(pose, order), order, near)
        assert np.abs(pose_matrix(again, order) - pose_matrix(pose, order)).max() < 2e-9 if off == 1e-12 else 1e-15 * 4
    assert np.abs(pose_from_matrix(pose_matrix(pose, order), order, pose) - pose).max() < 2e-7


def test_without_near_the_angles_are_the_smallest():
    again = pose_from_matrix(pose_matrix(np.array([0, 0, 0, 0.1, pi - 0.2, 0.3]), "ABC"), "ABC")
    assert np.allclose(again[3:], [0.1 - pi, 0.2, 0.3 - pi], atol=1e-14)


def test_invert_undoes_a_frame():
    m = pose_matrix(np.array([10.0, -20.0, 30.0, 0.3, -0.4, 2.0]), "CAB")
    assert np.abs(invert(m) @ m - np.eye(4)).max() < 1e-14
