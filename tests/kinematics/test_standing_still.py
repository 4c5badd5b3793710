"""What stands still is known from all samples, and sines of steep angles are as exact as those of flat ones."""

import math

import numpy as np
import pytest
from kinematics.poses import demonstration_struts

from hexpost.kinematics.frames import rotation
from hexpost.kinematics.series import Sines
from hexpost.kinematics.struts import _still


def plain(struts, q):
    """Return the lengths (6, n) of poses by the definition: base joint to turned platform joint."""
    arms = np.einsum("ijn,kj->ikn", rotation(*q[3:], struts.order), struts.platform)
    return np.linalg.norm(q[:3, None] + arms - struts.base.T[:, :, None], axis=0)


@pytest.mark.parametrize("which", [(3,), (4,), (5,), (3, 4), (3, 5), (4, 5), (3, 4, 5), ()])
@pytest.mark.parametrize("kept", [(0.0, 0.0, 0.0), (0.1, -0.2, 0.3)])
def test_an_angle_that_leaves_and_comes_back_has_moved(which, kept):
    struts = demonstration_struts()
    q = np.zeros((6, 5))
    q[:3] = np.array([30.0, -40.0, 50.0])[:, None] + np.arange(5)
    q[3:] = np.array(kept)[:, None]
    for row in which:
        q[row, 2] += 0.2  # in the middle only
    assert np.allclose(struts.lengths(q), plain(struts, q), rtol=1e-13)
    still, bend = np.zeros((6, 5)), np.zeros((6, 5))
    for row in which:
        bend[row, 2] = 3.0
    moving = struts.derivatives([q, still, bend])[2]
    h = 1e-4
    numeric = 2 * (plain(struts, q + 0.5 * h**2 * bend) - plain(struts, q)) / h**2
    assert np.allclose(moving, numeric, rtol=1e-5, atol=1e-3)


def test_standing_still_is_the_same_value_and_no_rate_in_every_sample():
    q, rate = np.full((6, 4), 0.5), np.zeros((6, 4))
    assert _still([q, rate], 3)
    for sample in range(4):
        moved, moving = q.copy(), rate.copy()
        moved[3, sample] = 0.4
        moving[3, sample] = -1.0
        assert not _still([moved, rate], 3)
        assert not _still([q, moving], 3)
        assert not _still([q, rate, moving], 3)
        assert _still([moved, moving, moving], 4)


@pytest.mark.parametrize(
    "angles", [[2.0, 0.3], [-2.0, 0.3], [1.7, -1.7], [1.2, 1.0], [-1.2, 1.0], [0.9, -1.0], [3.1, -3.1]]
)
def test_sines_and_cosines_of_steep_angles_and_their_series(angles):
    x = np.array([[angles, angles[::-1]]])[0]
    rate, bend = np.array([[0.7, -0.4], [0.2, 1.1]]), np.array([[-0.3, 0.8], [0.5, 0.1]])
    trig = np.zeros((3, 2, 2, 2))
    Sines(trig).fill([x, rate, bend], [1.0, 1.0, 2.0])
    for i in range(2):
        for j in range(2):
            s, c, w, b = math.sin(x[i, j]), math.cos(x[i, j]), rate[i, j], bend[i, j]
            assert trig[0, :, i, j] == pytest.approx([s, c], abs=1e-15)
            assert trig[1, :, i, j] == pytest.approx([c * w, -s * w], abs=1e-14)
            assert trig[2, :, i, j] == pytest.approx([(c * b - s * w * w) / 2, (-s * b - c * w * w) / 2], abs=1e-14)
