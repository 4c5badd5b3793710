"""Thrusts: MuJoCo's inverse dynamics, virtual work, published cases; screws by their worked numbers."""

import numpy as np
import pytest
from kinematics.plain_dynamics import balanced, needed, turning
from kinematics.poses import demonstration_struts, motion

from hexpost.kinematics.dynamics import RigidBody, with_points
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.links import links
from hexpost.kinematics.screws import buckling_load, critical_speed, torque
from hexpost.kinematics.statics import Balance, _order, compliance, inverse_norms
from hexpost.kinematics.struts import Struts, angle_axes, jacobian

INERTIA = np.array([[62.0, 3, -2], [3, 64, 5], [-2, 5, 78]]) * 1e6
POINT_MASSES = [11.0, 12.0, 13.0, 14.0, 15.0, 16.0]


def body(struts):
    """Return a platform with masses lumped at its joints, seen from the tip."""
    platform = RigidBody(mass=720.0, centre=np.array([10.0, -20.0, 330.0]), inertia=INERTIA)
    return with_points(platform, POINT_MASSES, struts.platform)


def test_mujoco_inverse_dynamics_balances_the_thrusts():
    import mujoco

    struts = demonstration_struts()
    site = '<site name="{}" pos="{!r} {!r} {!r}"/>'
    base = "".join(site.format(f"b{i}", *(struts.base[i] / 1000).tolist()) for i in range(6))
    ends = "".join(site.format(f"p{i}", *(struts.platform[i] / 1000).tolist()) for i in range(6))
    lumps = "".join(
        f'<body pos="{p[0] / 1000!r} {p[1] / 1000!r} {p[2] / 1000!r}"><inertial pos="0 0 0" mass="{m}" '
        'diaginertia="1e-12 1e-12 1e-12"/></body>'
        for p, m in zip(struts.platform.tolist(), POINT_MASSES, strict=True)
    )
    full = INERTIA / 1e6
    numbers = " ".join(repr(float(full[i, j])) for i, j in ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)))
    tendons = "".join(f'<spatial><site site="b{i}"/><site site="p{i}"/></spatial>' for i in range(6))
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option gravity="0.3 -0.2 -9.81"/><worldbody>{base}<body name="platform"><freejoint/>'
        f'<inertial pos="0.01 -0.02 0.33" mass="720" fullinertia="{numbers}"/>{ends}{lumps}</body></worldbody>'
        f"<tendon>{tendons}</tendon></mujoco>"
    )
    data = mujoco.MjData(model)
    q, rate, bend = motion(300, 21, 3)
    at = links(struts, q)
    w, alpha = turning(at.rotation, q, rate, bend, "ABC")
    wrench = needed(body(struts), at.rotation, bend[:3], np.array([300.0, -200.0, -9810.0]), (w, alpha))
    thrust = balanced(at, wrench)
    quaternion, worst = np.empty(4), 0.0
    for n in range(300):
        r = at.rotation[:, :, n]
        mujoco.mju_mat2Quat(quaternion, r.ravel())
        data.qpos[:3], data.qpos[3:] = q[:3, n] / 1000, quaternion
        data.qvel[:3], data.qvel[3:] = rate[:3, n] / 1000, r.T @ w[:, n]  # turns in the axes of the body
        data.qacc[:3], data.qacc[3:] = bend[:3, n] / 1000, r.T @ alpha[:, n]
        mujoco.mj_inverse(model, data)
        arms = np.zeros((6, 6))
        mujoco.mj_fwdPosition(model, data)
        arms = data.ten_J.reshape(6, 6).T  # generalised force = J' tension; a thrust lengthens
        by_struts = arms @ thrust[:, n]
        worst = max(worst, np.abs(by_struts - data.qfrc_inverse).max() / np.abs(data.qfrc_inverse).max())
        direct = np.linalg.solve(arms, data.qfrc_inverse)
        worst = max(worst, np.abs(direct - thrust[:, n]).max() / np.abs(direct).max())
    assert worst < 1e-9


def test_turning_equals_differences_of_rotations_in_every_order():
    from itertools import permutations

    for letters in permutations("ABC"):
        order = "".join(letters)
        q, rate, bend = motion(20, 8, 3)
        h = 1e-4
        w, alpha = turning(rotation(*q[3:], order), q, rate, bend, order)
        assert np.allclose(w, np.einsum("nij,jn->in", angle_axes(q, order), rate[3:]), atol=1e-12)

        def at(t, q=q, rate=rate, bend=bend, order=order):
            there = q + t * rate + t * t / 2 * bend
            return turning(rotation(*there[3:], order), there, rate + t * bend, bend, order)[0]

        assert np.abs((at(h) - at(-h)) / (2 * h) - alpha).max() < 1e-4 * (1 + np.abs(alpha).max())


