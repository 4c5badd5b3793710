"""Identification of the 42 numbers on the published machine with its errors of make.

M. J. Nategh, M. M. Agheli, A total solution to kinematic calibration of hexapod machine tools with a minimum number of
measurement configurations and superior accuracies, 2009, tables 1 (nominal) and 2 (simulated real).
"""

from dataclasses import replace

import numpy as np
import pytest
from published.test_nategh_agheli_2009 import NOMINAL_BASE, NOMINAL_PLATFORM, REAL_BASE, REAL_PLATFORM

from hexpost.setup.identify import Frames, identify
from hexpost.setup.measured import DISTANCE, FULL, PLACE, Measured
from hexpost.setup.observe import Built, predicted, residuals, rotations, slopes

REAL_OFFSET = np.array([604.4299, 607.2473, 600.4441, 605.9031, 604.5251, 600.0616]) - 604.8652
TARGETS = np.array([[0, 0, -80], [60, 0, -40], [0, 60, -40.0]])
BALLS = np.array([[-200, -150, 300], [250, -100, 310], [0, 260, 290.0]])


def built(base, platform, offset):
    return Built(base=base, platform=platform, offset=offset, base_from_measuring=np.eye(4),
                 platform_from_target=np.eye(4), order="ABC")  # fmt: skip


NOMINAL = built(NOMINAL_BASE, NOMINAL_PLATFORM, np.zeros(6))
REAL = built(REAL_BASE, REAL_PLATFORM, REAL_OFFSET)


def measurements(n, seed, kind=FULL, noise=0.0, turn_noise=0.0):
    """Commanded poses about z 800 and what the real machine then does, measured with noise in mm and rad."""
    rng = np.random.default_rng(seed)
    q = rng.uniform(-1, 1, (6, n)) * np.array([100, 100, 100, 0.3, 0.3, 0.3])[:, None]
    q[2] += 800
    lengths = NOMINAL.struts.lengths(q)
    p = REAL.poses(lengths, q)
    p = p + np.concatenate([noise * rng.normal(size=(3, n)), turn_noise * rng.normal(size=(3, n))])
    r = rotations(REAL, p)
    target = np.zeros((n, 3)) if kind == FULL else TARGETS[np.arange(n) % 3]
    fixed = BALLS[np.arange(n) // 3 % 3]
    place = p[:3].T + np.einsum("nij,nj->ni", r, target)
    return (
        Measured(kind=kind, length=lengths, place=place, turned=r, distance=np.linalg.norm(place - fixed, axis=1),
                 fixed=fixed, target=target, sigma=np.full(n, 0.01), sigma_turn=np.full(n, np.deg2rad(0.001)),
                 names=tuple(f"line {i + 2}" for i in range(n))),
        q,
    )  # fmt: skip


def test_six_poses_tell_36_numbers_and_seven_tell_all():
    """Published: 7 configurations are the minimum for the 42 parameters."""
    ranks = []
    for n in (6, 7):
        data, guess = measurements(n, 1)
        ranks.append(identify(NOMINAL, data, guess, Frames()).rank)
    assert ranks == [36, 42]


@pytest.mark.parametrize("n", [7, 20])
def test_noise_free_recovery(n):
    data, guess = measurements(n, 1)
    found = identify(NOMINAL, data, guess, Frames())
    assert np.abs(found.built.numbers - REAL.numbers).max() < 1e-9


@pytest.mark.parametrize(("kind", "n"), [(PLACE, 30), (DISTANCE, 90)])
def test_noise_free_recovery_from_less(kind, n):
    data, guess = measurements(n, 2, kind)
    found = identify(NOMINAL, data, guess, Frames())
    assert found.rank == 42
    assert np.abs(found.built.numbers - REAL.numbers).max() < 1e-7


def test_error_falls_with_the_square_root_of_the_number_of_poses():
    sizes = {}
    for n in (30, 120):
        off = []
        for seed in range(3):
            data, guess = measurements(n, seed, noise=0.01, turn_noise=np.deg2rad(0.001))
            found = identify(NOMINAL, data, guess, Frames(), robust=False)
            off.append(found.built.numbers - REAL.numbers)
            assert found.noise == pytest.approx(1, abs=0.15)
        sizes[n] = np.sqrt(np.mean(np.square(off)))
    assert sizes[30] / sizes[120] == pytest.approx(2, rel=0.3)


def test_the_covariance_is_that_of_repeated_calibrations():
    """Authority: the definition; 30 simulated calibrations."""
    off, said = [], []
    for seed in range(30):
        data, guess = measurements(14, 7, noise=0.0)
        rng = np.random.default_rng(100 + seed)
        place = data.place + 0.01 * rng.normal(size=(14, 3))
        noisy = replace(data, place=place, sigma_turn=np.full(14, 1e-9))
        found = identify(NOMINAL, noisy, guess, Frames(), robust=False)
        off.append(found.built.numbers - REAL.numbers)
        said.append(np.diag(found.covariance))
    ratio = np.std(off, axis=0) / np.sqrt(np.mean(said, axis=0))
    assert np.median(ratio) == pytest.approx(1, abs=0.2)


@pytest.mark.parametrize(
    ("frames", "unknowns"),
    [(Frames(measuring=True), 36), (Frames(target=True), 36), (Frames(measuring=True, target=True), 30)],
)
def test_frames_that_are_not_known_take_their_freedoms(frames, unknowns):
    """Moving the measuring frame is moving all base joints; the target frame, all platform joints: six each."""
    data, guess = measurements(20, 1)
    found = identify(NOMINAL, data, guess, frames)
    assert found.rank == 42
    assert found.own_rank == unknowns
    assert np.abs(residuals(found.built, data, found.pose)).max() < 1e-9


@pytest.mark.parametrize("size", [0.5, 5.0, 50.0, 300.0])
def test_wrong_measurements_are_set_aside(size):
    data, guess = measurements(24, 3, noise=0.01, turn_noise=np.deg2rad(0.001))
    place = data.place.copy()
    place[5] += [0.8 * size, 0, -0.6 * size]
    place[17] += [0, 2.0, 0]
    wrong = replace(data, place=place)
    found = identify(NOMINAL, wrong, guess, Frames())
    assert np.flatnonzero(~found.kept).tolist() == [5, 17]


@pytest.mark.parametrize("kind", [FULL, PLACE, DISTANCE])
def test_slopes_against_finite_differences(kind):
    data, guess = measurements(5, 4, kind)
    start = REAL.moved(np.concatenate([np.zeros(42), [1, -2, 0.5, 0.01, 0.02, -0.01, 0.3, 0.2, -1, -0.02, 0.01, 0.03]]))
    pose = start.poses(data.length, guess)
    data = replace(data, turned=predicted(start, data, pose)[1])  # a turn adds up with others where it is small
    rows = slopes(start, data, pose)
    for k in range(54):
        change = []
        for sign in (1, -1):
            step = np.zeros(54)
            step[k] = sign * 1e-5
            moved = start.moved(step)
            change.append(residuals(moved, data, moved.poses(data.length, pose)))
        assert rows[:, :, k] == pytest.approx((change[1] - change[0]) / 2e-5, abs=1e-4)
