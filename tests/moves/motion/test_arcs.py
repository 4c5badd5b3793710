"""Arcs and helices against worked cases and against plain geometry."""

from math import hypot, pi, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import HEAD, faults, meaning

START = HEAD + "G00 X0 Y0 Z0\nF100\n"

# The two circles of radius 10 through (0,0) and (10,0): the centres form equilateral triangles with the chord, so
# they lie at (5, -+5 sqrt 3), and the arcs are 60 and 300 degrees (Euclid, Elements I.1; sense and the sign of R
# as in articles on circular interpolation: clockwise G02, R negative for more than 180 degrees).
ARCS = [
    ("G02", 10, (5.0, -8.660254038), -60, 10.471975512),
    ("G02", -10, (5.0, 8.660254038), -300, 52.35987756),
    ("G03", 10, (5.0, 8.660254038), 60, 10.471975512),
    ("G03", -10, (5.0, -8.660254038), 300, 52.35987756),
]


@pytest.mark.parametrize(("word", "radius", "centre", "degrees", "length"), ARCS)
def test_arc_by_radius_and_by_centre(word, radius, centre, degrees, length):
    for how in (f"R{radius}", f"I{centre[0]} J{centre[1]:.9f}"):
        arcs = meaning(f"{START}{word} X10 Y0 {how}\n").moves.arcs
        assert arcs.centre[:2, 0] == pytest.approx(centre, abs=1e-8)
        assert arcs.turn[0] == pytest.approx(radians(degrees), abs=1e-9)
        assert abs(arcs.turn[0]) * 10 == pytest.approx(length, abs=1e-8)
        assert arcs.axis[0] == 2


@pytest.mark.parametrize(("plane", "axes", "axis"), [("G17", "XY", 2), ("G18", "ZX", 1), ("G19", "YZ", 0)])
def test_counter_clockwise_runs_from_the_first_axis_of_the_plane_to_the_second(plane, axes, axis):
    # right-handed axes: Z = X x Y, so X to Y is positive about Z; likewise Z to X about Y, Y to Z about X
    u, v = axes
    to = {"X": "I", "Y": "J", "Z": "K"}
    arcs = meaning(f"{START}{plane} G01 {u}10\nG03 {u}0 {v}10 {to[u]}-10\n").moves.arcs
    assert arcs.turn[0] == pytest.approx(pi / 2)
    assert arcs.axis[0] == axis
    assert arcs.centre[:, 0] == pytest.approx([0, 0, 0], abs=1e-12)


def test_helix_of_one_quarter_has_its_lead_along_the_axis():
    # Radius 20, a quarter of 1.25 turns of lead 3: path = hypot(arc, rise), the developed cylinder
    found = meaning(f"{START}G01 X20\nG03 X0 Y20 Z0.75 I-20\n").moves
    length = hypot(found.arcs.turn[0] * 20, found.end[2, -1] - found.start[2, -1])
    assert length == pytest.approx(157.124388631 / 5, abs=1e-8)
    assert found.arcs.centre[2, 0] == 0.0


def test_full_circle_by_centre_in_both_senses():
    for word, sign in (("G02", -1), ("G03", 1)):
        for block in ("I5", "X0 Y0 I5", "Z-1 I5"):
            found = meaning(f"{START}{word} {block}\n").moves
            assert found.arcs.turn[0] == sign * 2 * pi
            assert found.count == 2  # the approach and the circle


def test_full_circle_after_a_change_of_frame_is_not_an_arc_of_no_length():
    text = START + "G01 X3 Y4\nG53 G00 Z-50\nG02 X3 Y4 I1 J2\n"
    assert meaning(text).moves.arcs.turn[0] == -2 * pi


def test_centres_are_increments_in_inch_as_in_metric():
    inch = meaning("G20 G90\nG00 X0 Y0 Z0\nF10\nG02 X1 Y1 I1 J0\n").moves.arcs
    assert inch.centre[:, 0] == pytest.approx([25.4, 0, 0])
    assert inch.turn[0] == pytest.approx(-pi / 2)


def test_rounded_coordinates_are_within_tolerance_and_a_slip_is_not():
    assert not faults(START + "G01 X10\nG03 X7.071 Y7.071 I-10\nX0 Y10 I-7.07 J-7.071\n")
    assert [f.code for f in faults(START + "G02 X10 Y10 I10 J0.1\n")] == ["arc-end-off"]


@given(
    radius=st.floats(0.5, 500),
    begin=st.floats(-pi, pi),
    turn=st.floats(0.02, 6.2),
    sense=st.sampled_from([1, -1]),
)
def test_any_arc_comes_back_from_its_two_spellings(radius, begin, turn, sense):
    """Centre and turn that made a block are read out of it again, by I J and by R (elementary geometry)."""
    a = np.array([np.cos(begin), np.sin(begin)]) * radius
    b = np.array([np.cos(begin + sense * turn), np.sin(begin + sense * turn)]) * radius
    word = "G03" if sense > 0 else "G02"
    signed = radius if turn <= pi else -radius
    for how in (f"I{-a[0]:.9f} J{-a[1]:.9f}", f"R{signed:.9f}"):
        if how[0] == "R" and abs(turn - pi) < 1e-3:
            continue  # by R the half circle is where the two centres meet: digits are lost there
        text = f"{START}G01 X{a[0]:.9f} Y{a[1]:.9f}\n{word} X{b[0]:.9f} Y{b[1]:.9f} {how}\n"
        arcs = meaning(text).moves.arcs
        loose = 1e-6 + 1e-6 * radius / min(turn, 2 * pi - turn)
        assert np.abs(arcs.centre[:2, 0]).max() < loose
        assert arcs.turn[0] == pytest.approx(sense * turn, abs=1e-5 + loose / radius)
