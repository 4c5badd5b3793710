"""Forty real postures of one platform with one set of lengths (P. Dietmaier, 1998; full citation in the JSON file).

The printed postures satisfy the printed geometry to 6.4e-10; that is the tolerance of the lengths.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from hexpost.kinematics.forward import forward
from hexpost.kinematics.frames import angles_of, rotation
from hexpost.kinematics.struts import Struts

DATA = json.loads(Path(__file__).with_name("dietmaier_1998.json").read_text())
STRUTS = Struts(np.array(DATA["base"]), np.array(DATA["platform"]), "ABC")
LENGTHS = np.array(DATA["lengths"])


def postures(order):
    printed = np.array(DATA["solutions"])
    r = np.stack([printed[:, 1], printed[:, 2], np.cross(printed[:, 1], printed[:, 2])], axis=1)
    return np.vstack([printed[:, 0].T, angles_of(r.transpose(2, 1, 0), order)])


@pytest.mark.parametrize("order", ["ABC", "CBA", "BAC"])
def test_every_printed_posture_gives_the_printed_lengths(order):
    struts = Struts(STRUTS.base, STRUTS.platform, order)
    found = struts.lengths(postures(order))
    assert found.shape == (6, 40)
    assert np.abs(found - LENGTHS[:, None]).max() < 7e-10


def test_newton_finds_every_posture_from_nearby_and_they_stay_forty():
    target = postures("ABC")
    guess = target + np.random.default_rng(2).uniform(-2e-3, 2e-3, target.shape)
    found = forward(STRUTS, np.tile(LENGTHS[:, None], 40), guess)
    assert found.converged.all()
    assert np.abs(STRUTS.lengths(found.pose) - LENGTHS[:, None]).max() < 4e-14
    assert np.abs(found.pose[:3] - target[:3]).max() < 2e-6  # six-digit geometry moves them by at most 1.6e-6
    r = rotation(*found.pose[3:], "ABC").reshape(9, 40)
    flat = np.vstack([found.pose[:3], r])
    apart = np.linalg.norm(flat[:, :, None] - flat[:, None, :], axis=0) + 9 * np.eye(40)
    assert apart.min() > 0.3
