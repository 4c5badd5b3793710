"""Natural frequencies against MuJoCo and by hand; what is left of a ramp against the closed form of two averages."""

from math import cos, pi, sin, sqrt

import numpy as np
import pytest
from machine.described import REST, STRUT, text

from hexpost.kinematics.dynamics import RigidBody
from hexpost.kinematics.elastic import Springs
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.kinematics.vibration import ElasticPlatform, swings
from hexpost.machine.elastic import elastic_platform
from hexpost.machine.load import machine_from

HOME = np.array([0.0, 0.0, 520.0, 0.0, 0.0, 0.0])
EDGE = np.array([250.0, 250.0, 570.0, 0.0, 0.0, 0.0])
TILTED = np.array([150.0, 150.0, 570.0, *np.radians([20.0, 20.0, 0.0])])


@pytest.fixture(scope="module")
def machine():
    return machine_from(text(STRUT, REST).encode(), "m.toml")


@pytest.fixture(scope="module")
def seen(machine):
    tip = machine.platform.gauge_point - np.array([0.0, 0.0, 120.0])
    struts = StrutModel(machine).in_frame(np.eye(4), tip)
    return struts, elastic_platform(machine, struts, tip), tip


def by_mujoco(machine, struts, tip, pose):
    """Return the frequencies (6,) [Hz] of a free body on six elastic tendons, by its own mass matrix and forces."""
    import mujoco

    turn = rotation(*pose[3:], "ABC")
    platform = machine.platform
    lengths = struts.lengths(pose[:, None])[:, 0] / 1e3
    base = "".join(
        f'<site name="b{i}" pos="{" ".join(map(repr, (p / 1e3).tolist()))}"/>' for i, p in enumerate(struts.base)
    )
    ends = "".join(
        f'<site name="p{i}" pos="{" ".join(map(repr, (p / 1e3).tolist()))}"/>' for i, p in enumerate(struts.platform)
    )
    balls = "".join(
        f'<body pos="{" ".join(map(repr, (p / 1e3).tolist()))}"><inertial pos="0 0 0" mass="{s.body.platform_end_kg}" '
        'diaginertia="1e-9 1e-9 1e-9"/></body>' for p, s in zip(struts.platform, machine.struts, strict=True)
    )  # fmt: skip
    tendons = "".join(
        f'<spatial stiffness="{s.body.stiffness * 1e3}" springlength="{x!r}"><site site="b{i}"/>'
        f'<site site="p{i}"/></spatial>'
        for i, (s, x) in enumerate(zip(machine.struts, lengths.tolist(), strict=True))
    )
    centre = " ".join(map(repr, ((platform.centre_of_mass - tip) / 1e3).tolist()))
    inertia = " ".join(map(str, np.diag(platform.inertia_kg_m2)))
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option gravity="0 0 0"/><worldbody>{base}<body name="platform"><freejoint/>'
        f'<inertial pos="{centre}" mass="{platform.mass_kg}" diaginertia="{inertia}"/>{ends}{balls}</body></worldbody>'
        f"<tendon>{tendons}</tendon></mujoco>"
    )
    data = mujoco.MjData(model)
    quaternion = np.empty(4)
    mujoco.mju_mat2Quat(quaternion, turn.ravel())
    home = np.concatenate([pose[:3] / 1e3, quaternion])
    forces, nudge = [], 1e-7
    for k in range(6):
        pair = []
        for sign in (1.0, -1.0):
            data.qpos[:] = home
            mujoco.mj_integratePos(model, data.qpos, sign * nudge * np.eye(6)[k], 1.0)
            mujoco.mj_forward(model, data)
            pair.append(data.qfrc_passive.copy())
        forces.append((pair[0] - pair[1]) / (2.0 * nudge))
    mass = np.zeros((6, 6))
    data.qpos[:] = home
    mujoco.mj_forward(model, data)
    for row, unit in zip(mass, np.eye(6), strict=True):
        mujoco.mj_mulM(model, data, row, unit)
    from scipy.linalg import eigh

    stiffness = -np.array(forces)
    return np.sqrt(eigh((stiffness + stiffness.T) / 2.0, mass, eigvals_only=True)) / (2.0 * pi)


@pytest.mark.parametrize("pose", [HOME, EDGE, TILTED])
def test_modes_are_those_of_mujoco(machine, seen, pose):
    struts, springs, tip = seen
    assert springs.frequencies(pose[:, None])[:, 0] / (2.0 * pi) == pytest.approx(
        by_mujoco(machine, struts, tip, pose), rel=1e-5
    )
    assert springs.modes(pose)[0] == pytest.approx(springs.frequencies(pose[:, None])[:, 0], rel=1e-12)


def test_a_body_on_three_pairs_of_struts_by_hand():
    """Two parallel springs k a way bear a mass m: f = sqrt(2 k / m) / 2 pi; at arms d they turn it: 2 k d2 for m."""
    k, m, d, far = 2e4, 300.0, 200.0, 1e6
    arms = d * np.array([[0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1], [1, 0, 0], [-1, 0, 0]], dtype=float)
    ways = np.array([[1, 0, 0]] * 2 + [[0, 1, 0]] * 2 + [[0, 0, 1]] * 2, dtype=float)
    inertia = np.diag([2.0, 3.0, 5.0]) * 1e6
    body = RigidBody(mass=m, centre=np.zeros(3), inertia=inertia)
    one = np.ones((6, 1))
    row = Springs(fixed=one / k, growing=0.0 * one, supported=0.0 * one)
    springs = ElasticPlatform(Struts(arms - far * ways, arms, "ABC"), body, row, 0.02)
    straight = sqrt(2.0 * k * 1e3 / m)
    turned = [sqrt(2.0 * k * 1e3 * d**2 / x) for x in np.diag(inertia)]  # struts along x turn it about z, and so on
    assert springs.frequencies(np.zeros((6, 1)))[:, 0] == pytest.approx(sorted([straight] * 3 + turned), rel=1e-4)