def test_virtual_work_of_thrusts_and_wrench_is_the_same():
    struts = demonstration_struts()
    q, rate = motion(100, 5, 2)
    at = links(struts, q)
    rng = np.random.default_rng(1)
    wrench = rng.normal(size=(6, 100)) * np.array([1e3, 1e3, 1e3, 3e5, 3e5, 3e5])[:, None]
    thrust = balanced(at, wrench)
    w = np.einsum("nij,jn->in", angle_axes(q, "ABC"), rate[3:])
    speed = struts.derivatives([q, rate])[1]
    power = (wrench[:3] * rate[:3]).sum(axis=0) + (wrench[3:] * w).sum(axis=0)
    assert np.allclose((thrust * speed).sum(axis=0), power, rtol=1e-9, atol=1e-3)
    rows = jacobian(struts, q)
    plain = np.linalg.solve(rows.swapaxes(1, 2), wrench.T[:, :, None])[:, :, 0].T
    assert np.abs(thrust - plain).max() < 1e-9 * np.abs(plain).max()


def test_weak_and_singular_samples_among_good_ones():
    ring = np.radians([0, 60, 120, 180, 240, 300])
    hexagon = np.stack([np.cos(ring), np.sin(ring), 0 * ring], axis=1)
    shifted = np.stack([np.cos(ring + 0.9), np.sin(ring + 0.9), 0 * ring], axis=1)
    struts = Struts(1000 * hexagon, 500 * np.roll(shifted, 1, axis=0), "ABC")
    q = np.zeros((6, 181))
    q[2] = 900.0
    q[5] = np.radians(np.arange(181) - 90.0)
    at = links(struts, q)
    wrench = np.tile([[100.0], [50.0], [-800.0], [1e4], [2e4], [3e4]], 181)
    thrust = balanced(at, wrench)
    for i in range(181):
        rows = jacobian(struts, q[:, i : i + 1])[0]
        if np.linalg.cond(rows) < 1e9:
            assert np.allclose(rows.T @ thrust[:, i], wrench[:, i], rtol=1e-6, atol=1e-6)


def test_weight_on_six_equal_legs():
    # geometry of H. D. Taghirad, Parallel Robots, CRC 2013 (companion files): m g l / 6 h on each leg
    angle = np.radians([0, 60, 120, 180, 240, 300])
    base = 2.0 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    angle = np.radians([30, 30, 150, 150, 270, 270])
    platform = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    struts = Struts(1000 * base, 1000 * platform, "ABC")
    at = links(struts, np.array([[0], [0], [1000.0], [0], [0], [0]]))
    mass = RigidBody(mass=1150.0, centre=np.zeros(3), inertia=np.eye(3) * 1e6)
    wrench = needed(mass, at.rotation, np.zeros((3, 1)), np.array([0, 0, -9810.0]), None)
    assert np.allclose(balanced(at, wrench), 2994.2049286, atol=1e-6)
    assert wrench[:, 0].tolist() == [0.0, 0.0, pytest.approx(1150.0 * 9.81), 0.0, 0.0, 0.0]


def test_a_sample_that_is_not_a_number_spoils_no_other():
    matrix = np.repeat(np.eye(6)[:, :, None], 3, axis=2)
    matrix[2, 3, 1] = np.nan
    found = Balance().solve(matrix, np.ones((6, 3)))
    assert np.isnan(found[:, 1]).all()
    assert found[:, [0, 2]].tolist() == np.ones((6, 2)).tolist()


def test_pivots_are_those_of_partial_pivoting():
    from scipy.linalg import lu

    rng = np.random.default_rng(8)
    for _ in range(20):
        matrix = rng.normal(size=(6, 6))
        rows, _, _ = lu(matrix, p_indices=True)
        assert _order(matrix) == np.argsort(rows).tolist()


def test_compliance_is_the_pull_of_springs():
    struts = demonstration_struts()
    q = motion(5, 2, 1)[0]
    stiffness = np.array([150e3, 140e3, 160e3, 120e3, 150e3, 170e3])
    load = np.array([300.0, -200, 100, 2e4, 1e4, -3e4])
    rows = jacobian(struts, q)
    for n in range(5):
        moved = compliance(rows, stiffness)[n] @ load
        stretched = np.linalg.solve(rows[n].T, load) / stiffness  # each spring under its own thrust
        assert np.allclose(rows[n] @ moved, stretched, rtol=1e-9)


