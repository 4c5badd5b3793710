"""Corners between two moves: smoothness, and how far they leave what was programmed."""

from math import factorial, sqrt

import mpmath
import numpy as np
import pytest
from path.routes import DEG, MACHINE, Route, beside, inner_joints, machine, mixed, points, polyline
from scipy.interpolate import BPoly

from hexpost.path.build import build
from hexpost.path.corner import BEND_SHARE, BEND_SHARE_EVEN, CARRY_SHARE, CORNER_SHARE, MOST_UNEQUAL, TWIST_SHARE
from hexpost.path.model import CORNER, QUINTIC, REST, ROUND

TIP, TILT = MACHINE.tool_tip.corner_tolerance, MACHINE.tool_tip.corner_tolerance_tilt


@pytest.fixture(scope="module")
def job():
    moves = mixed()
    return moves, build(moves, MACHINE)


def test_position_and_two_derivatives_are_continuous_between_stops(job):
    _, path = job
    k = inner_joints(path)
    assert set(path.kind) == {REST, ROUND, CORNER, QUINTIC}
    left, right = path.evaluate(k, path.size[k], 2), path.evaluate(k + 1, np.zeros(k.size), 2)
    for a, b, most in zip(left, right, (1e-12, 1e-12, 1e-10), strict=True):
        assert np.abs(a - b).max() < most * max(1.0, np.abs(a).max())


def test_derivatives_are_those_of_the_position(job):
    """Authority: Taylor's theorem; differences of one order against the next."""
    _, path = job
    k = np.arange(path.count)
    for f in (0.2, 0.5, 0.8):
        u, h = f * path.size, 0.01 * path.size
        before, at, after = (path.evaluate(k, u + x, 3) for x in (-h, 0.0, h))
        for o in range(3):
            off = (after[o] - before[o]) / (2 * h) - at[o + 1]
            rounding = 1e-13 * (1 + np.abs(at[o]).max(0)) / h
            curve = 1e-2 * (np.abs(at[o + 1]).max(0) + np.abs(at[min(o + 2, 3)]).max(0) * h + np.abs(at[3]).max(0) * h)
            assert np.all(np.abs(off).max(0) < rounding + curve)


def test_orders_asked_for_are_those_of_the_full_list(job):
    _, path = job
    k, u, _ = points(path, 4)
    full = path.evaluate(k, u, 3)
    for first in range(4):
        for order in range(first, 4):
            part = path.evaluate(k, u, order, first)
            assert len(part) == order - first + 1
            assert all(
                np.allclose(a, b, rtol=0, atol=1e-9 * (1 + np.abs(b).max()))
                for a, b in zip(part, full[first : order + 1], strict=True)
            )


def test_one_sample_at_a_time_is_the_same_as_a_block(job):
    _, path = job
    k, u, q = points(path, 3)
    for x in range(0, k.size, 97):
        assert np.array_equal(path.evaluate(k[x : x + 1], u[x : x + 1], 0)[0][:, 0], q[:, x])


def test_ends_of_spans_are_exactly_the_programmed_ends(job):
    moves, path = job
    last = path.span_first[1:] - 1
    assert path.span_first[-1] == path.count
    move = path.move[last]
    assert np.array_equal(path.evaluate(last, path.size[last], 0)[0], moves.end[:, move])
    assert moves.stop[move].sum() == moves.stop.sum()


def test_outside_corners_the_path_is_the_programmed_one(job):
    moves, path = job
    k, u, q = points(path)
    at = ~path.rounded[k]
    assert np.abs(q - beside(moves, path, k, u))[:, at].max() < 1e-12 * 200


def test_corners_stay_within_both_tolerances_and_use_one_of_them(job):
    moves, path = job
    k, u, q = points(path, 41)
    off = q - beside(moves, path, k, u)
    use = np.maximum(np.sqrt((off[:3] ** 2).sum(0)) / TIP, np.sqrt((off[3:] ** 2).sum(0)) / TILT)
    worst = use.reshape(path.count, -1).max(1)
    curved = np.append(moves.kind, 0)
    both = curved[path.move] + 2 * curved[path.move + 1]
    for kinds in (0, 1, 2, 3):
        some = worst[(path.kind >= CORNER) & (both == kinds)]
        assert some.size > 10
        assert 0.9 < some.max() < 1 + 1e-9


def test_the_distance_at_the_vertex_is_that_of_the_hermite_quintic():
    """Authority: the linear system of the six end conditions, solved with 30 digits by mpmath."""
    moves = polyline(np.array([[0, 0, 0, 0, 0, 0], [0.03, 0, 0, 0, 0, 0], [0.03, 5, 0, 0, 0, 0]], float).T)
    path = build(moves, MACHINE)
    k = np.flatnonzero(path.kind == CORNER)
    h, d1 = float(path.size[k[0]]), float(-path.offset[k[0]])
    d2 = h - d1
    assert (d1, d2) == pytest.approx((0.015, min(TIP / 0.1875 / sqrt(2), 0.045)))
    with mpmath.workdps(30):
        rows, values = [], []
        for u, data in ((0, (0, 0, 0)), (h, (d2, 1, 0))):
            for o in range(3):
                rows.append([mpmath.ff(p, o) * (mpmath.mpf(u) ** (p - o) if p >= o else 0) for p in range(6)])
                values.append(data[o])
        c = mpmath.lu_solve(mpmath.matrix(rows), mpmath.matrix(values))
        for f in (0.1, 0.5, d1 / h, 0.9):
            beta = sum(a * mpmath.mpf(f * h) ** p for p, a in enumerate(c))
            q = path.evaluate(k, np.array([f * h]), 0)[0][:, 0]
            assert q[1] == pytest.approx(float(beta), abs=1e-16)
            assert q[0] - moves.end[0, 0] == pytest.approx(float(f * h - d1 - beta), abs=1e-15)
        exact = 6 * mpmath.mpf(d1) ** 3 * mpmath.mpf(d2) ** 3 / mpmath.mpf(h) ** 5 * mpmath.sqrt(2)
        distance = np.linalg.norm(path.evaluate(k, np.array([d1]), 0)[0][:, 0] - moves.end[:, 0])
        assert distance == pytest.approx(float(exact), rel=1e-12)


