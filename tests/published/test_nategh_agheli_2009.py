"""A hexapod machine tool with and without its errors of make.

M. J. Nategh, M. M. Agheli, A total solution to kinematic calibration of hexapod machine tools with a minimum number of
measurement configurations and superior accuracies, 2009, tables 1 (nominal) and 2 (simulated real), mm. The lengths
of the worked example are printed to 1e-4 mm; that they belong to the pose (10, 20, 150) mm, turned by 7, 3, 5 degrees
about carried axes x, y, z, is our reading of them.
"""

import numpy as np
import pytest

from hexpost.kinematics.forward import forward
from hexpost.kinematics.struts import Struts
from hexpost.units import RAD_PER_DEG

NOMINAL_PLATFORM = np.array([[92.1597, 84.4488, 0], [27.055, 122.037, 0], [-119.2146, 37.5882, 0],
                             [-119.2146, -37.5882, 0], [27.055, -122.037, 0], [92.1597, -84.4488, 0]])  # fmt: skip
NOMINAL_BASE = np.array([[305.4001, 111.1565, 0], [-56.4357, 320.0625, 0], [-248.9644, 208.9060, 0],
                         [-248.9644, -208.9060, 0], [-56.4357, -320.0625, 0], [305.4001, -111.1565, 0]])  # fmt: skip
REAL_PLATFORM = np.array([[96.6610, 81.7602, 1.0684], [22.2476, 125.2511, -0.5530], [-122.4519, 36.6453, 4.3547],
                          [-120.6859, -34.4565, -4.9014], [24.7769, -125.0489, -4.8473],
                          [91.3462, -80.9866, 0.2515]])  # fmt: skip
REAL_BASE = np.array([[305.2599, 115.0695, 2.6210], [-55.2814, 322.9819, 4.2181], [-244.7954, 208.0087, 3.9365],
                      [-252.5755, -211.8783, -3.0128], [-53.9678, -320.6115, 4.3181],
                      [302.4266, -109.4351, 3.3812]])  # fmt: skip
LENGTHS = np.array([257.8396, 250.6678, 263.2683, 279.7943, 271.3325, 242.5687])
POSE = np.array([10, 20, 150, 7 * RAD_PER_DEG, 3 * RAD_PER_DEG, 5 * RAD_PER_DEG])
CARRIED_XYZ = "CBA"  # turning about carried x, y, z is turning about fixed z, then y, then x
DIGITS = 5e-5


def test_worked_example_lengths():
    found = Struts(REAL_BASE, REAL_PLATFORM, CARRIED_XYZ).lengths(POSE[:, None])[:, 0]
    assert np.abs(found - LENGTHS).max() < DIGITS


def test_worked_example_backwards():
    found = forward(Struts(REAL_BASE, REAL_PLATFORM, CARRIED_XYZ), LENGTHS[:, None], POSE[:, None] + 0.05)
    assert found.converged.all()
    assert np.abs(found.pose[:3, 0] - POSE[:3]).max() < 5 * DIGITS
    assert np.abs(found.pose[3:, 0] - POSE[3:]).max() < 5 * DIGITS / 125


@pytest.mark.parametrize(("radius", "half_angle", "joints"), [(125, 42.5, NOMINAL_PLATFORM), (325, 20, NOMINAL_BASE)])
def test_nominal_joints_lie_on_their_circles(radius, half_angle, joints):
    azimuth = np.deg2rad(
        [half_angle, 120 - half_angle, 120 + half_angle, 240 - half_angle, 240 + half_angle, -half_angle]
    )
    circle = radius * np.stack([np.cos(azimuth), np.sin(azimuth), 0 * azimuth], axis=1)
    assert np.abs(joints - circle).max() < DIGITS


def test_a_machine_with_errors_of_make_lands_elsewhere():
    """Nominal lengths on the real machine: computed from the tables with an independent solver, 1e-4 mm and deg."""
    commanded = np.array([0, 0, 800, 0, 0, 0.0])[:, None]
    lengths = Struts(NOMINAL_BASE, NOMINAL_PLATFORM, CARRIED_XYZ).lengths(commanded)
    real_minus_nominal = np.array([604.4299, 607.2473, 600.4441, 605.9031, 604.5251, 600.0616]) - 604.8652
    found = forward(Struts(REAL_BASE, REAL_PLATFORM, CARRIED_XYZ), lengths + real_minus_nominal[:, None], commanded)
    assert found.converged.all()
    assert np.abs(found.pose[:3, 0] - [41.2083, 13.5917, 801.5504]).max() < 1e-4
    assert np.abs(found.pose[3:, 0] / RAD_PER_DEG - [1.2909, -5.0928, 0.4299]).max() < 1e-4
