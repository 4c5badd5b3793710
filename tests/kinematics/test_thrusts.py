"""Thrusts along a path by an interpolated inverse: a plain solve of each sample agrees."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kinematics.plain_dynamics import needed, turning
from kinematics.poses import demonstration_struts, motion
from kinematics.test_statics import body

from hexpost.kinematics.dynamics import demand
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import StrutModel, Struts, jacobian
from hexpost.kinematics.thrusts import Cut, LoadedMotion, Thrusts
from hexpost.kinematics.turning import about_tool
from hexpost.machine.load import load_machine
from hexpost.machine.platform import thrusts_of

MACHINE = load_machine(Path(__file__).parents[2] / "samples" / "described.toml")
GRAVITY = np.array([300.0, -200.0, -9810.0])
FORCE = np.array([-100.0, 50.0, 80.0, 2e3, -1e3, 5e3])
PERIOD = 1e-3


def model(struts=None):
    struts = demonstration_struts() if struts is None else struts
    return Thrusts(struts, body(struts), GRAVITY, FORCE)


def moved(q, cut=None):
    return LoadedMotion(pose=q[0], rate=q[1], bend=q[2], period=PERIOD, cut=Cut() if cut is None else cut)


def swings(n, hertz, size, at=0.0):
    """Return poses, rates and accelerations (6, n) of six sines."""
    w = 2 * np.pi * hertz * np.array([1.0, 0.7, 1.3, 0.9, 1.1, 0.6])[:, None]
    size, phase = np.asarray(size)[:, None], w * (np.arange(n) * PERIOD) + np.arange(6)[:, None]
    return [size * np.sin(phase) + at, size * w * np.cos(phase), -size * w * w * np.sin(phase)]


def plainly(struts, q, cut):
    """Return the thrusts (6, n) by Newton's and Euler's equations in the work frame and a solve of each sample."""
    r = rotation(*q[0][3:], struts.order)
    wrench = needed(body(struts), r, q[2][:3], GRAVITY, turning(r, *q, struts.order))
    on, axial, drag = (np.zeros(q[0].shape[1]) if x is None else x for x in (cut.on, cut.axial, cut.drag))
    for half in (slice(0, 3), slice(3, 6)):
        wrench[half] -= np.einsum("ijn,j->in", r, FORCE[half]) * on
    wrench[:3] -= axial * r[:, 2] - drag * q[1][:3]
    rows = jacobian(struts, q[0])
    return np.linalg.solve(rows.swapaxes(1, 2), wrench.T[:, :, None])[:, :, 0].T


def off(found, plain):
    """Return the largest difference over the largest thrust of the sample."""
    return (np.abs(found - plain).max(axis=0) / np.abs(plain).max(axis=0)).max()


@pytest.mark.parametrize("order", ["ABC", "ACB", "BAC", "BCA", "CAB", "CBA"])
def test_random_samples_in_every_order_of_angles(order):
    plain = demonstration_struts()
    struts = Struts(plain.base, plain.platform, order)
    q = motion(300, 4, 3)
    cut = Cut(on=np.arange(300) % 2.0, axial=np.linspace(0, 90, 300), drag=np.linspace(0, 3, 300))
    found = model(struts).along(moved(q, cut), struts.lengths(q[0]))
    assert off(found, plainly(struts, q, cut)) < 1e-11


@settings(max_examples=25, deadline=None)
@given(
    n=st.integers(1, 700), hertz=st.floats(0.05, 3.0), share=st.floats(0.0, 1.0), seed=st.integers(0, 99),
    still=st.sampled_from([(), (3, 4, 5), (5,), (0, 1, 2)]),
)  # fmt: skip
def test_smooth_samples(n, hertz, share, seed, still):
    struts = demonstration_struts()
    size = np.array([200.0, 200, 80, 0.3, 0.3, 0.3]) * share
    size[list(still)] = 0.0
    q = swings(n, hertz, size)
    rng = np.random.default_rng(seed)
    cut = Cut(on=rng.integers(0, 2, n).astype(float), drag=rng.uniform(0, 5, n))
    found = model().along(moved(q, cut), struts.lengths(q[0]))
    assert off(found, plainly(struts, q, cut)) < 1e-9


def test_most_samples_of_a_smooth_path_are_not_eliminated(monkeypatch):
    struts = demonstration_struts()
    q = swings(20_000, 0.4, [150.0, 120, 60, 0.2, 0.2, 0.1])
    eliminated = []
    balanced = Thrusts.balanced
    monkeypatch.setattr(Thrusts, "balanced", lambda *a: eliminated.append(a[2].shape[1]) or balanced(*a))
    found = model().along(moved(q), struts.lengths(q[0]))
    assert sum(eliminated) < 64  # what is left at the end of the block
    assert off(found, plainly(struts, q, Cut())) < 1e-11


def test_a_jump_of_the_pose_within_a_block_is_noticed():
    struts = demonstration_struts()
    q = swings(4096, 0.2, [100.0, 100, 50, 0.2, 0.2, 0.2])
    q[0][0, 1500:] += 60.0
    q[0][4, 3000:3010] += 0.2
    assert off(model().along(moved(q), struts.lengths(q[0])), plainly(struts, q, Cut())) < 1e-9


def test_through_a_singular_pose():
    struts, n = demonstration_struts(), 4096
    q = [np.zeros((6, n)) for _ in range(3)]
    q[0][2] = 200.0
    q[0][5] = np.linspace(0.0, np.pi / 2, n)  # singular near 55 degrees
    q[1][5] = np.pi / 2 / (n - 1) / PERIOD
    rows = jacobian(struts, q[0]) / np.array([1.0, 1, 1, 500, 500, 500])
    assert np.linalg.det(rows[0]) * np.linalg.det(rows[-1]) < 0.0
    found = model(struts).along(moved(q), struts.lengths(q[0]))
    plain = plainly(struts, q, Cut())
    error = np.abs(found - plain).max(axis=0) / np.abs(plain).max(axis=0)
    assert (error < 1e-13 * np.linalg.cond(rows) + 1e-9).all()


def test_an_exactly_singular_platform_has_no_thrusts_and_no_warnings():
    struts = Struts(1000 * np.eye(6)[:, :3], np.zeros((6, 3)), "ABC")
    q = swings(512, 0.1, [10.0, 10, 10, 0.1, 0.1, 0.1], at=np.array([[0], [0], [900.0], [0], [0], [0]]))
    found = model(struts).along(moved(q), struts.lengths(q[0]))
    assert np.isnan(found).all()


def test_demand_is_newton_and_euler_about_the_tip():
    struts = demonstration_struts()
    a, alpha, w = np.array([1e3, -2e3, 500.0]), np.array([3.0, -1, 2]), np.array([0.5, 1.5, -2.0])
    rows = np.concatenate([a - GRAVITY, alpha, w * w, w * np.roll(w, -1)])
    plain = needed(body(struts), np.eye(3)[:, :, None], a[:, None], GRAVITY, (w[:, None], alpha[:, None]))
    assert np.allclose(demand(body(struts)) @ rows, plain[:, 0], rtol=1e-12)


@pytest.mark.parametrize("order", ["ABC", "CBA"])
@pytest.mark.parametrize("yaw", [0.0, 0.1])
def test_what_the_solution_knows_of_the_poses_serves_the_thrusts(order, yaw):
    """Rows kept from the solution, where there are any, make the same thrusts as the poses alone, to rounding."""
    plain = demonstration_struts()
    struts = Struts(plain.base, plain.platform, order)
    q = swings(400, 0.5, [80.0, 60.0, 20.0, 0.2, 0.15, yaw])
    derivatives, turned = struts.derivatives_and_turned(q)
    assert (turned is None) == (order != "ABC" or yaw != 0.0)
    assert all((x == y).all() for x, y in zip(derivatives, struts.derivatives(q), strict=True))
    lengths, thrusts = derivatives[0], model(struts)
    known = LoadedMotion(pose=q[0], rate=q[1], bend=q[2], period=PERIOD, cut=Cut(), turned=turned)
    for of in (thrusts.along, thrusts.balanced):
        assert off(of(known, lengths), of(moved(q), lengths).copy()) < 1e-12


@pytest.mark.parametrize(
    ("rate", "samples"),
    [
        ([0, 0, 0, 0, 0, 0], 64), ([400, 0, 0, 0, 0, 0], 64), ([1000, 0, 0, 0, 0, 0], 32), ([-1000, 0, 0, 0, 0, 0], 32),
        ([600, 600, 0, 0, 0, 0], 32), ([0, 1500, -1500, 0, 0, 0], 8), ([50_000, 0, 0, 0, 0, 0], 8),
    ],
)  # fmt: skip
def test_inverted_poses_lie_no_farther_apart_than_thirty_two_millimetres(rate, samples):
    """32 mm over the travel of a sample by the fastest motion of the block, as a power of two from 8 to 64."""
    rates = np.zeros((6, 9))
    rates[:, 4] = rate
    found = model()._step(
        LoadedMotion(pose=np.zeros((6, 9)), rate=rates, bend=np.zeros((6, 9)), period=PERIOD, cut=Cut())
    )
    assert found == samples


@pytest.mark.parametrize("axis", [3, 4, 5])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_a_turn_counts_as_travel_at_the_lever_of_the_struts(axis, sense):
    thrusts = model()
    travel = 24.0  # a sample would have to travel 32 mm in 1.33 samples: far beyond the fewest
    rates = np.zeros((6, 9))
    for share, samples in ((travel, 8), (0.9, 32), (0.3, 64)):
        rates[axis, 2] = sense * share / PERIOD / thrusts._lever
        assert thrusts._step(moved([np.zeros((6, 9)), rates, np.zeros((6, 9))])) == samples


@pytest.mark.parametrize("order", ["ABC", "CBA"])
def test_parts_along_a_path_make_the_thrusts_of_the_motion(order):
    plain = demonstration_struts()
    struts = Struts(plain.base, plain.platform, order)
    pose, slope, curve = motion(60, 9, 3)
    rng = np.random.default_rng(2)
    v, a, on = rng.uniform(-3, 3, 60), rng.uniform(-5, 5, 60), rng.integers(0, 2, 60).astype(float)
    still, ramp, bend, cut = model(struts).parts((pose, slope, curve))
    moved = [pose, slope * v, slope * a + curve * v * v]
    assert off(still + ramp * a + bend * v * v + cut * on, plainly(struts, moved, Cut(on=on))) < 1e-10


@pytest.mark.parametrize("yaw", [0.4, -1.1])
def test_a_platform_turned_about_its_tool_is_one_whose_poses_are_turned(yaw):
    """Struts, body and force seen turned by the yaw, at the poses of the tool; or as they are, at turned poses."""
    frame = np.eye(4)
    frame[:3, 3] = [20.0, -30.0, 500.0]
    tip = MACHINE.platform.gauge_point
    there, here = (thrusts_of(MACHINE, StrutModel(MACHINE).in_frame(frame, tip, x), frame, tip, x) for x in (yaw, 0.0))
    q = swings(200, 0.3, [60.0, 50, 20, 0.1, 0.15, 0.05])
    turn = (np.full(200, yaw), np.zeros(200), np.zeros(200))
    turned = about_tool(q, turn, MACHINE.tilt_order)
    cut = Cut(on=np.ones(200))
    found = (
        t.along(moved(m, cut), t_struts.lengths(m[0]))
        for t, t_struts, m in (
            (there, StrutModel(MACHINE).in_frame(frame, tip, yaw), q),
            (here, StrutModel(MACHINE).in_frame(frame, tip), turned),
        )
    )
    one, other = (x.copy() for x in found)
    assert off(one, other) < 1e-9


def test_thrusts_of_a_push_along_each_axis_of_the_platform():
    struts = demonstration_struts()
    pose, still = motion(40, 6, 1)[0], np.zeros((6, 40))
    rest, pushes = model(struts).along_axes(pose)
    assert off(rest, plainly(struts, [pose, still, still], Cut())) < 1e-10
    r = rotation(*pose[3:], struts.order)
    for axis in range(3):
        bend = np.concatenate([r[:, axis], np.zeros((3, 40))])
        both = plainly(struts, [pose, still, bend * 1e4], Cut())
        assert off(rest + 1e4 * pushes[axis], both) < 1e-10
