"""The demonstration machine is of the class it claims: common practice for such machines, no source."""

import numpy as np
import pytest

from hexpost.kinematics.frames import pose_matrix, rotation
from hexpost.kinematics.links import links
from hexpost.kinematics.struts import StrutModel, jacobian
from hexpost.machine.geometry import nearness
from hexpost.machine.load import demonstration_machine

MACHINE = demonstration_machine()
LOW, HIGH = np.array([s.stroke for s in MACHINE.struts]).T[:, :, None]
SPEED = np.array([s.speed for s in MACHINE.struts])
ACCELERATION = np.array([s.acceleration for s in MACHINE.struts])
TOOL = np.array([0.0, 0.0, 120.0])
ON_PALLET = StrutModel(MACHINE).in_frame(
    pose_matrix(MACHINE.pallet.pose, MACHINE.tilt_order), MACHINE.platform.gauge_point - TOOL
)


def upright():
    """The tip over a 600 mm pallet, 0 to 200 mm above it."""
    x, y, z = np.meshgrid(np.linspace(-300, 300, 9), np.linspace(-300, 300, 9), np.linspace(0, 200, 5))
    q = np.zeros((6, x.size))
    q[:3] = x.ravel(), y.ravel(), z.ravel()
    return q


def within_stroke(q):
    lengths = ON_PALLET.lengths(q)
    return ((lengths > LOW) & (lengths < HIGH)).all(axis=0)


def test_pallet_of_600_mm_is_in_reach():
    assert MACHINE.pallet.size == (600.0, 600.0)
    assert within_stroke(upright()).all()


def test_tilt_of_25_degrees_all_round_over_the_middle_of_the_pallet():
    azimuth = np.deg2rad(np.arange(0, 360, 5))
    for x, y in ((0, 0), (120, 0), (-120, 0), (0, 120), (0, -120)):
        q = np.zeros((6, azimuth.size))
        q[0], q[1], q[2] = x, y, 100
        q[4] = np.arcsin(np.sin(np.deg2rad(25)) * np.cos(azimuth))
        q[3] = -np.arcsin(np.sin(np.deg2rad(25)) * np.sin(azimuth) / np.cos(q[4]))
        axis = rotation(*q[3:], MACHINE.tilt_order)[:, 2]
        assert np.allclose(np.degrees(np.arccos(axis[2])), 25)
        assert within_stroke(q).all()


@pytest.mark.parametrize(
    ("velocity", "share"), [((0, 0, 1000), 1.0), ((0, 0, -1000), 1.0), ((1100, 0, 0), 1.0), ((0, 1100, 0), 1.0)]
)
def test_struts_can_follow_plunges_at_1000_and_contours_above_1100_mm_s(velocity, share):
    rates = jacobian(ON_PALLET, upright())[:, :, :3] @ np.array(velocity, dtype=float)
    assert (np.abs(rates) < share * SPEED).all()
    assert MACHINE.tool_tip.speed > 1100


def test_struts_can_follow_more_than_one_g_in_every_direction():
    gains = np.linalg.norm(jacobian(ON_PALLET, upright())[:, :, :3], axis=2)
    assert (9807 * 1.1 * gains < ACCELERATION).all()
    assert MACHINE.tool_tip.acceleration > 9807


def test_every_pose_over_the_pallet_is_well_held():
    held, _ = nearness(MACHINE, ON_PALLET).of(links(ON_PALLET, upright()))
    assert held.min() > 0.5


def test_machine_zero_lies_near_the_top_of_reach():
    """From there the pallet is below, and the struts still have stroke to spare."""
    at_zero = StrutModel(MACHINE).in_frame(
        pose_matrix(MACHINE.machine_zero, MACHINE.tilt_order), MACHINE.platform.gauge_point
    )
    lengths = at_zero.lengths(np.zeros((6, 1)))
    assert ((lengths > LOW) & (lengths < HIGH)).all()
    assert MACHINE.machine_zero[2] - MACHINE.pallet.pose[2] > 200 + 120 + 200


def test_struts_pass_each_other_at_a_distance():
    """Two segments at a time, sampled: enough to show that the drawing is no tangle at upright poses."""
    u = np.linspace(0, 1, 60)[:, None]
    for q in upright()[:, ::16].T:
        joints = q[:3] + ON_PALLET.platform
        lines = ON_PALLET.base[:, None] + u * (joints - ON_PALLET.base)[:, None]
        for i in range(6):
            for j in range(i):
                assert np.linalg.norm(lines[i][:, None] - lines[j], axis=2).min() > 90


def test_it_says_what_it_is():
    assert MACHINE.demonstration
    assert "invented" in MACHINE.name
    assert b"no machine may run" in MACHINE.source
