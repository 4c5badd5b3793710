"""Arcs and helices as the path sees them."""

from math import cos, hypot, pi, sin

import mpmath
import numpy as np
import pytest
from path.routes import MACHINE, Route, programmed
from scipy.spatial.transform import Rotation

from hexpost.moves.model import Arcs, Moves
from hexpost.path.build import build


def single(moves, order=3, n=33):
    """Return the path of one arc, parameters (n,) and its derivatives."""
    path = build(moves, MACHINE)
    assert path.count == 1
    s = np.linspace(0, path.size[0], n)
    return path, s, path.evaluate(np.zeros(n, dtype=np.int64), s, order)


def test_length_of_a_helix():
    """Authority: length = turns * sqrt((2 pi r)^2 + lead^2); r 20, lead 3, 1.25 turns: 157.124388631 mm."""
    path, _, q = single(Route((20, 0, 0, 0, 0, 0)).arc(np.zeros(3), 2.5 * pi, rise=3.75).moves())
    assert path.size[0] == pytest.approx(157.124388631, abs=5e-10)
    assert q[0][:, -1] == pytest.approx([0, 20, 3.75, 0, 0, 0], abs=1e-12)
    assert np.sqrt((q[1][:3] ** 2).sum(0)) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize(("sweep", "length"), [(-pi / 3, 10.471975512), (5 * pi / 3, 52.359877560)])
def test_length_of_the_short_and_the_long_arc_over_a_chord(sweep, length):
    """Authority: r times the angle; both arcs of radius 10 over a chord of 10."""
    centre = np.array([5.0, -8.660254038, 0])
    moves = Route().arc(centre, sweep).moves()
    path, _, q = single(moves)
    assert path.size[0] == pytest.approx(length, abs=1e-8)
    if sweep < 0:
        assert q[0][:2, -1] == pytest.approx([10, 0], abs=1e-8)


def test_more_than_one_turn_and_a_full_circle():
    for turn in (2 * pi, -2 * pi, 6 * pi, -9.0):
        path, _, q = single(Route((7, 3, 1, 0, 0, 0)).arc(np.array([2.0, 3, 1]), turn).moves())
        assert path.size[0] == pytest.approx(5 * abs(turn), rel=1e-14)
        assert np.hypot(q[0][0] - 2, q[0][1] - 3) == pytest.approx(5.0, rel=1e-14)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_every_plane_turns_right_handed_about_its_axis(axis):
    """Authority: scipy's Rotation from a rotation vector."""
    centre = np.array([3.0, -2, 5])
    start = np.array([10.0, 4, -1])
    moves = Route((*start, 0, 0, 0)).arc(centre, 1.2, rise=4.0, axis=axis).moves()
    path, s, q = single(moves)
    part = s / path.size[0]
    turned = Rotation.from_rotvec(np.outer(1.2 * part, np.eye(3)[axis])).apply(start - centre)
    expected = centre + turned + np.outer(4.0 * part, np.eye(3)[axis])
    assert np.abs(q[0][:3].T - expected).max() < 1e-12


def test_derivatives_of_a_helix_with_tilt():
    """Authority: mpmath differentiates the definition with 40 digits."""
    r, turn, rise, tilt = 12.0, 1.7, 3.0, 0.2
    path, s, q = single(Route((r, 0, 0, 0, 0, 0)).arc(np.zeros(3), turn, rise, (0, tilt, 0)).moves(), n=5)
    length = path.length[0]
    assert length == pytest.approx(hypot(hypot(r * turn, rise), path.rho * tilt), rel=1e-14)
    with mpmath.workdps(40):
        f = [
            lambda x: r * mpmath.cos(turn * x / length),
            lambda x: r * mpmath.sin(turn * x / length),
            lambda x: rise * x / length,
            lambda _: mpmath.mpf(0),
            lambda x: tilt * x / length,
        ]
        for column in range(s.size):
            for o in range(4):
                for row in range(5):
                    exact = float(mpmath.diff(f[row], mpmath.mpf(s[column]), o))
                    assert q[o][row, column] == pytest.approx(exact, abs=1e-13)


def test_ends_of_unequal_radius_are_both_met_and_derivatives_hold():
    """Rounded programs give an arc two radii; the radius runs linearly, the ends stay where they were programmed."""
    start, end = [10.0, 0, 0, 0, 0, 0], [10.015 * cos(2.0), 10.015 * sin(2.0), 1, 0, 0, 0]
    arcs = Arcs(
        move=np.array([0]), centre=np.zeros((3, 1)), axis=np.array([2], dtype=np.uint8), turn=np.array([2.0001])
    )
    one = Route(start).line(end).moves()
    fields = {f: getattr(one, f) for f in ("start", "end", "feed", "feed_mode", "stop", "frame", "line", "frames")}
    path, s, q = single(Moves(kind=np.array([1], dtype=np.uint8), arcs=arcs, **fields), n=401)
    assert q[0][:, 0] == pytest.approx(start, abs=1e-14)
    assert q[0][:, -1] == pytest.approx(end, abs=1e-14)
    radius = np.hypot(q[0][0], q[0][1])
    assert np.all(np.diff(radius) > 0)
    for o in range(3):
        middle = (q[o][:, 2:] - q[o][:, :-2]) / (s[2] - s[0])
        assert middle == pytest.approx(q[o + 1][:, 1:-1], abs=1e-5)
    assert np.all(path.norms_max()[0, :, 0] >= [np.sqrt((x[:3] ** 2).sum(0)).max() for x in q[1:]])


def test_a_radius_of_a_hundred_metres_keeps_its_digits():
    """Authority: the versine r (1 - cos) = 2 r sin^2 of half the angle, by mpmath."""
    r, turn = 1e5, 1e-3
    _, s, q = single(Route((0, 0, 0, 0, 0, 0)).arc(np.array([0.0, r, 0]), turn).moves())
    with mpmath.workdps(40):
        exact = [float(2 * r * mpmath.sin(mpmath.mpf(x) / r / 2) ** 2) for x in s]
    assert q[0][1] == pytest.approx(exact, abs=2e-11)


def test_a_chain_of_arcs_follows_the_programmed_arcs():
    route = Route((10, 0, 0, 0, 0, 0))
    for turn in (0.5, 0.7, 1.1):
        route.arc(np.zeros(3), turn)
    moves = route.moves()
    path = build(moves, MACHINE)
    k = np.repeat(np.arange(path.count), 9)
    q = path.evaluate(k, path.size[k] * np.tile(np.linspace(0, 1, 9), path.count), 0)[0]
    assert np.hypot(q[0], q[1]) == pytest.approx(10.0, abs=1e-12)
    assert programmed(moves, np.array([2]), np.array([1.0]))[:, 0] == pytest.approx(moves.end[:, 2], abs=1e-14)
