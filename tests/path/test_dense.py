"""Dense chains of short lines: rounding noise taken out, curvature carried, all within the tolerances."""

import numpy as np
import pytest
from path.routes import DEG, MACHINE, Route, inner_joints, machine, points, polyline, raster

from hexpost.path import smooth
from hexpost.path.bounds import blocks
from hexpost.path.build import build
from hexpost.path.model import CORNER, REST

TIP, TILT = MACHINE.tool_tip.corner_tolerance, MACHINE.tool_tip.corner_tolerance_tilt


def distance(moves, path, per_piece=9):
    """Return the largest distances (tip mm, tilt rad) of the path from the nearest of the lines about it."""
    k, _, q = points(path, per_piece)
    best = np.full((2, k.size), np.inf)
    for o in (-1, 0, 1, 2):
        i = np.clip(path.move[k] + o, 0, moves.count - 1)
        a, d = moves.start[:, i], moves.end[:, i] - moves.start[:, i]
        along = ((q - a)[:3] * d[:3]).sum(0) / np.maximum((d[:3] ** 2).sum(0), 1e-30)
        off = q - a - d * np.clip(along, 0, 1)
        tip, tilt = np.sqrt((off[:3] ** 2).sum(0)), np.sqrt((off[3:] ** 2).sum(0))
        best = np.where(tip < best[0], [tip, tilt], best)
    return best.max(1)


def circle(step, radius=40.0, digits=3, turn=1.5):
    """Return points (6, n) on a circle, ``step`` apart, rounded."""
    angle = np.arange(0, turn, step / radius)
    q = np.zeros((6, angle.size))
    q[:2] = np.round([radius * np.cos(angle), radius * np.sin(angle)], digits)
    return q


@pytest.fixture(scope="module")
def job():
    moves = polyline(raster())
    return moves, build(moves, MACHINE)


def test_a_raster_is_smooth_and_within_both_tolerances(job):
    moves, path = job
    k = inner_joints(path)
    left, right = path.evaluate(k, path.size[k], 2), path.evaluate(k + 1, np.zeros(k.size), 2)
    for a, b, most in zip(left, right, (1e-13, 1e-13, 1e-11), strict=True):
        assert np.abs(a - b).max() < most * 100
    assert path.moved.mean() > 0.8
    tip, tilt = distance(moves, path)
    assert tip < TIP * (1 + 1e-9)
    assert tilt < TILT * (1 + 1e-9)


def test_vertices_move_by_at_most_their_share(job):
    moves, path = job
    off = path.end - moves.end
    assert 0 < np.sqrt((off[:3] ** 2).sum(0)).max() <= 0.4 * TIP * (1 + 1e-12)
    assert np.sqrt((off[3:] ** 2).sum(0)).max() <= 0.4 * TILT * (1 + 1e-12)


