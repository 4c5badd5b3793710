"""Lengths against explicit vectors, derivatives against differences and 40-digit arithmetic (mpmath)."""

from itertools import permutations

import numpy as np
import pytest
from kinematics.poses import demonstration_struts, motion
from scipy.spatial.transform import Rotation

from hexpost.kinematics.struts import BATCH, Struts

ORDERS = ["".join(p) for p in permutations("ABC")]
KINDS = ["XYZABC", "XYZAB", "XYZB", "XYZ", "ABC", "C", ""]


def explicit_lengths(struts, q):
    """The definition, by scipy's rotations: |t + R b - a|."""
    letters = ["ABC".index(x) for x in struts.order]
    r = Rotation.from_euler("".join("xyz"[i] for i in letters), q[[3 + i for i in letters]].T).as_matrix()
    return np.linalg.norm(q[:3].T[:, None] + struts.platform @ r.swapaxes(1, 2) - struts.base, axis=2).T


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("moving", KINDS)
def test_lengths_follow_the_definition(order, moving):
    seen = demonstration_struts()
    struts = Struts(seen.base, seen.platform, order)
    (q,) = motion(20, 1, 1, moving)
    assert np.abs(struts.lengths(q) - explicit_lengths(struts, q)).max() < 2e-12


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("moving", KINDS)
@pytest.mark.parametrize("rest", [0.0, 0.3])
def test_derivatives_equal_differences_of_lengths(order, moving, rest):
    seen = demonstration_struts()
    struts = Struts(seen.base, seen.platform, order)
    q = motion(10, 2, 3, moving)
    q[0][3:] += rest
    h = 2e-4
    at = [explicit_lengths(struts, q[0] + q[1] * t + q[2] * t * t / 2) for t in (-2 * h, -h, 0, h, 2 * h)]
    length, rate, acceleration = struts.derivatives(q)
    assert np.abs(length - at[2]).max() < 2e-12
    assert np.abs((at[0] - 8 * at[1] + 8 * at[3] - at[4]) / (12 * h) - rate).max() < 1e-7
    second = (-at[0] + 16 * at[1] - 30 * at[2] + 16 * at[3] - at[4]) / (12 * h * h)
    assert np.abs(second - acceleration).max() < 1e-3


def test_series_are_derivatives_over_factorials():
    struts = demonstration_struts()
    q = motion(5, 3, 4)
    factorials = [1.0, 1.0, 2.0, 6.0]
    series = struts.series([x / f for x, f in zip(q, factorials, strict=True)])
    for ours, whole, f in zip(series, struts.derivatives(q), factorials, strict=True):
        assert np.allclose(ours * f, whole, rtol=1e-14)


@pytest.mark.parametrize("moving", ["XYZABC", "XYZAB", "XYZ"])
def test_derivatives_equal_forty_digits(moving):
    """Taylor coefficients of the length along a path, with mpmath (F. Johansson) as the oracle."""
    import mpmath as mp

    struts = demonstration_struts()
    q = motion(3, 4, 4, moving)
    found = struts.derivatives(q)
    with mp.workdps(40):
        for sample in range(3):

            def coordinate(i, t, sample=sample):
                return sum(mp.mpf(q[k][i, sample]) * t**k / mp.factorial(k) for k in range(4))

            for strut in range(6):

                def length(t, strut=strut, coordinate=coordinate):
                    a, b, c = (coordinate(i, t) for i in (3, 4, 5))
                    x, y, z = (mp.mpf(v) for v in struts.platform[strut])
                    y, z = mp.cos(a) * y - mp.sin(a) * z, mp.sin(a) * y + mp.cos(a) * z
                    x, z = mp.cos(b) * x + mp.sin(b) * z, -mp.sin(b) * x + mp.cos(b) * z
                    x, y = mp.cos(c) * x - mp.sin(c) * y, mp.sin(c) * x + mp.cos(c) * y
                    foot = [coordinate(i, t) + v - mp.mpf(struts.base[strut, i]) for i, v in enumerate((x, y, z))]
                    return mp.sqrt(sum(v * v for v in foot))

                exact = [float(c * mp.factorial(k)) for k, c in enumerate(mp.taylor(length, 0, 3))]
                for k, tolerance in enumerate((1e-12, 1e-11, 1e-10, 1e-8)):
                    assert abs(found[k][strut, sample] - exact[k]) < tolerance


def test_blocks_do_not_show():
    struts = demonstration_struts()
    q = motion(2 * BATCH + 7, 5)
    whole = struts.derivatives(q)
    for at in (0, BATCH - 1, BATCH, 2 * BATCH + 6):
        one = struts.derivatives([x[:, at : at + 1] for x in q])
        for w, o in zip(whole, one, strict=True):
            assert np.allclose(w[:, at : at + 1], o, rtol=1e-11)


def test_no_samples_give_no_lengths():
    assert demonstration_struts().lengths(np.empty((6, 0))).shape == (6, 0)


def test_turning_c_about_a_constant_angle_and_then_not():
    struts = demonstration_struts()
    for angle in (0.5, 0.0, 0.5, -0.2):
        (q,) = motion(4, 6, 1, "XYZAB")
        q[5] = angle
        assert np.abs(struts.lengths(q) - explicit_lengths(struts, q)).max() < 2e-12
