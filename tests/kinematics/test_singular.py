"""How near poses are to a singular one: determinants and singular values of our own, random machines and ways."""

import random

import mpmath
import numpy as np
import pytest
from attack.singular import Way, determinant, lines, machine, radius, trial
from hypothesis import given
from hypothesis import strategies as st
from kinematics.poses import demonstration_struts, motion
from kinematics.test_jacobian import ring

from hexpost.kinematics.links import links
from hexpost.kinematics.singular import LEAST, Course, Nearness, Watch, conditioning, lowest, used
from hexpost.kinematics.struts import Struts

SEEDS = st.integers(0, 2**32 - 1)


def near(struts, side=1.0):
    return Nearness(struts, radius(struts), side)


def exact(struts, pose):
    """Return the conditioning by its definition, determinant and adjugate, in 60 digits."""
    with mpmath.workdps(60):
        a, b, c = (mpmath.mpf(float(v)) for v in pose[3:])
        turn = _turn(2, c) * _turn(1, b) * _turn(0, a)
        joints = [turn * mpmath.matrix(p.tolist()) + mpmath.matrix(pose[:3].tolist()) for p in struts.platform]
        middle = sum(joints, mpmath.zeros(3, 1)) / 6
        length = mpmath.sqrt(sum(mpmath.norm(p - middle) ** 2 for p in joints) / 6)
        rows = mpmath.matrix(6, 6)
        for k, (p, base) in enumerate(zip(joints, struts.base, strict=True)):
            u = p - mpmath.matrix(base.tolist())
            u /= mpmath.norm(u)
            r = (p - middle) / length
            m = (r[1] * u[2] - r[2] * u[1], r[2] * u[0] - r[0] * u[2], r[0] * u[1] - r[1] * u[0])
            for i in range(3):
                rows[k, i], rows[k, 3 + i] = u[i], m[i]
        size, det = mpmath.mnorm(rows, "f"), mpmath.det(rows)
        return float(6 * det / (size * mpmath.mnorm(rows**-1 * det, "f"))), float(size)


def _turn(axis, angle):
    s, c = mpmath.sin(angle), mpmath.cos(angle)
    out = mpmath.eye(3)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    out[i, i], out[j, j], out[i, j], out[j, i] = c, c, -s, s
    return out


def test_the_measure_is_the_determinant_over_the_norms_of_jacobian_and_adjugate():
    struts = demonstration_struts()
    (poses,) = motion(12, 3, 1)
    poses[4] -= np.linspace(0, 1.6, 12)  # on both sides of singular poses
    found, norm = near(struts).of(links(struts, poses))
    assert found.min() < 0 < found.max()
    for i, pose in enumerate(poses.T):
        wanted, size = exact(struts, pose)
        assert found[i] == pytest.approx(wanted, abs=1e-12)
        assert norm[i] == pytest.approx(size, rel=1e-12)


def test_perfect_and_singular_rows():
    assert conditioning(np.eye(6)[..., None])[0] == pytest.approx(1.0)
    assert conditioning(np.diag([-1.0, -1, -1, -1, -1, 1])[..., None])[0] == pytest.approx(-1.0)
    assert conditioning(np.diag([1, 1, 1, 1, 1, 0.0])[..., None])[0][0] == 0.0


@given(SEEDS)
def test_neither_units_nor_frames_nor_the_tool_change_it(seed):
    rng = np.random.default_rng(seed)
    struts, pose, _ = machine(rng)
    q = pose[:, None]
    found, _ = near(struts).of(links(struts, q))
    inches = Struts(struts.base / 25.4, struts.platform / 25.4, struts.order)
    q_inches = q / np.array([25.4] * 3 + [1.0] * 3)[:, None]
    tool = rng.normal(size=3) * radius(struts)
    longer = Struts(struts.base, struts.platform + tool, struts.order)
    at = links(struts, q).rotation[:, :, 0]
    q_longer = q - np.append(at @ tool, np.zeros(3))[:, None]
    for other, there in ((inches, q_inches), (longer, q_longer)):
        assert near(other).of(links(other, there))[0] == pytest.approx(found, rel=1e-9)
    assert near(struts, -1.0).of(links(struts, q))[0] == pytest.approx(-found, rel=1e-15)


@given(SEEDS, st.floats(-4, 0))
def test_within_a_way_and_a_turn_nothing_is_below_what_was_said(seed, power):
    """Random poses within the way and the turn; the worst of many, among them those that go straight down."""
    rng = np.random.default_rng(seed)
    struts, pose, scale = machine(rng)
    way, turn = 10.0**power * rng.random(2) * [scale, 1.0]
    off = rng.normal(size=(6, 400))
    off[:3] *= way / np.linalg.norm(off[:3], axis=0)
    off[3:] *= turn / np.abs(off[3:]).sum(axis=0)
    off[:, ::4] *= rng.random(100)
    here, watched = links(struts, pose[:, None]), near(struts)
    _, least = watched.floor(here, np.array([way]), np.array([turn]))
    around, _ = watched.of(links(struts, pose[:, None] + off))
    assert around.min() >= least[0] * (1 - 1e-9) - 1e-12