def test_torque_of_a_ball_screw():
    # T = F lead / 2 pi eta: 1000 N, 10 mm, 0.9 give 1.768388 N m (machine-design lectures on ball screws)
    lead, forward, backward = np.full((6, 1), 10.0), np.full((6, 1), 1 / 0.9), np.full((6, 1), 0.8)
    push = np.full((6, 3), 1000.0)
    speed = np.tile([50.0, 0.0, -50.0], (6, 1))
    found = torque(push, speed, lead, forward, backward)[0]
    assert found == pytest.approx([1.768388257, 1.768388257, 1000 * 0.01 * 0.8 / (2 * np.pi)], rel=1e-9)


def test_critical_speeds_of_a_long_screw():
    # root 1 in, length 100 in: fixed at both ends about 18 Hz, supported about 8 Hz (a screw maker's white paper);
    # factors 0.32, 1, 1.55, 2.24 as printed are rounded down from the beam's 0.356, 1, 1.562, 2.267
    kinds = ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")
    hertz = [critical_speed(25.4, 0.0, 206e3, 7850.0, ends) / 2540.0**2 / 60.0 for ends in kinds]
    assert hertz == pytest.approx([2.821, 7.920, 12.373, 17.954], abs=1e-3)
    ratios = np.array(hertz) / hertz[1]
    assert ratios == pytest.approx([0.356247, 1.0, 1.562191, 2.266888], abs=1e-5)
    assert (ratios >= [0.32, 1.0, 1.55, 2.24]).all()


def test_a_bore_makes_a_screw_lighter_and_its_critical_speed_higher():
    # I / A = (D^2 + d^2) / 16: the speed goes with the root of it
    solid, hollow = (critical_speed(50.0, bore, 206e3, 7850.0, "fixed-fixed") for bore in (0.0, 30.0))
    assert hollow / solid == pytest.approx((1 + 0.6**2) ** 0.5, rel=1e-12)


def test_euler_columns():
    # hollow strut 1500 mm, 20/14 mm, 207 GPa, and a solid one of 20 mm, 1 m, 206 GPa
    kinds = {"fixed-free": 1354.796, "supported-supported": 5419.184, "fixed-fixed": 21676.736}
    for ends, newton in kinds.items():
        assert buckling_load(20.0, 14.0, 207e3, ends) / 1500.0**2 == pytest.approx(newton, abs=1e-3)
    assert buckling_load(20.0, 0.0, 206e3, "supported-supported") / 1e6 == pytest.approx(15968.232, abs=1e-3)
    assert 1.95 < buckling_load(20.0, 0.0, 206e3, "fixed-supported") / 15968.232e6 < 2.05


def test_rotation_of_links_is_that_of_frames():
    q = motion(10, 4, 1)[0]
    assert np.allclose(links(demonstration_struts(), q).rotation, rotation(*q[3:], "ABC"), atol=1e-15)


def test_a_pivot_that_is_weak_in_the_middle_of_one_sample_is_seen():
    """Rows are ordered for the middle sample of a block; one sample has a nought where that order puts its pivot."""
    rng = np.random.default_rng(3)
    matrix = np.eye(6)[:, :, None] + 0.1 * rng.normal(size=(6, 6, 41))
    right = rng.normal(size=(6, 41))
    for sample, k in ((5, 1), (17, 2), (30, 4)):
        matrix[:, :, sample] = np.eye(6)[[*range(k), k + 1, k, *range(k + 2, 6)]]
        matrix[k, k, sample] = 1e-15
    found = Balance().solve(matrix, right)
    plain = np.linalg.solve(matrix.transpose(2, 0, 1), right.T[:, :, None])[:, :, 0].T
    assert found == pytest.approx(plain, rel=1e-10, abs=1e-10)


@pytest.mark.parametrize("count", [1, 191, 192, 5000])
def test_norms_of_inverses_and_signs_are_those_of_lapack(count):
    """One order of pivots for all, and its own for each matrix that has a bad pivot in it, singular ones too."""
    rng = np.random.default_rng(count)
    matrix = np.linalg.qr(rng.standard_normal((6, 6)))[0][:, :, None] + 0.3 * rng.standard_normal((6, 6, count))
    matrix[0, :, :: max(count // 7, 2)] *= -1.0
    matrix[5, :, -1] = matrix[4, :, -1] if count > 1 else matrix[5, :, -1]
    if count > 1000:
        matrix[:, :, 100:110] = matrix[:, ::-1, :10]
        matrix[3, :, 200] = 0.0
    norm, sign = inverse_norms(matrix)
    rows = matrix.transpose(2, 0, 1)
    value = np.linalg.svd(rows, compute_uv=False)
    whole = value[:, -1] > 1e-6
    by_values = np.sqrt((1.0 / value[whole] ** 2).sum(axis=1))  # |A^-1| by the singular values of A
    assert norm[whole] == pytest.approx(by_values, rel=1e-9)
    assert np.array_equal(sign[whole], np.linalg.slogdet(rows[whole])[0])
    assert (norm[~whole] > 1e6).all()