@pytest.mark.parametrize("long", [0.5, 1.0, 1.37, 2.0])
@pytest.mark.parametrize("damping", [0.0, 0.05])
def test_what_a_trapezoid_of_acceleration_leaves(long, damping):
    """Two averages of one push: each passes (1 - exp(p T)) / (-p T) of a mode with the pole p, by Laplace transform.

    T. Singh, W. Singhose 2002, on filters in time; from memory. Without damping a whole period passes nothing.
    """
    w, h, a = 2.0 * pi * 60.0, 1e-4, 1000.0
    period = 1.0 / 60.0
    short, window = round(0.7 * period / h), round(long * period / h)
    acceleration = np.convolve(np.ones(short) / short, np.ones(window) / window)
    acceleration = a * np.concatenate([[0.0], acceleration, [0.0]])
    mean = 0.5 * (acceleration[1:] + acceleration[:-1])
    found = abs(swings(np.array([w]), damping, acceleration[None], mean[None], h)[0])
    pole = w * complex(-damping, sqrt(1.0 - damping**2))
    passed = [abs((1.0 - np.exp(pole * n * h)) / (pole * n * h)) for n in (short, window)]
    expected = a * h * passed[0] * passed[1] / abs(pole.imag)
    assert found == pytest.approx(expected, rel=3e-3, abs=1e-3 * a * h / w)


@pytest.mark.parametrize("hertz", [34.0, 51.0, 62.0])
def test_a_period_that_is_long_beside_a_mode_tells_the_swing_all_the_same(hertz):
    """Against the same motion at a 64th of 4 ms; straight lines between the samples were up to a fifth off."""
    h, fine, w = 4e-3, 64, 2.0 * pi * hertz
    time = np.arange(80 * fine + 1) * h / fine
    knees = np.array([0.0, 3.3, 7.9, 11.6, 15.1, 18.3, 24.7, 60.2]) * h  # where jerk changes, off the ticks
    acceleration = np.interp(time, knees, [0.0, 900.0, 900.0, 0.0, 0.0, -900.0, -300.0, 0.0])
    rate = np.cumsum(np.append(0.0, 0.5 * (acceleration[1:] + acceleration[:-1]) * h / fine))

    def swing(every):
        own = h * every / fine
        mean = np.diff(rate[::every]) / own
        return abs(swings(np.array([w]), 0.02, acceleration[None, ::every], mean[None], own)[0])

    assert swing(fine) == pytest.approx(swing(1), rel=0.05)


def test_a_swing_is_that_of_the_equation_of_motion(seen):
    """The modes are put together again: the whole of M e'' + C e' + K e = -M a is integrated at the rest."""
    from scipy.signal import lsim

    _, springs, _ = seen
    h, n = 1e-3, 400
    time = np.arange(n) * h
    shape = np.where(time > 0.3, 0.0, np.sin(2.0 * pi * time / 0.3) ** 3)
    shape[(time > 0.15)] *= cos(0.4)
    way = np.array([800.0, -500.0, 300.0, 0.4, 0.2, sin(0.3)])
    acceleration = way[:, None] * np.where(time[::-1] < 0.02, 0.0, shape)
    w, modes = springs.modes(TILTED)
    mass, turn = springs._mass, rotation(*TILTED[3:], "ABC")
    axes = np.column_stack([  # Rz Ry Rx: about x turned by B and C, about y turned by C, about z
        turn[:, 0], [-sin(TILTED[5]), cos(TILTED[5]), 0.0], [0.0, 0.0, 1.0],
    ])  # fmt: skip
    pull = np.concatenate([turn.T @ acceleration[:3], turn.T @ axes @ acceleration[3:]])
    inverse = np.linalg.inv(modes)
    stiffness, damping = inverse.T @ np.diag(w**2) @ inverse, inverse.T @ np.diag(0.04 * w) @ inverse

    system = np.zeros((12, 12))
    system[:6, 6:], system[6:, :6] = np.eye(6), np.linalg.solve(mass, -stiffness)
    system[6:, 6:] = np.linalg.solve(mass, -damping)
    drive = np.concatenate([np.zeros((6, 6)), -np.eye(6)])
    fine = np.arange(round((time[-1] + 2.0 * pi / w[0]) * 1e4) + 1) / 1e4
    pushes = np.column_stack([np.interp(fine, time, row, right=0.0) for row in pull])
    found = lsim((system, drive, np.eye(12), np.zeros((12, 6))), pushes, fine)[1]
    swing = np.linalg.norm(found[fine >= time[-1], :3], axis=1).max()
    rate = np.cumsum(0.5 * h * (acceleration + np.roll(acceleration, 1, axis=1)), axis=1)
    assert springs.left(TILTED, rate, acceleration, h) == pytest.approx(swing, rel=5e-3)
