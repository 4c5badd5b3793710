"""Sizes a program may throw at the path: nothing divides by zero, nothing is lost (the suite raises on both)."""

import numpy as np
import pytest
from path.routes import DEG, MACHINE, Route, inner_joints, machine, points, polyline

from hexpost.path.build import build


def check(moves, with_machine=MACHINE):
    """Return the path after checks that hold for every path."""
    path = build(moves, with_machine)
    _, _, q = points(path, 9)
    assert np.isfinite(q).all()
    assert np.isfinite(path.norms_max()).all()
    k = inner_joints(path)
    a, b = path.evaluate(k, path.size[k], 1), path.evaluate(k + 1, np.zeros(k.size), 1)
    assert np.abs(a[0] - b[0]).max(initial=0) < 1e-9
    assert np.abs(a[1] - b[1]).max(initial=0) < 1e-7
    last = path.span_first[1:] - 1
    assert np.array_equal(path.evaluate(last, path.size[last], 0)[0], moves.end[:, path.move[last]])
    return path


def test_no_moves_at_all():
    path = check(Route().moves())
    assert path.count == 0
    assert list(path.span_first) == [0]
    assert list(path.s0) == [0]
    assert path.norms_max().shape == (2, 3, 0)


@pytest.mark.parametrize("tiny", [1e-3, 1e-6, 1e-9])
def test_tiny_moves_beside_long_ones(tiny):
    q = np.zeros((6, 6))
    q[0] = 0, 1000, 1000, 1000 + tiny, 2000, 2000
    q[1] = 0, 0, tiny, tiny, tiny, 500
    check(polyline(q))


def test_a_thousand_microscopic_moves():
    rng = np.random.default_rng(1)
    q = np.cumsum(rng.normal(0, 1e-6, (6, 1000)), axis=1)
    check(polyline(q))


def test_tips_that_stand_still_beside_tips_that_move():
    q = np.zeros((6, 5))
    q[0] = 0, 10, 10, 20, 20
    q[3] = 0, 0, 30 * DEG, 30 * DEG, 31 * DEG
    q[5] = 0, 0, 0, 0, 400 * DEG
    path = check(polyline(q))
    assert path.span_first.size == 2


def test_arcs_of_a_large_radius_among_short_lines():
    route = Route()
    for i in range(20):
        q = route.points[-1]
        route.arc(q[:3] + np.array([0, 1e5, 0]), 1e-5 * (1 + i % 3))
        route.line(route.points[-1] + np.array([0.3, 0, 0, 0, 0, 0]))
    check(route.moves())


def test_arcs_of_a_tiny_radius_and_many_turns():
    route = Route((1e-3, 0, 0, 0, 0, 0)).arc(np.zeros(3), 40 * np.pi, rise=1.0).line((5, 0, 1, 0, 0, 0))
    route.arc(np.array([5.0, 1e-5, 1]), np.pi).line((5, 9, 1, 0, 0, 0))
    check(route.moves())


def test_helices_with_tilt_that_outweighs_them():
    route = Route((1, 0, 0, 0, 0, 0)).arc(np.zeros(3), 0.1, 0.1, (1.0, 0, 0)).arc(np.zeros(3), 6.0, -3, (0, -2, 3))
    check(route.moves())


def test_tolerances_from_nothing_to_generous():
    q = np.zeros((6, 4))
    q[0], q[1] = (0, 10, 10, 40), (0, 0, 7, 9)
    q[4] = 0, 1 * DEG, 3 * DEG, 2 * DEG
    for tip, tilt in ((1e-9, 1e-9), (1e-9, 1.0), (5.0, 1e-9), (50.0, 3.0)):
        check(polyline(q), machine(tip, tilt))
