"""Dense chains as smooth curves: within both tolerances both ways and in order, where stops and corners are kept."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from path.routes import DEG, MACHINE, Route, inner_joints, polyline

from hexpost.path import chains
from hexpost.path.build import build
from hexpost.path.chains import smooth
from hexpost.path.corridor import corridor
from hexpost.path.model import CURVE, EDGE, REST
from hexpost.path.runs import beside, runs
from hexpost.path.splice import spliced

TIP, TILT = MACHINE.tool_tip.corner_tolerance, MACHINE.tool_tip.corner_tolerance_tilt
RHO = TIP / TILT


def smoothed(moves):
    """Return the path of moves with every chain that can be smoothed as a curve, and the curves."""
    path = build(moves, MACHINE)
    stops = [-1, *(path.move[path.span_first[1:-1]] - 1).tolist(), moves.count - 1]
    curves = []
    for low, high in pairwise(stops):
        for a, b in runs(moves, MACHINE, low + 1, high + 1):
            curve = smooth(moves, a, b, beside(path, moves, a, b, MACHINE), MACHINE)
            curves += [] if curve is None else [curve]
    return spliced(path, curves), curves


def sampled(path, step):
    """Return poses (6, m) along a path, at most ``step`` mm apart in tip and scaled tilt."""
    count = np.ceil(path.size * 1.01 / step).astype(int) + 1
    piece = np.repeat(np.arange(path.count), count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    q = path.evaluate(piece, path.size[piece] * within / count[piece], 0)[0]
    return np.concatenate([q, path.evaluate(np.array([path.count - 1]), path.size[-1:], 0)[0]], axis=1)


def along(moves, step):
    """Return poses (6, m) along the programmed lines, at most ``step`` apart."""
    d = moves.end - moves.start
    size = np.sqrt((d[:3] ** 2).sum(0) + RHO**2 * (d[3:] ** 2).sum(0))
    count = np.ceil(size / step).astype(int)
    i = np.repeat(np.arange(moves.count), count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    q = moves.start[:, i] + d[:, i] * (within / count[i])
    return np.concatenate([q, moves.end[:, -1:]], axis=1)


def in_order(p, q, allowed):
    """Return whether two rows of poses can be walked forward together within the tolerances times ``allowed``.

    The decision of the discrete Frechet distance (Eiter & Mannila 1994, Computing discrete Frechet distance), row by
    row: a pair is reached from its left neighbour, from below, or from both.
    """
    reached = np.zeros(q.shape[1], dtype=bool)
    for i in range(p.shape[1]):
        d = q - p[:, i : i + 1]
        near = (np.sqrt((d[:3] ** 2).sum(0)) <= TIP * allowed) & (np.sqrt((d[3:] ** 2).sum(0)) <= TILT * allowed)
        seed = reached | np.concatenate([[False], reached[:-1]])
        if i == 0:
            seed[0] = True
        seed &= near
        # a pair is reached where, since the last pair that is not near, one was entered
        index = np.arange(len(near))
        entered = np.maximum.accumulate(np.where(seed, index, -1))
        broken = np.maximum.accumulate(np.where(near, -1, index))
        reached = near & (entered > broken)
    return bool(reached[-1])


def chain(rng, n=120):
    """Return points (6, n + 1) of a chain as such are: bends, corners, tilt, steps of any size, rounded."""
    turn = rng.normal(0, 0.02, n) * (rng.random() < 0.8)
    turn[rng.random(n) < 0.02] += rng.uniform(-2.0, 2.0)
    step = 10 ** rng.uniform(-2.5, -0.4) * 10 ** (rng.uniform(0, 0.6) * np.sin(np.linspace(0, 9, n)))
    heading = np.cumsum(turn * step / step.mean())
    q = np.zeros((6, n + 1))
    q[0, 1:], q[1, 1:] = np.cumsum(step * np.cos(heading)), np.cumsum(step * np.sin(heading))
    q[2, 1:] = np.cumsum(step * 0.3 * np.sin(np.linspace(0, 5, n)))
    if rng.random() < 0.5:
        q[3:5] = rng.uniform(0, 0.3, (2, 1)) * np.sin(np.linspace(0, 7, n + 1) + rng.uniform(0, 6, (2, 1)))
    return q


def rounded(q, decimals=3):
    """Return points as a program holds them, without moves of no length."""
    q = np.round(np.concatenate([q[:3], q[3:] / DEG]), decimals)
    q[3:] *= DEG
    return q[:, np.concatenate([[True], (np.diff(q, axis=1) != 0).any(0)])]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_curves_and_program_are_within_both_tolerances_in_order(seed):
    """Authority: the Frechet distance by its definition, on dense samples of both, at no common parameter."""
    rng = np.random.default_rng(seed)
    moves = polyline(rounded(chain(rng), int(rng.integers(3, 6))))
    path, curves = smoothed(moves)
    assert all(c.off[0] <= TIP and c.off[1] <= TILT for c in curves)
    step = max(0.0015, path.s0[-1] / 1500)
    spare = step / TIP  # the discrete distance is at most one step above the continuous one
    assert in_order(sampled(path, step), along(moves, step), 1.0 + spare)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_the_path_is_twice_continuous_and_its_moves_end_in_order(seed):
    rng = np.random.default_rng(seed)
    moves = polyline(rounded(chain(rng), 3))
    moves.stop[int(rng.integers(moves.count))] = True
    path, _ = smoothed(moves)
    k = inner_joints(path)
    left, right = path.evaluate(k, path.size[k], 2), path.evaluate(k + 1, np.zeros(k.size), 2)
    for a, b, most in zip(left, right, (1e-9, 1e-7, 1e-3), strict=True):
        assert np.abs(a - b).max(initial=0.0) < most * max(1.0, np.abs(a).max(initial=0.0))
    piece, u = path.end_of(np.arange(moves.count))
    place = path.s0[piece] + u
    assert (np.diff(place) >= -1e-9).all()
    assert (u <= path.size[piece]).all()
    ends = path.span_first[1:] - 1
    last = path.move_at(ends, path.size[ends])
    assert np.abs(path.evaluate(ends, path.size[ends], 0)[0] - moves.end[:, last]).max() < 1e-9
    middle = 0.5 * (place[1:] + place[:-1])
    far = np.diff(place) > 1e-6
    at = np.clip(np.searchsorted(path.s0, middle, "right") - 1, 0, path.count - 1)
    assert np.array_equal(path.move_at(at, middle - path.s0[at])[far], np.arange(1, moves.count)[far])


def test_a_circle_has_the_derivatives_of_a_circle():
    """Authority: a circle of radius r has the second derivative 1/r and the third 1/r2 along it."""
    angle = np.linspace(0, 2, 13_000)
    q = np.zeros((6, angle.size))
    q[:2] = 20 * np.cos(angle), 20 * np.sin(angle)
    path, curves = smoothed(polyline(rounded(q)))
    assert len(curves) == 1
    assert set(path.kind.tolist()) == {CURVE}
    assert path.count < 120
    bend, change = path.norms_max()[0, 1:, 10:-10]
    assert bend == pytest.approx(1 / 20, rel=0.01)
    assert np.median(change) == pytest.approx(1 / 400, rel=0.02)
    assert change.max() < 2 / 400
    assert curves[0].off[0] < 0.25 * TIP


def test_corners_stops_and_lines_beside_are_kept():
    """Long lines beside a chain stay lines up to their corners; a sharp corner inside is rounded within tolerance."""
    step = np.linspace(0, 1, 101)[1:]
    route = Route()
    route.line([20, 0, 0, 0, 0, 0])
    for s in step:
        route.line([20 + 5 * s, 0, 0, 0, 0, 0])
    for s in step:
        route.line([25, 5 * s, 0, 0, 0, 0])
    route.line([0, 5, 0, 0, 0, 0], stop=True)
    for s in step:
        route.line([0, 5 + 3 * s, 0, 0, 0, 0])
    path, curves = smoothed(route.moves())
    assert [(c.first, c.last) for c in curves] == [(1, 200), (202, 301)]
    rests = path.kind == REST
    assert path.move[rests].tolist() == [0, 201]
    assert np.count_nonzero(path.kind == EDGE) >= 2
    assert len(path.span_first) == 3
    q = sampled(path, 0.002)
    nearest = np.sqrt(((q[:2] - np.array([[25.0], [0.0]])) ** 2).sum(0).min())
    assert 0.5 * TIP < nearest <= TIP


def test_windows_give_the_same_curve(monkeypatch):
    """A chain in windows is the chain at once: to less than the last digit of a table."""
    u = np.linspace(0, 1, 40_000)
    q = np.zeros((6, u.size))
    q[0], q[1], q[3] = 300 * u, 10 * np.sin(8 * np.pi * u), 0.05 * np.sin(9 * u)
    moves = polyline(rounded(q))
    whole = smoothed(moves)[0]
    monkeypatch.setattr(chains, "WINDOW", 8_192)
    parts = smoothed(moves)[0]
    assert parts.count == whole.count
    assert np.abs(parts.s0 - whole.s0).max() < 1e-7
    assert np.abs(parts.quintics[0] - whole.quintics[0]).max() < 1e-7


def test_a_corridor_passes_every_vertex_in_order():
    rng = np.random.default_rng(4)
    x = np.cumsum(rng.normal(0.004, 0.002, (3, 3_000)), axis=1)
    keep = corridor(x, 0.005)
    assert {0, 2_999} <= set(keep.tolist())
    assert len(keep) < 1_500
    for a, b in pairwise(keep):
        d = x[:, b] - x[:, a]
        t = np.clip(d @ (x[:, a : b + 1] - x[:, a : a + 1]) / (d @ d), 0, 1)
        off = x[:, a : b + 1] - x[:, a : a + 1] - np.outer(d, t)
        assert np.sqrt((off**2).sum(0)).max() <= 0.005 * (1 + 1e-12)


def test_moves_that_are_long_or_beside_arcs_belong_to_no_chain():
    angle = np.linspace(0, 3, 40)
    q = np.zeros((6, 40))
    q[:2] = 200 * np.cos(angle), 200 * np.sin(angle)
    assert runs(polyline(q), MACHINE, 0, 39) == []
    route = Route()
    for k in range(1, 11):
        route.line([0.1 * k, 0, 0, 0, 0, 0])
    route.arc(np.array([1.0, 5.0, 0.0]), 1.0)
    moves = route.moves()
    assert runs(moves, MACHINE, 0, moves.count) == [(0, 8)]