@given(SEEDS)
def test_joints_as_drawings_round_them_make_no_pose_singular_that_has_the_least(seed):
    """Each joint e = L / 13,400 off, in the direction that lowers the determinant most and at random; struts of 2 L."""
    rng = np.random.default_rng(seed)
    struts, pose, _ = machine(rng)
    size = radius(struts)
    far = rng.normal(size=6) * np.repeat([3 * size, 1.0], 3)
    ways = pose[:, None] + far[:, None] * np.linspace(0, 1, 2000)
    here = links(struts, ways)
    found, _ = near(struts, np.sign(near(struts).of(here)[0][0])).of(here)
    good = (found >= LEAST) & (here.length.min(axis=0) >= 2 * size)
    if not good.any():
        return
    worst = ways[:, np.flatnonzero(good)[found[good].argmin()]][:, None]
    side = np.sign(determinant(lines(struts, worst)[0])[0])
    e = size / 13_400
    slopes = np.zeros((2, 6, 3))
    for end in range(2):
        for k in range(6):
            for i in range(3):
                step = np.zeros((2, 6, 3))
                step[end, k, i] = e * 1e-2
                ends = (determinant(lines(built(struts, s * step), worst)[0])[0] for s in (1, -1))
                slopes[end, k, i] = np.subtract(*ends) * side
    down = -slopes / np.maximum(np.linalg.norm(slopes, axis=2, keepdims=True), 1e-300)
    tries = [down, *rng.normal(size=(20, 2, 6, 3))]
    for way in tries:
        off = way / np.maximum(np.linalg.norm(way, axis=2, keepdims=True), 1e-300) * e
        assert determinant(lines(built(struts, off), worst)[0])[0] * side > 0


def built(struts, off):
    """Return struts with their joints (2, 6, 3) off: base, platform."""
    return Struts(struts.base + off[0], struts.platform + off[1], struts.order)


def test_no_crossing_is_missed_and_no_good_pose_refused_on_random_machines_and_ways():
    rng = random.Random(5)
    outcomes = [trial(rng) for _ in range(16)]
    assert sum(o.clean for o in outcomes) > 10 < sum(o.refused for o in outcomes)
    assert not [w for o in outcomes for w in o.wrong]


@pytest.mark.parametrize("seed", range(30))
def test_the_lowest_of_all_samples_is_found(seed):
    rng = np.random.default_rng(seed)
    struts, pose, scale = machine(rng)
    way = Way(rng, struts, pose, scale)
    course, watched = way.course(0.05), near(struts, np.sign(near(struts).of(links(struts, pose[:, None]))[0][0]))
    held, _ = watched.of(links(struts, course.pose))
    if held.min() < LEAST:
        return
    at, found = lowest(watched, course, LEAST, np.inf)
    best = found.argmin()
    assert found[best] == pytest.approx(held.min(), rel=1e-8)
    assert held[at[best]] == pytest.approx(found[best], rel=1e-12)
    assert not len(lowest(watched, course, LEAST, held.min() * 0.99)[0])
    assert not Watch(watched).clear(course, held.min() * 1.001)


def test_a_dip_between_two_samples_is_seen():
    """Turned up to a singular pose, a quarter turn (E. F. Fichter, 1986; from memory), and back within a tick."""
    struts = Struts(ring(650, 20), ring(250, 42.5), "ABC")
    period, peak = 1e-3, np.pi / 2 + 1e-7
    t = (np.arange(201) - 100.5) * period
    pose, rate, pull = np.zeros((6, 201)), np.zeros((6, 201)), np.zeros((6, 201))
    pose[2] = 600.0
    pose[5], rate[5], pull[5] = peak - 4 * t * t, -8 * t, np.full(201, -8.0)
    course = Course(pose=pose, rate=rate, acceleration=pull, period=period, most=(0.0, 8.0))
    side = np.sign(near(struts).of(links(struts, pose[:, :1]))[0][0])
    sampled, _ = near(struts, side).of(links(struts, pose))
    bound = sampled.min() / 2.0
    assert sampled.min() > 0
    at, found = lowest(near(struts, side), course, bound, 0.0)
    assert found.min() < bound
    assert at[found.argmin()] in range(98, 104)
    assert 90 < at.min() < at.max() < 111


def test_what_is_used_grows_as_the_conditioning_falls_on_either_side():
    found = np.array([1.0, 0.5, 0.1, 0.05, 0.04, 0.0, -0.3, -1.0])
    share = used(found, 0.05)
    assert (np.diff(share) > 0).all()
    assert share[3] == 1.0
    assert share[-1] == pytest.approx(2.05)