def test_a_right_angle_uses_the_whole_tolerance():
    moves = polyline(np.array([[0, 0, 0, 0, 0, 0], [50, 0, 0, 0, 0, 0], [50, 50, 0, 0, 0, 0]], float).T)
    path = build(moves, MACHINE)
    vertex = path.evaluate(np.array([1]), path.size[1:2] / 2, 0)[0][:, 0]
    assert np.linalg.norm(vertex - moves.end[:, 0]) == pytest.approx(TIP, rel=1e-12)


def test_orientation_has_its_own_tolerance():
    q = np.array([[0, 0, 0, 0, 0, 0], [50, 0, 0, 0, 0, 0], [50, 0, 0, 10 * DEG, 0, 0]]).T
    for tip, tilt in ((0.01, 0.2 * DEG), (0.5, 0.01 * DEG)):
        path = build(polyline(q), machine(tip, tilt))
        off = path.evaluate(np.array([1]), path.size[1:2] / 2, 0)[0][:, 0] - q[:, 1]
        assert np.abs(off[0]) == pytest.approx(tip, rel=1e-9)
        assert np.abs(off[3]) == pytest.approx(tilt, rel=1e-9)


def test_exact_stop_keeps_the_corner():
    q = np.array([[0, 0, 0, 0, 0, 0], [50, 0, 0, 0, 0, 0], [50, 50, 0, 0, 0, 0]], float).T
    path = build(polyline(q, stop=True), MACHINE)
    assert list(path.kind) == [REST, REST]
    assert list(path.span_first) == [0, 1, 2]
    assert list(path.size) == [50, 50]


def test_collinear_moves_have_no_corner():
    q = np.outer([1, 2, -0.5, 0, 0, 0], [0.0, 1.0, 3.0, 4.0])
    path = build(polyline(q), MACHINE)
    assert list(path.kind) == [REST] * 3
    assert list(path.span_first) == [0, 3]


def test_a_tangent_joint_of_line_and_arc_is_rounded_because_curvature_jumps():
    moves = Route().line([20, 0, 0, 0, 0, 0]).arc(np.array([20.0, 10, 0]), np.pi / 2).moves()
    path = build(moves, MACHINE)
    assert list(path.kind) == [REST, QUINTIC, ROUND]
    k = np.ones(101, dtype=np.int64)
    bend = np.abs(np.diff(path.evaluate(k, np.linspace(0, path.size[1], 101), 2)[2]))
    assert bend.max() < 0.05 * 0.1, "the curvature of 1/10 comes gradually"


def remainder(n, d1, d2):
    """Return the largest distance of w^n/n! (0 before the vertex) from its quintic on [-d1, d2]; scipy's Hermite."""
    ends = [d2 ** max(n - o, 0) / factorial(n - o) if n >= o else 0.0 for o in range(3)]
    w = np.linspace(-d1, d2, 2001)
    f = np.where(w > 0, np.maximum(w, 0) ** n / factorial(n), 0)
    return np.abs(BPoly.from_derivatives([-d1, d2], [[0, 0, 0], ends])(w) - f).max()


def test_shares_are_the_largest_remainders_of_the_quintic():
    """Authority: scipy's BPoly.from_derivatives, cuts of a ratio up to the largest allowed."""
    ratios = np.linspace(1 / MOST_UNEQUAL, 1, 41)
    worst = [max(max(remainder(n, 1, y), remainder(n, y, 1)) for y in ratios) for n in range(8)]
    assert worst[1] == pytest.approx(CORNER_SHARE, rel=1e-6)
    assert BEND_SHARE_EVEN * 0.99 < remainder(2, 1, 1) <= BEND_SHARE_EVEN
    assert BEND_SHARE * 0.99 < worst[2] <= BEND_SHARE
    assert TWIST_SHARE * 0.95 < sum(worst[n] * 0.5 ** (n - 3) for n in range(3, 8)) <= TWIST_SHARE
    w = np.linspace(0, 1, 2001)
    for ends in ([[0, 0, 1], [0, 0, 0]], [[0, 0, 0], [0, 0, 1]]):
        assert np.abs(BPoly.from_derivatives([0, 1], ends)(w)).max() == pytest.approx(CARRY_SHARE, rel=1e-5)


def test_a_corner_takes_at_most_half_a_radian_of_an_arc():
    moves = Route().line([20, 0, 0, 0, 0, 0]).arc(np.array([20.0, 10, 0]), 3.0).moves()
    path = build(moves, machine(tip=5.0))
    assert path.size[1] + path.offset[1] == pytest.approx(0.5 * 10)


def test_crumbs_between_two_corners_go_to_the_corner():
    """Corners that reach for all but a ten-millionth of a line leave no piece of that size."""
    reach = 0.5 - 5e-8
    q = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [2, 1, 0]], float)
    moves = polyline(np.hstack([q, np.zeros((4, 3))]).T)
    path = build(moves, machine(tip=0.1875 * sqrt(2) * reach, tilt=1.0))
    assert list(path.kind) == [REST, CORNER, CORNER, REST]
    assert path.s0[-1] == pytest.approx(3.0, abs=1e-12)
