"""Where a program starts, what unnamed words mean, and what a change of frame does."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import DEG, HEAD, MACHINE, TOOLS, meaning, offsets, platform, same
from scipy.spatial.transform import Rotation

from hexpost.machine.load import no_setup
from hexpost.moves import interpret as interpreter


def test_a_program_starts_at_rest_at_machine_zero():
    found = meaning(HEAD + "G00 X1\n")
    assert np.array_equal(found.start, MACHINE.machine_zero)
    gauge = platform(found, found.moves.start[:, 0], 0) @ [*MACHINE.platform.gauge_point, 1]
    assert gauge[:3] == pytest.approx(MACHINE.machine_zero[:3], abs=1e-9)


def test_a_setup_may_start_elsewhere():
    start = np.array([10.0, 20.0, 900.0, 0.0, 0.1, 0.0])
    found = meaning(HEAD + "G00 X1\n", setup=replace(no_setup(), start=start))
    gauge = platform(found, found.moves.start[:, 0], 0)
    assert gauge[:3, :3] == pytest.approx(Rotation.from_euler("xyz", start[3:]).as_matrix(), abs=1e-12)
    assert (gauge @ [*MACHINE.platform.gauge_point, 1])[:3] == pytest.approx(start[:3], abs=1e-9)


def test_unnamed_coordinates_stay():
    end = meaning(HEAD + "G00 X1 Y2 Z3 A4\nX5\nB6 Y7\n").moves.end
    assert pytest.approx(np.array([[1, 2, 3], [5, 2, 3], [5, 7, 3]])) == end[:3].T
    assert pytest.approx(np.array([[4, 0, 0], [4, 0, 0], [4, 6, 0]])) == end[3:].T / DEG


def test_incremental_adds_to_where_the_tool_is():
    text = "G00 X10 Y10 A5\nG91 X1 A1\nX1 Y-2\nG90 Y50\nG91 X1\nX1 B-3\n"
    end = meaning(HEAD + text).moves.end
    assert end[0] == pytest.approx([10, 11, 12, 12, 13, 14])
    assert end[1] == pytest.approx([10, 10, 8, 50, 50, 50])
    assert end[3] / DEG == pytest.approx([5, 6, 6, 6, 6, 6])
    assert end[4, -1] / DEG == pytest.approx(-3)


def test_a_million_increments_end_where_the_absolute_program_does():
    steps = 30_000
    found = meaning(HEAD + "G00 X0 Y0 Z0\nG91 G01 F1000\n" + "X.001Y-.002\n" * steps).moves.end
    assert found[:2, -1] == pytest.approx([0.001 * steps, -0.002 * steps], abs=1e-11)


def test_tool_length_lies_along_the_tool_axis():
    found = meaning(HEAD + "G00 Z200 A20\nG43 H1 Z100\n", tools=TOOLS).moves
    assert found.start[:, 0] != pytest.approx(found.start[:, 1])
    along = Rotation.from_euler("x", 20, degrees=True).apply([0, 0, 1])
    before, after = found.end[:3, 0], found.start[:3, 1]
    assert before - after == pytest.approx(along * 101.0, abs=1e-9)
    assert found.frames[1].length == 101.0
    assert found.end[:3, 1] == pytest.approx([after[0], after[1], 100])
    minus = meaning(HEAD + "G44 H2 G00 Z100\n", tools=TOOLS).moves.frames[0]
    assert (minus.length, minus.length_row) == (-102.0, 2)


def test_a_change_of_frame_moves_nothing_by_itself():
    setup = offsets(G54=[0, 0, 50, 0, 0, 0], G55=[30, -20, 80, 10, -15, 40])
    found = meaning(HEAD + "G00 X10 Y5 Z100 A3 C20\nG55\nT1 M06\nG43 H1\nX0\n", tools=TOOLS, setup=setup)
    last, first = platform(found, found.moves.end[:, 0], 0), platform(found, found.moves.start[:, 1], 1)
    assert first == pytest.approx(last, abs=1e-9)


def test_the_first_motion_after_a_change_of_frame_turns_the_tool_to_the_modal_angles():
    setup = offsets(G54=[0, 0, 50, 0, 0, 0], G55=[0, 0, 80, 10, 0, 0])
    moves = meaning(HEAD + "G00 X10 Z100\nG55\nX20\n", setup=setup).moves
    assert moves.start[3:, 1] / DEG == pytest.approx([-10, 0, 0])
    assert moves.end[3:, 1] == pytest.approx([0, 0, 0])
    assert moves.end[1:3, 1] == pytest.approx(moves.start[1:3, 1])  # unnamed Y and Z keep the physical tip


def test_an_upright_program_under_a_tilted_offset_is_cut_square_to_the_part():
    setup = offsets(G54=[5, 6, 100, 12, -7, 33])
    found = meaning(HEAD + "G00 X0 Y0 Z50\nG01 Z0 F100\n", setup=setup)
    turned = Rotation.from_euler("xyz", [12, -7, 33], degrees=True)
    assert platform(found, found.moves.end[:, 1], 0)[:3, :3] == pytest.approx(turned.as_matrix(), abs=1e-12)
    tip = platform(found, found.moves.end[:, 1], 0) @ [*MACHINE.platform.gauge_point, 1]
    assert tip[:3] == pytest.approx(MACHINE.pallet.pose[:3] + np.array([5, 6, 100]), abs=1e-9)


@given(
    angle=st.floats(-170, 170),
    points=st.lists(st.tuples(*[st.floats(-50, 50).map(lambda x: round(x, 4))] * 3), min_size=2, max_size=6),
)
def test_a_turned_offset_is_the_program_turned(angle, points):
    turned = Rotation.from_euler("z", angle, degrees=True).apply(np.array(points))
    a = HEAD + "G00\n" + "".join(f"X{x:.4f} Y{y:.4f} Z{z:.4f}\n" for x, y, z in points)
    b = HEAD + f"G00 C{angle:.12f}\n" + "".join(f"X{x:.12f} Y{y:.12f} Z{z:.12f}\n" for x, y, z in turned)
    ours = meaning(a, setup=offsets(G54=[0, 0, 100, 0, 0, angle]))
    plain = meaning(b, setup=offsets(G54=[0, 0, 100, 0, 0, 0]))
    ends = platform(ours, ours.moves.end[:, -1], 0), platform(plain, plain.moves.end[:, -1], 0)
    assert ends[0] == pytest.approx(ends[1], abs=1e-8)


class TestMachineCoordinates:
    """G53: one block, machine zero, gauge point, no tool length; unnamed axes keep their physical values."""

    SETUP = offsets(G54=[20, 0, 60, 0, 0, 30])

    def test_a_retract_goes_to_machine_zero_height_and_nowhere_else(self):
        text = HEAD + "T1 M06\nG43 H1\nG00 X10 Y20 Z100 A5 C8\nG53 G00 Z0\nG00 X11\n"
        found = meaning(text, tools=TOOLS, setup=self.SETUP)
        frame = found.moves.frame
        before = platform(found, found.moves.end[:, 0], frame[0])
        after = platform(found, found.moves.end[:, 1], frame[1])
        gauge = np.append(MACHINE.platform.gauge_point, 1)
        assert (after @ gauge)[:2] == pytest.approx((before @ gauge)[:2], abs=1e-9)
        assert (after @ gauge)[2] == pytest.approx(MACHINE.machine_zero[2], abs=1e-9)
        assert after[:3, :3] == pytest.approx(before[:3, :3], abs=1e-12)
        assert found.moves.frames[frame[1]].offset == "G53"
        assert found.moves.stop.all()

    def test_it_acts_in_its_block_only_and_the_angles_that_result_are_modal(self):
        found = meaning(HEAD + "G00 Z100 C8\nG53 G00 C0\nX11\n", setup=self.SETUP).moves
        assert found.end[5, 2] / DEG == pytest.approx(-30)  # machine C0 seen from a frame turned by 30 degrees
        assert found.start[5, 2] == found.end[5, 2]
        assert found.end[0, 2] == 11

    def test_a_turn_that_was_pending_does_not_come_back_after_it(self):
        setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[0, 0, 60, 10, 0, 0])
        moves = meaning(HEAD + "G00 X0 Z100\nG55\nG53 Z0\nX5\n", setup=setup).moves
        assert moves.end[3, -1] / DEG == pytest.approx(-10)
        assert moves.start[3, -1] == moves.end[3, -1]


def test_angles_are_seen_on_the_branch_that_is_nearest_to_the_target():
    setup = offsets(G54=[0, 0, 60, 0, 0, 170], G55=[0, 0, 60, 0, 0, -170])
    moves = meaning(HEAD + "G00 Z100 C0\nG55 C350\n", setup=setup).moves
    assert moves.start[5, 1] / DEG == pytest.approx(340)
    assert moves.end[5, 1] / DEG == pytest.approx(350)


BLOCK = st.lists(
    st.tuples(st.sampled_from("XYZAB"), st.integers(-400, 400)), min_size=1, max_size=4, unique_by=lambda w: w[0]
)
RARE = st.sampled_from(
    ["G55", "G54", "G43 H1", "G43 H2", "G49", "G91", "G90", "T2 M06", "G53 G90 G00 Z-10", "M01", "F77", "S9", "G00",
     "G01", "G61", "G64", "G04 P100", "M08", "G93 G01 X1 F9\nG94 F50", "G17 G02 X1 Y1 R900\nG01"]
)  # fmt: skip


@given(blocks=st.lists(st.one_of(BLOCK, RARE), min_size=1, max_size=25), window=st.integers(1, 6))
def test_windows_do_not_change_the_meaning(blocks, window):
    """The state carried from block to block is all that a block depends on."""
    said = [b if isinstance(b, str) else " ".join(f"{x}{v / 10}" for x, v in b) for b in blocks]
    text = "T1 M06\n" + HEAD + "G00 X500 Y500\nG01 F100\n" + "\n".join(said) + "\n"
    setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[3, 0, 60, 10, -20, 0])
    whole = meaning(text, tools=TOOLS, setup=setup)
    size = interpreter.WINDOW
    try:
        interpreter.WINDOW = window
        parts = meaning(text, tools=TOOLS, setup=setup)
    finally:
        interpreter.WINDOW = size
    same(whole, parts)
    for name in ("move", "rule", "letter", "value", "pause", "wait", "line"):
        assert np.array_equal(getattr(whole.events, name), getattr(parts.events, name)), name
    assert set(whole.readings) == set(parts.readings)


@given(blocks=st.lists(st.one_of(BLOCK, RARE.filter(lambda b: "R900" not in b)), min_size=1, max_size=25))
def test_moves_join_and_stop_where_frames_change(blocks):
    said = [b if isinstance(b, str) else " ".join(f"{x}{v / 10}" for x, v in b) for b in blocks]
    text = HEAD + "G00 X5 Y5\nG01 F100\nT1\n" + "\n".join(said) + "\n"
    found = meaning(text, setup=offsets(G54=[0, 0, 60, 0, 0, 0], G55=[3, 0, 60, 10, -20, 0]))
    m = found.moves
    for i in range(1, m.count):
        if m.frame[i] == m.frame[i - 1]:
            assert m.start[:, i] == pytest.approx(m.end[:, i - 1], abs=2e-9)
        else:
            assert m.stop[i - 1]
            joint = platform(found, m.end[:, i - 1], m.frame[i - 1]), platform(found, m.start[:, i], m.frame[i])
            assert joint[0] == pytest.approx(joint[1], abs=1e-8)
