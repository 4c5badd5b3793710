"""Poses along a table and all assembly modes: round trips, Dietmaier's forty postures, and honest failures."""

import json
from pathlib import Path

import numpy as np
import pytest
from kinematics.poses import demonstration_struts

from hexpost.kinematics.forward_table import BLOCK, forward_along
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.modes import assembly_modes
from hexpost.kinematics.struts import Struts

PUBLISHED = Path(__file__).parent.parent / "published" / "dietmaier_1998.json"


def path(n, speed=1.0):
    """Return a winding path (6, n) at 1 ms."""
    t = np.arange(n) * 1e-3 * speed
    shape = [250 * np.sin(2 * t), 200 * np.cos(3 * t), 80 * np.sin(t), 0.4 * np.sin(2.5 * t), 0.3 * np.sin(t)]
    return np.stack([*shape, 0.35 * np.cos(1.7 * t)])


@pytest.mark.parametrize("order", ["ABC", "CBA"])
def test_poses_come_back_along_a_table(order):
    known = demonstration_struts()
    struts = Struts(known.base, known.platform, order)
    q = path(3 * BLOCK + 77)
    found = forward_along(struts, struts.lengths(q), np.zeros(6))
    assert found.converged.all()
    assert np.abs(found.pose[:3] - q[:3]).max() < 1e-9
    assert np.abs(found.pose[3:] - q[3:]).max() < 1e-12


def test_rounded_lengths_of_a_table_give_poses_as_good():
    struts = demonstration_struts()
    q = path(2 * BLOCK)
    found = forward_along(struts, np.round(struts.lengths(q), 6), q[:, 0])
    assert found.converged.all()
    assert np.abs(found.pose[:3] - q[:3]).max() < 1e-5


def test_lengths_that_no_pose_has_are_said_to_have_none():
    struts = demonstration_struts()
    lengths = struts.lengths(path(40))
    lengths[:, 20] = [100, 3000, 100, 3000, 100, 3000]
    found = forward_along(struts, lengths, np.zeros(6))
    assert list(np.flatnonzero(~found.converged)) == [20]
    assert np.isnan(found.pose[:, 20]).all()
    assert np.abs(found.pose[:3, 21] - path(40)[:3, 21]).max() < 1e-9


def test_all_forty_postures_of_dietmaier_are_found():
    data = json.loads(PUBLISHED.read_text())
    struts = Struts(np.array(data["base"]), np.array(data["platform"]), "ABC")
    found = assembly_modes(struts, np.array(data["lengths"]))
    assert found.complete
    assert found.pose.shape == (6, 40)
    printed = np.array(data["solutions"])
    r = rotation(*found.pose[3:], "ABC")
    for p, x, y in printed:
        apart = np.abs(found.pose[:3] - p[:, None]).max(axis=0)
        apart += np.abs(r[:, 0] - x[:, None]).max(axis=0) + np.abs(r[:, 1] - y[:, None]).max(axis=0)
        assert apart.min() < 1e-5


def test_a_machine_knows_its_own_mode():
    struts = demonstration_struts()
    q = np.array([30.0, -20, 40, 0.1, 0.05, -0.1])
    found = assembly_modes(struts, struts.lengths(q[:, None])[:, 0], seed=1)
    assert np.abs(found.pose - q[:, None]).max(axis=0).min() < 1e-6
    assert np.abs(struts.lengths(found.pose) - struts.lengths(q[:, None])).max() < 1e-8


def test_no_mode_at_all():
    found = assembly_modes(demonstration_struts(), np.array([10.0, 5000, 10, 5000, 10, 5000]))
    assert found.pose.shape == (6, 0)
