"""The Jacobian against differences of lengths, closed forms and singular poses known from the literature."""

from itertools import permutations
from math import cos, pi, sin, sqrt

import numpy as np
import pytest
from kinematics.poses import demonstration_struts, motion

from hexpost.kinematics.frames import rotation
from hexpost.kinematics.links import links
from hexpost.kinematics.singular import Nearness
from hexpost.kinematics.struts import Struts, angle_axes, jacobian

ORDERS = ["".join(p) for p in permutations("ABC")]


def ring(radius, half_angle, height=0.0):
    """Six points on a circle: h, 120 - h, 120 + h ... degrees."""
    h = half_angle
    azimuth = np.deg2rad([h, 120 - h, 120 + h, 240 - h, 240 + h, 360 - h])
    return np.stack([radius * np.cos(azimuth), radius * np.sin(azimuth), np.full(6, height)], axis=1)


def conditioning_at(struts, q):
    return abs(Nearness(struts, 300.0, 1.0).of(links(struts, q[:, None]))[0][0])


@pytest.mark.parametrize("order", ORDERS)
def test_angle_axes_give_the_angular_velocity(order):
    q, rate = motion(20, 1, 2)
    h = 1e-5
    before, after = (rotation(*(q + rate * t)[3:], order) for t in (-h, h))
    skew = np.einsum("ijn,kjn->nik", (after - before) / (2 * h), rotation(*q[3:], order))
    w = np.einsum("nij,jn->ni", angle_axes(q, order), rate[3:])
    assert np.abs(w - np.stack([skew[:, 2, 1], skew[:, 0, 2], skew[:, 1, 0]], axis=1)).max() < 1e-8


@pytest.mark.parametrize("order", ORDERS)
def test_jacobian_times_twist_is_the_rate_of_the_lengths(order):
    seen = demonstration_struts()
    struts = Struts(seen.base, seen.platform, order)
    q, rate = motion(50, 2, 2)
    w = np.einsum("nij,jn->in", angle_axes(q, order), rate[3:])
    found = np.einsum("nij,jn->in", jacobian(struts, q), np.vstack([rate[:3], w]))
    assert np.abs(found - struts.derivatives([q, rate])[1]).max() < 1e-10


@pytest.mark.parametrize(
    ("base_radius", "alpha", "radius", "beta", "height", "yaw"),
    [(650, 20, 250, 42.5, 800, 0.0), (1000, 8, 400, 66, 700, 0.3), (3, 11, 2, 48, 1.7, -0.8), (1, 0, 0.6, 60, 1, 0.0)],
)
def test_determinant_of_the_symmetric_platform(base_radius, alpha, radius, beta, height, yaw):
    """det J l1...l6 = 54 h3 R3 r3 sin3(beta - alpha) cos(yaw): worked out by hand for a central pose.

    Its zeros are a yaw of 90 degrees, and similar plates (alpha = beta).
    """
    struts = Struts(ring(base_radius, alpha), ring(radius, beta), "ABC")
    q = np.array([0, 0, height, 0, 0, yaw])[:, None]
    found = np.linalg.det(jacobian(struts, q)[0]) * struts.lengths(q).prod()
    closed = 54 * (height * base_radius * radius * sin((beta - alpha) * pi / 180)) ** 3 * cos(yaw)
    assert found == pytest.approx(closed, rel=1e-10)


def determinant_of_triangles(a, b, h):
    """Struts between two regular triangles with sides a (platform) and b (base), h apart, turned by 60 degrees."""
    struts = Struts(ring(b / sqrt(3), 0), ring(a / sqrt(3), 60), "ABC")
    return np.linalg.det(jacobian(struts, np.array([0, 0, h, 0, 0, 0])[:, None])[0])


def test_two_regular_triangles_hold_best_at_twice_the_side_and_its_height():
    """The formula above with R = b / sqrt3, r = a / sqrt3, beta - alpha = 60 and l2 = (a2 - ab + b2)/3 + h2.

    det J = 3 sqrt3 (a b h)3 / (4 l6). Its logarithm has the slopes 3/b - (2b - a)/l2 by b and 3/h - 6h/l2 by h. Both
    are 0 at b = 2a, h = a, where l2 = 2 a2 and det J = 3 sqrt3 a3 / 4.
    """
    for a, b, h in ((1.0, 2.0, 1.0), (1.0, 1.7, 0.6), (2.0, 5.0, 1.5)):
        closed = 3 * sqrt(3) * (a * b * h) ** 3 / (4 * ((a * a - a * b + b * b) / 3 + h * h) ** 3)
        assert determinant_of_triangles(a, b, h) == pytest.approx(closed)
    best = determinant_of_triangles(1.0, 2.0, 1.0)
    assert best == pytest.approx(3 * sqrt(3) / 4, rel=1e-12)
    others = [determinant_of_triangles(1.0, b, h) for b in (1.6, 1.98, 2.02, 2.5) for h in (0.7, 0.98, 1.02, 1.4)]
    assert max(others) < best


@pytest.mark.parametrize("yaw", [pi / 2, -pi / 2])
def test_a_quarter_turn_of_yaw_is_singular(yaw):
    """The formula above: the cosine of the yaw is 0."""
    struts = Struts(ring(650, 20), ring(250, 42.5), "ABC")
    assert conditioning_at(struts, np.array([0, 0, 600, 0, 0, yaw])) < 1e-15
    assert conditioning_at(struts, np.array([0, 0, 600, 0, 0, yaw * 89 / 90])) > 1e-3


def test_similar_plates_on_circles_are_singular_everywhere():
    """T. Charters, P. Freitas, arXiv:0811.1122."""
    struts = Struts(ring(650, 20), ring(250, 20), "ABC")
    (poses,) = motion(5, 7, 1)
    for q in poses.T:
        assert conditioning_at(struts, q + np.array([0, 0, 800, 0, 0, 0])) < 1e-14


def test_two_equal_regular_hexagons_lose_three_directions():
    """T. Charters, R. Enguica, P. Freitas, 2009: singular values 2.44949 1.732051 1.690309 0 0 0."""
    struts = Struts(ring(1, 30), ring(1, 30), "ABC")
    rows = jacobian(struts, np.array([0.1, 0.2, 1, 0, 0, 0])[:, None])[0]
    assert np.allclose(np.linalg.svd(rows)[1], [2.44949, 1.732051, 1.690309, 0, 0, 0], atol=1e-6)


def test_singular_surface_at_fixed_orientation_is_a_cubic_in_position():
    """S. Bandyopadhyay, A. Ghosal: det J l1...l6 is a polynomial of degree 3 in x, y, z."""
    struts = demonstration_struts()
    scale = 300.0
    rng = np.random.default_rng(8)
    u = rng.uniform(-1, 1, (3, 60))
    q = np.vstack([u * scale, np.tile([[0.1], [-0.2], [0.3]], 60)])
    value = np.linalg.det(jacobian(struts, q)) * struts.lengths(q).prod(axis=0)

    def left_over(degree):
        terms = np.stack(
            [u[0] ** i * u[1] ** j * u[2] ** k
             for i in range(degree + 1) for j in range(degree + 1 - i) for k in range(degree + 1 - i - j)]
        ).T  # fmt: skip
        fit = np.linalg.lstsq(terms[:40], value[:40], rcond=None)[0]
        return np.abs(terms[40:] @ fit - value[40:]).max() / np.abs(value).max()

    assert left_over(3) < 1e-12
    assert left_over(2) > 1e-4
