"""Where the tool turns back it stops, so that the programmed point is reached; elsewhere it does not."""

from dataclasses import replace

import numpy as np
import pytest
from path.routes import DEG, MACHINE, Route, polyline

from hexpost.path.build import build


def stops(*poses, machine=MACHINE):
    """Return the number of stop-to-stop spans of straight moves through ``poses``, tilts in degrees."""
    q = np.array([np.r_[p, np.zeros(6 - len(p))] for p in poses], dtype=float).T
    q[3:] *= DEG
    return build(polyline(q), machine).span_first.size - 1


def turned(degrees):
    return 50 + 30 * np.cos(degrees * DEG), 30 * np.sin(degrees * DEG)


@pytest.mark.parametrize(("degrees", "spans"), [(10, 1), (90, 1), (149, 1), (151, 2), (180, 2), (-155, 2)])
def test_a_turn_of_more_than_150_degrees_is_an_exact_stop(degrees, spans):
    assert stops((0, 0), (50, 0), turned(degrees)) == spans


def test_a_pure_rotation_straight_back_is_an_exact_stop():
    assert stops((0, 0, 0, 0), (0, 0, 0, 10), (0, 0, 0, 2)) == 2
    assert stops((0, 0, 0, 0), (0, 0, 0, 10), (0, 0, 0, 10, 10)) == 1


def test_a_tilt_that_turns_back_while_the_tip_goes_on_is_no_stop():
    assert stops((0, 0, 0, 0), (5, 0, 0, 1), (10, 0, 0, 0)) == 1


def test_a_tip_that_turns_back_while_the_tilt_goes_on_is_a_stop():
    assert stops((0, 0, 0, 0), (0, 0, -5, 30), (0, 0, 0, 60)) == 2


def test_rounding_noise_of_the_tip_under_a_rotation_is_no_stop():
    assert stops((0, 0, 0, 0), (0.001, 0, 0, 10), (0, 0, 0, 20), (0.001, 0, 0, 30)) == 1


def test_a_plunge_that_is_taken_back_is_a_stop_at_any_slope():
    assert stops((0, 0, 5), (0, 0, -5), (3, 0, -4)) == 2
    assert stops((3, 0, -4), (0, 0, -5), (0, 0, 5)) == 2
    assert stops((0, 0, 5), (0, 0, -5), (30, 0, -5)) == 1
    assert stops((0, 0, 5), (0, 0, -5), (30, 0, -6)) == 1
    assert stops((-8, 0, 5), (0, 0, -5), (8, 0, 5)) == 1, "a ramp into a groove is not along the tool"


def test_the_tool_axis_turns_with_the_tilt_in_the_order_of_the_machine():
    """A 90, B 90: the axis R z is x when A turns first (z to -y, then still -y under B) and x when B turns first."""
    tilt = (90.0, 90.0, 0.0)
    down_y = ((0, 5, 0, *tilt), (0, -5, 0, *tilt), (3, -4, 0, *tilt))
    down_x = ((5, 0, 0, *tilt), (-5, 0, 0, *tilt), (-4, 3, 0, *tilt))
    assert stops(*down_y) == 2
    assert stops(*down_x) == 1
    other = replace(MACHINE, tilt_order="BAC")
    assert stops(*down_y, machine=other) == 1
    assert stops(*down_x, machine=other) == 2


def test_a_cusp_of_two_arcs_is_a_stop():
    moves = Route((10, 0, 0, 0, 0, 0)).arc(np.zeros(3), 1.0).arc(np.zeros(3), -0.5).moves()
    path = build(moves, MACHINE)
    assert path.span_first.size == 3
    last = path.span_first[1:] - 1
    assert np.array_equal(path.evaluate(last, path.size[last], 0)[0], moves.end)
