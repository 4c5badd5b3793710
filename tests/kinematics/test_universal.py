"""Universal joints: against scipy's rotations, finite differences, the form with cross products, and worked figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from kinematics.poses import demonstration_struts, motion
from scipy.spatial.transform import Rotation

from hexpost.kinematics.links import links
from hexpost.kinematics.struts import Struts, angle_axes
from hexpost.kinematics.universal import UniversalJoints, joints_of, twist


class Pair:
    """Axes of one joint."""

    def __init__(self, outer, inner):
        self.outer, self.inner = outer, inner


def random_joints(seed):
    """Return six random joints and the vectors they are made of."""
    frames = Rotation.random(6, random_state=seed).as_matrix()
    return frames, [Pair(f[:, 0], f[:, 1]) for f in frames]


@given(st.integers(0, 10_000), st.floats(-1.5, 1.5), st.floats(-1.4, 1.4))
def test_angles_turn_the_neutral_strut_about_both_axes(seed, first, second):
    frames, pairs = random_joints(seed)
    sign = np.where(np.arange(6) % 2, -1.0, 1.0)[:, None]
    neutral = frames[:, :, 2] * sign  # the normal may point either way
    joints = joints_of(pairs, neutral)
    turned = [
        (Rotation.from_rotvec(first * f[:, 0]) * Rotation.from_rotvec(second * f[:, 1])).apply(n)
        for f, n in zip(frames, neutral, strict=True)
    ]
    direction = np.array(turned).T[:, :, None]
    assert np.allclose(joints.angles(direction)[:, :, 0], [[first] * 6, [second] * 6], atol=1e-9)
    assert np.allclose(joints.swing(direction)[:, 0], np.cos(first) * np.cos(second), atol=1e-12)


def case(n, seed):
    """Return struts, joints at both ends, and links, directions and their rates of a random motion."""
    struts = demonstration_struts()
    q, rate = motion(n, seed, 2)
    at = links(struts, q)
    home = links(struts, np.zeros((6, 1))).direction[:, :, 0].T
    pairs = []
    for n_ in home:
        outer = np.cross(n_, [0.3, -0.2, 0.9])
        outer /= np.linalg.norm(outer)
        pairs.append(Pair(outer, np.cross(n_, outer)))
    return struts, joints_of(pairs, home), q, rate, at


def test_links_hold_the_struts():
    struts, _, q, _, at = case(50, 3)
    assert np.allclose(at.length, struts.lengths(q), rtol=1e-14)
    assert np.allclose((at.direction**2).sum(axis=0), 1.0)
    seen = np.einsum("jin,jkn->ikn", at.rotation, at.direction)
    assert np.allclose(at.seen, seen, atol=1e-15)
    still = np.repeat(q[:, :1], 4, axis=1)
    assert np.allclose(links(struts, still).direction[:, :, 3], at.direction[:, :, 0], atol=1e-15)


def test_rates_equal_finite_differences_at_both_ends():
    struts, joints, q, rate, at = case(40, 5)
    h = 1e-5
    ahead, back = links(struts, q + h * rate), links(struts, q - h * rate)
    change = (ahead.direction - back.direction) / (2 * h)
    numeric = (joints.angles(ahead.direction) - joints.angles(back.direction)) / (2 * h)
    assert np.abs(joints.rates(at.direction, change) - numeric).max() < 1e-6
    seen_change = (ahead.seen - back.seen) / (2 * h)
    numeric = (joints.angles(ahead.seen) - joints.angles(back.seen)) / (2 * h)
    assert np.abs(joints.rates(at.seen, seen_change) - numeric).max() < 1e-6
    w = np.einsum("nij,jn->in", angle_axes(q, "ABC"), rate[3:])
    assert np.isfinite(w).all()


def test_twist_equals_the_form_with_the_inner_axes():
    _, joints, _, _, at = case(200, 7)
    platform = UniversalJoints(outer=joints.third, neutral=joints.neutral, third=-joints.outer, sense=np.ones(6))
    found = twist(joints.outer, platform.outer, at.rotation, at.direction, at.seen)
    for k in range(6):
        n = at.direction[:, k].T
        b = np.einsum("ijn,j->ni", at.rotation, platform.outer[k])
        e, f = np.cross(joints.outer[k], n), np.cross(b, n)
        plain = np.arctan2((np.cross(e, f) * n).sum(axis=1), (e * f).sum(axis=1))
        assert np.abs(np.exp(1j * found[k]) - np.exp(1j * plain)).max() < 1e-12


# Joint circles of M. J. Nategh and M. M. Agheli, 2009 (nominal); twists worked out by hand from the definition.
NATEGH = (
    [(305.4001, 111.1565), (-56.4357, 320.0625), (-248.9644, 208.906)],
    [(92.1597, 84.4488), (27.055, 122.037), (-119.2146, 37.5882)],
)


def nategh():
    """Return struts and tangential outer axes of the nominal geometry."""
    base, platform = (np.array([(x, y, 0) for x, y in half] + [(x, -y, 0) for x, y in half[::-1]]) for half in NATEGH)
    tangent = np.array([[-y, x, 0] / np.hypot(x, y) for x, y, _ in base])
    seen = np.array([[-y, x, 0] / np.hypot(x, y) for x, y, _ in platform])
    return Struts(base, platform, "ABC"), tangent, seen


def twists(pose):
    """Return the twists (6,) at a pose against those at (0, 0, 800)."""
    struts, a, b = nategh()
    out = []
    for q in (pose, [0, 0, 800.0, 0, 0, 0]):
        at = links(struts, np.array(q, dtype=float)[:, None])
        out.append(twist(a, b, at.rotation, at.direction, at.seen)[:, 0])
    return out[0] - out[1]


def test_yaw_twists_every_screw_by_nearly_the_yaw():
    found = np.degrees(twists([0, 0, 800, 0, 0, np.radians(10)]))
    assert found.min() == pytest.approx(9.835, abs=5e-4)
    assert found.max() == pytest.approx(10.011, abs=5e-4)
    length = 10.0 * found / 360.0  # a lead of 10 mm
    assert (length.min(), length.max()) == (pytest.approx(0.273, abs=5e-4), pytest.approx(0.278, abs=5e-4))


def test_tilt_and_shift_twist_less():
    tilt = 10.0 * twists([0, 0, 800, np.radians(20), 0, 0]) / (2 * np.pi)
    assert (tilt.min(), tilt.max()) == (pytest.approx(-0.136, abs=5e-4), pytest.approx(0.158, abs=5e-4))
    assert np.abs(10.0 * twists([100, 0, 800, 0, 0, 0]) / (2 * np.pi)).max() == pytest.approx(0.020, abs=5e-4)
    assert np.abs(10.0 * twists([0, 0, 1000, 0, 0, 0]) / (2 * np.pi)).max() == pytest.approx(0.005, abs=5e-4)