def test_third_derivative_comes_down_to_that_of_the_surface():
    """Authority: a circle of radius r has the third derivative 1/r^2; noise of 0.5 um at a step s makes noise/s^3."""
    moves = polyline(circle(0.4))
    rough = build(polyline(circle(0.4), stop=False), machine(tip=1e-6, tilt=1.0))
    path = build(moves, MACHINE)
    assert np.abs(path.end - moves.end).max() < 1e-3
    middle = slice(path.count // 4, 3 * path.count // 4)
    bend, change = path.norms_max()[0, 1:, middle]
    assert bend.max() == pytest.approx(1 / 40, rel=0.15)
    assert change.max() < 20 / 40**2
    assert rough.norms_max()[0, 2].max() > 1000 * change.max()


def test_carried_curvature_is_that_of_the_circle():
    """Authority: curvature 1/r of the circle the points lie on."""
    path = build(polyline(circle(0.4, digits=12)), MACHINE)
    inner = path.bend > 0
    assert inner.sum() > 0.9 * inner.size
    k = np.arange(path.count // 4, 3 * path.count // 4)
    assert set(path.kind[k]) == {CORNER}
    for f in np.linspace(0, 1, 11):
        q = path.evaluate(k, f * path.size[k], 2)[2]
        assert np.sqrt((q**2).sum(0)) == pytest.approx(1 / 40, rel=0.02)


def test_chains_near_the_tolerance_stay_within_it():
    """Chord errors (step^2/8r) from a tenth of the tolerance to beyond it, even and uneven steps."""
    rng = np.random.default_rng(3)
    for step in np.sqrt(8 * 40.0 * TIP * np.array([0.1, 0.5, 0.8, 0.95, 1.2, 3.0])):
        for uneven in (0.0, 0.5):
            q = circle(step * (1 - uneven), digits=4)
            keep = np.r_[True, rng.random(q.shape[1] - 2) > uneven, True]
            moves = polyline(q[:, keep])
            path = build(moves, MACHINE)
            assert distance(moves, path, 17)[0] < TIP * (1 + 1e-9)
            assert not path.moved[path.move[path.kind == REST]].any(), "what is left straight lies where programmed"


@pytest.mark.parametrize("seed", range(6))
def test_random_gentle_chains_stay_within_both_tolerances(seed):
    rng = np.random.default_rng(seed)
    n = 400
    heading = np.cumsum(rng.normal(0, 0.03 * (seed + 1) / 2, n))
    step = 10 ** rng.uniform(-2, -0.3, n)
    q = np.zeros((6, n + 1))
    q[0, 1:], q[1, 1:] = np.cumsum(step * np.cos(heading)), np.cumsum(step * np.sin(heading))
    q[3:5, 1:] = np.cumsum(rng.normal(0, 0.02 * DEG, (2, n)), axis=1)
    moves = polyline(np.round(q, 4))
    tip, tilt = distance(moves, build(moves, MACHINE))
    assert tip < TIP * (1 + 1e-9)
    assert tilt < TILT * (1 + 0.02), "read at the nearest point of the tip, not at the same parameter"


def test_microscopic_steps_move_by_a_share_of_their_length():
    moves = polyline(circle(0.006, radius=2.0))
    path = build(moves, MACHINE)
    off = np.sqrt(((path.end - moves.end)[:3, :-1] ** 2).sum(0))
    step = np.sqrt(((moves.end - moves.start)[:3] ** 2).sum(0))
    assert 0 < np.max(off / np.minimum(step[1:], step[:-1])) <= 0.1 * (1 + 1e-12)
    assert distance(moves, path)[0] < TIP


def test_blocks_of_vertices_are_seamless(monkeypatch):
    moves = polyline(raster(rows=2, per=300))
    whole = build(moves, MACHINE).end
    monkeypatch.setattr(smooth, "blocks", lambda n: blocks(n, 37))
    assert np.abs(build(moves, MACHINE).end - whole).max() < 1e-13


def test_ends_of_spans_and_their_neighbours_are_exact():
    q = raster(rows=1, per=200)
    moves = polyline(q)
    moves.stop[99] = True
    path = build(moves, MACHINE)
    assert path.moved.any()
    for i in (0, 99, 199):
        assert np.array_equal(path.end[:, i], moves.end[:, i]) or i == 0
        assert not path.moved[i]
    last = path.span_first[1:] - 1
    assert np.array_equal(path.evaluate(last, path.size[last], 0)[0], moves.end[:, [99, 199]])
    first = path.span_first[:-1]
    assert np.array_equal(path.evaluate(first, np.zeros(2), 0)[0], moves.start[:, [0, 100]])


def test_lines_beside_arcs_are_not_moved():
    q = circle(0.4)
    route = Route(q[:, 0])
    for p in q.T[1:60]:
        route.line(p)
    heading = q[:, 59] - q[:, 58]
    side = np.array([-heading[1], heading[0], 0.0]) / np.hypot(heading[0], heading[1])
    route.arc(q[:3, 59] + 5 * side, 1.0)
    moves = route.moves()
    path = build(moves, MACHINE)
    assert path.moved[:50].any()
    assert not path.moved[58:].any()
    assert np.array_equal(path.end[:, 57:], moves.end[:, 57:])


def test_long_lines_are_not_moved_and_stay_exact():
    """A polygon of long sides is no chain: what is left of each side lies on the programmed line."""
    angle = np.linspace(0, 1.5, 12)
    q = np.zeros((6, 12))
    q[:2] = 200 * np.cos(angle), 200 * np.sin(angle)
    moves = polyline(q)
    path = build(moves, MACHINE)
    assert not path.moved.any()
    assert not path.bend.any()
    assert np.count_nonzero(path.kind == REST) == moves.count


def test_a_dense_chain_of_pure_rotations_is_smoothed_too():
    angle = np.arange(0, 300)
    q = np.zeros((6, 300))
    q[3] = np.round(10 * np.sin(angle / 60), 3) * DEG
    q[4] = np.round(10 * np.cos(angle / 60), 3) * DEG
    moves = polyline(q)
    path = build(moves, MACHINE)
    assert path.moved.mean() > 0.9
    _, _, pose = points(path, 5)
    assert np.abs(np.hypot(pose[3], pose[4]) - 10 * DEG).max() < TILT
    assert not pose[:3].any()
