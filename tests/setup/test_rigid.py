"""Rigid fits against published cases and scipy's own solution."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from hexpost.kinematics.frames import pose_from_matrix, pose_matrix
from hexpost.setup.rigid import fit, pose_covariance, pose_slopes

# Five points with noise up to 0.005 mm per coordinate: turned by 0.2, -0.15, 1.5 degrees about fixed x, y, z, shifted
# by 120.25, -43.5, 15.125 mm; solved by an independent program (SVD after Kabsch).
NOMINAL = np.array([[0, 0, 0], [160, 0, 0], [160, 100, 0], [0, 100, 0], [80, 50, 40.0]])
MEASURED = np.array([[120.254, -43.502, 15.128], [280.192, -39.307, 15.542], [277.578, 60.654, 15.897],
                     [117.627, 56.462, 15.471], [198.813, 8.433, 55.507]])  # fmt: skip
ROTATION = np.array([[0.999653127688, -0.026214878537, -0.002530700791],
                     [0.026205785286, 0.999650223853, -0.00356184897],
                     [0.00262318905, 0.003494294462, 0.999990454347]])  # fmt: skip


def test_five_points_with_noise():
    found = fit(NOMINAL, MEASURED, np.ones(5))
    assert found.matrix[:3, :3] == pytest.approx(ROTATION, abs=1e-11)
    assert found.matrix[:3, 3] == pytest.approx([120.251539318, -43.502479224, 15.124506518], abs=1e-8)
    assert found.rms(np.ones(5)) == pytest.approx(0.004360646, abs=1e-9)
    assert np.linalg.norm(found.residual, axis=1).max() == pytest.approx(0.005268242, abs=1e-9)


def test_umeyama_1991_mirror_case_stays_a_rotation():
    """S. Umeyama, IEEE PAMI 13 (1991) 376-380, his example without the scale: the data are mirror images."""
    x, y = np.array([[0, 0], [1, 0], [0, 2.0]]), np.array([[0, 0], [-1, 0], [0, 2.0]])
    found = fit(x, y, np.ones(3))
    assert found.matrix[:2, :2] == pytest.approx(np.array([[0.832050294, 0.554700196], [-0.554700196, 0.832050294]]))
    assert found.matrix[:2, 2] == pytest.approx([-0.980483562, 0.296866536])
    assert found.rms(np.ones(3)) ** 2 == pytest.approx(0.619754989)
    assert fit(x, y, np.ones(3), mirrored=True).rms(np.ones(3)) == pytest.approx(0, abs=1e-12)


def test_quarter_turn_is_exact():
    nominal = np.array([[0, 0, 0], [10, 0, 0], [0, 20, 0], [0, 0, 30.0]])
    found = fit(nominal, np.array([[5, 7, 9], [5, 17, 9], [-15, 7, 9], [5, 7, 39.0]]), np.ones(4))
    want = np.array([[0, -1, 0, 5], [1, 0, 0, 7], [0, 0, 1, 9], [0, 0, 0, 1.0]])
    assert found.matrix == pytest.approx(want, abs=1e-13)


@given(st.integers(0, 10**6), st.integers(3, 12), st.floats(0, 5))
def test_equals_scipy_align_vectors(seed, n, noise):
    """Authority: scipy's Rotation.align_vectors on centred points; near-ties of the two ways to turn are left out."""
    rng = np.random.default_rng(seed)
    source, weight = rng.uniform(-100, 100, (n, 3)), rng.uniform(0.2, 5, n)
    turn = Rotation.random(random_state=seed)
    target = turn.apply(source) + rng.uniform(-50, 50, 3) + noise * rng.normal(size=(n, 3))
    middle, goal = np.average(source, 0, weight), np.average(target, 0, weight)
    found = fit(source, target, weight)
    if found.values[1] < 1e-6 * found.values[0]:
        return
    want = Rotation.align_vectors(target - goal, source - middle, weight)[0].as_matrix()
    gap = found.values[1] - found.values[2]
    assert found.matrix[:3, :3] == pytest.approx(want, abs=1e-9 * max(1.0, found.values[0] / max(gap, 1e-300)))
    assert np.linalg.det(found.matrix[:3, :3]) == pytest.approx(1)
    assert found.matrix[:3, :3] @ middle + found.matrix[:3, 3] == pytest.approx(goal)


@pytest.mark.parametrize("order", ["ABC", "CBA", "BCA"])
def test_slopes_against_finite_differences(order):
    pose = np.array([10, -20, 5, 0.1, -0.2, 0.7])
    points = NOMINAL - 40
    slopes = pose_slopes(pose_matrix(pose, order), points, order)
    for k in range(6):
        step = np.eye(6)[k] * 1e-6
        hi, lo = pose_matrix(pose + step, order), pose_matrix(pose - step, order)
        change = (points @ (hi - lo)[:3, :3].T + (hi - lo)[:3, 3]) / 2e-6
        assert slopes[:, :, k] == pytest.approx(change, abs=1e-6)


def test_uncertainty_agrees_with_repeated_probing():
    """Authority: the definition; 4000 simulated probings of one part, coordinates of 0.01 mm noise."""
    rng = np.random.default_rng(5)
    pose = np.array([100, 50, 20, 0.05, -0.04, 0.3])
    matrix = pose_matrix(pose, "ABC")
    exact = NOMINAL @ matrix[:3, :3].T + matrix[:3, 3]
    weight = np.array([1, 1, 4, 1, 0.5])
    noise = 0.01 / np.sqrt(weight)[:, None]
    found = np.array([
        pose_from_matrix(fit(NOMINAL, exact + noise * rng.normal(size=(5, 3)), weight).matrix, "ABC")
        for _ in range(4000)
    ])  # fmt: skip
    want = np.sqrt(np.diag(0.01**2 * pose_covariance(matrix, NOMINAL, weight, "ABC")))
    assert found.std(axis=0) == pytest.approx(want, rel=0.05)
