"""What is true of every path: reversal, turning, scaling, bounds."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from path.routes import MACHINE, Route, inner_joints, machine, mixed, points, polyline, raster
from scipy.interpolate import BPoly, PPoly
from scipy.spatial.transform import Rotation

from hexpost.moves.model import Arcs
from hexpost.path.bounds import control_points, outer_sign, turning
from hexpost.path.build import build

SEEDS = st.integers(0, 10_000)
EXAMPLES = settings(max_examples=15)


def reversed_moves(m):
    """Return moves that run ``m`` backwards."""
    arcs = Arcs(
        move=m.count - 1 - m.arcs.move[::-1],
        centre=m.arcs.centre[:, ::-1],
        axis=m.arcs.axis[::-1],
        turn=-m.arcs.turn[::-1],
    )
    stop = np.append(m.stop[:-1][::-1], True)
    return replace(m, kind=m.kind[::-1], start=m.end[:, ::-1].copy(), end=m.start[:, ::-1].copy(), stop=stop, arcs=arcs)


@EXAMPLES
@given(SEEDS)
def test_reversed_moves_make_the_reversed_path(seed):
    moves = mixed(25, seed)
    a, b = build(moves, MACHINE), build(reversed_moves(moves), MACHINE)
    assert np.array_equal(a.kind, b.kind[::-1])
    assert np.array_equal(a.span_first, (b.count - b.span_first)[::-1])
    k, u, q = points(a, 7)
    back = b.count - 1 - k
    assert np.abs(q - b.evaluate(back, np.maximum(b.size[back] - u, 0), 0)[0]).max() < 1e-9


@EXAMPLES
@given(SEEDS, st.floats(-3.1, 3.1))
def test_turning_the_work_about_z_turns_the_path(seed, angle):
    """Norms, not components: the path does not know how the work lies on the table (angles A and B at 0)."""
    rng = np.random.default_rng(seed)
    r = np.eye(6)
    r[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    plain, other = Route(), Route()
    for _ in range(12):
        q = plain.points[-1]
        if rng.random() < 0.5:
            end = q + np.r_[rng.uniform(-20, 20, 3), 0, 0, rng.uniform(-0.1, 0.1)]
            plain.line(end)
            other.line(r @ end)
        else:
            centre, turn = q[:3] + np.r_[rng.uniform(-9, 9, 2), 0], rng.uniform(-3, 3)
            plain.arc(centre, turn)
            other.arc(r[:3, :3] @ centre, turn)
    a, b = build(plain.moves(), MACHINE), build(other.moves(), MACHINE)
    assert np.array_equal(a.kind, b.kind)
    k, u, q = points(a, 7)
    f = np.minimum(u, b.size[k])
    assert np.abs(r @ q - b.evaluate(k, f, 0)[0]).max() < 1e-8


@EXAMPLES
@given(SEEDS, st.sampled_from([25.4, 1 / 25.4, 1000.0]))
def test_other_units_of_length_give_the_same_path(seed, unit):
    """An inch is 25.4 mm: lengths and tip tolerance scaled, the path is scaled."""
    moves = mixed(25, seed)
    scale = np.array([unit, unit, unit, 1, 1, 1])[:, None]
    arcs = replace(moves.arcs, centre=moves.arcs.centre * unit)
    scaled = replace(moves, start=moves.start * scale, end=moves.end * scale, arcs=arcs)
    a, b = build(moves, MACHINE), build(scaled, machine(tip=0.01 * unit))
    assert np.array_equal(a.kind, b.kind)
    k, u, q = points(a, 7)
    other = b.evaluate(k, np.minimum(u * unit, b.size[k]), 0)[0] / scale
    assert np.abs(q - other).max() < 1e-8


@EXAMPLES
@given(SEEDS)
def test_bounds_hold_and_are_tight(seed):
    for moves in (mixed(25, seed), polyline(raster(rows=2, per=30, step=0.1 + seed % 7 * 0.2))):
        path = build(moves, MACHINE)
        bound = path.norms_max()
        k, u, _ = points(path, 41)
        for o, d in enumerate(path.evaluate(k, u, 3, 1)):
            for part, rows in enumerate((slice(0, 3), slice(3, 6))):
                seen = np.sqrt((d[rows] ** 2).sum(0)).reshape(path.count, -1).max(1)
                most = bound[part, o]
                assert np.all(seen <= most * (1 + 1e-12) + 1e-12)
                assert np.all(most <= seen * 1.5 + 1e-9 * (1 + bound[:, o].max()))


def test_control_points_are_bernstein_coefficients():
    """Authority: scipy's conversion from powers to the Bernstein basis, piece by piece."""
    c = np.random.default_rng(1).normal(size=6)
    whole = PPoly(c[::-1, None], [0.0, 1.0])
    for order in (1, 2, 3):
        d = whole.derivative(order)
        halves = PPoly(np.column_stack([d.c[:, 0], _shifted(d.c[:, 0], 0.5)]), [0.0, 0.5, 1.0])
        assert np.abs(control_points(order) @ c - BPoly.from_power_basis(halves).c.T.ravel()).max() < 1e-12


def _shifted(c, x):
    """Return the coefficients (highest first) of a polynomial about ``x``."""
    return np.polynomial.polynomial.Polynomial(c[::-1])(np.polynomial.polynomial.Polynomial([x, 1])).coef[::-1]


@EXAMPLES
@given(SEEDS)
def test_the_parameter_rises_and_spans_cover_all_pieces(seed):
    path = build(mixed(25, seed), MACHINE)
    assert np.all(path.size > 0)
    assert np.all(np.diff(path.s0) > 0)
    assert np.all(np.diff(path.span_first) > 0)
    assert (path.span_first[0], path.span_first[-1]) == (0, path.count)
    assert np.all(np.diff(path.move) >= 0)
    k = inner_joints(path)
    assert np.abs(path.evaluate(k, path.size[k], 0)[0] - path.evaluate(k + 1, 0 * path.size[k], 0)[0]).max() < 1e-11


@EXAMPLES
@given(SEEDS, st.sampled_from(["ABC", "BCA", "CAB", "CBA", "ACB", "BAC"]))
def test_the_fastest_turn_of_steady_angles_is_that_of_the_turns_of_scipy(seed, order):
    """Ranges of the middle angle of up to three turns, wherever they begin: the fastest is often inside them."""
    rng = np.random.default_rng(seed)
    rates, begin = rng.uniform(-1.0, 1.0, 3), rng.uniform(-8.0, 8.0)
    time, step = rng.uniform(0.1, 20.0), 1e-4
    t = np.linspace(0.0, time, 4001)
    start = np.array([rng.uniform(-3.0, 3.0), begin, rng.uniform(-3.0, 3.0)])
    axes = order[::-1].translate(str.maketrans("ABC", "XYZ"))  # the last angle turns about what stands

    def turned(x):
        return Rotation.from_euler(axes, (start + np.outer(x, rates))[:, ::-1])

    speed = (turned(t - step / 2).inv() * turned(t + step / 2)).magnitude() / step
    slope, pair = np.array([np.sqrt((rates**2).sum())]), np.array([outer_sign(order) * rates[0] * rates[2]])
    found = turning(slope, pair, (np.array([begin]), np.array([begin + rates[1] * time])))
    assert abs(found.item() - speed.max()) < 1e-4
