"""Reference returns through the given point, and presets of X Y Z."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import DEG, HEAD, MACHINE, TOOLS, alike, faults, meaning, offsets, platform, reading, same

from hexpost.errors import InputError
from hexpost.machine.load import DEMONSTRATION, machine_from

START = HEAD + "T1 M06\nG43 H1\nG00 X10 Y20 Z100\n"
HOMING = reading(g74="through-point")
SETUP = offsets(G54=[20, 0, 60, 0, 0, 30])


def gauge(found, move: int) -> np.ndarray:
    """Return where the spindle gauge point is at the end of a move, in the base frame."""
    m = found.moves
    return (platform(found, m.end[:, move], m.frame[move]) @ [*MACHINE.platform.gauge_point, 1])[:3]


@pytest.mark.parametrize("word", ["G28", "G30", "G74"])
def test_an_incremental_return_is_a_straight_retract(word):
    found = meaning(START + f"{word} G91 Z0.\nG90 X0\n", tools=TOOLS, setup=SETUP, machine=HOMING)
    assert found.moves.line.tolist() == [4, 5, 6]
    before, after = gauge(found, 0), gauge(found, 1)
    assert after[:2] == pytest.approx(before[:2], abs=1e-9)
    assert after[2] == pytest.approx(MACHINE.machine_zero[2], abs=1e-9)
    assert found.moves.stop.all()


def test_a_return_is_its_two_moves_written_out():
    text = START + "G01 X0 F100\nG28 X50 Z200\nX3\n"
    alike(text, START + "G01 X0 F100\nG00 X50 Z200\nG53 X0 Z0\nG01 X3\n", tools=TOOLS, setup=SETUP)


def test_a_return_changes_neither_motion_word_nor_distance_mode():
    text = START + "G01 F100 X0\nG91 G28 Z5\nX3\n"
    alike(text, START + "G01 F100 X0\nG91 G00 Z5\nG90 G53 Z0\nG91 G01 X3\n", tools=TOOLS, setup=SETUP)


@pytest.mark.parametrize("word", ["G28", "G30"])
@pytest.mark.parametrize("ahead", ["", "G91 ", "G91\n"])
@pytest.mark.parametrize("tilt", ["", "G00 A5 B3\n"])
def test_a_return_without_axes_takes_all_of_them_straight(word, ahead, tilt):
    text = START + tilt + "G01 X0 F100\n"
    alike(text + f"{ahead}{word}\n", text + "G90 G53 G00 X0 Y0 Z0 A0 B0 C0\n", tools=TOOLS, setup=SETUP)
    found = meaning(text + f"{ahead}{word} M05 M09\nG90\nX3\n", tools=TOOLS, setup=SETUP)
    assert any(r.startswith(f"{word} without axes, all of them") for r in found.readings)
    late = found.events.value == 5
    assert found.moves.line[found.events.move[late]].tolist() == [text.count("\n") + ahead.count("\n") + 1]


@pytest.mark.parametrize("word", ["G28", "G30"])
def test_a_key_refuses_returns_without_axes(word):
    found = faults(START + f"{word}\n", machine=reading(bare_return="refuse"), tools=TOOLS)
    assert [f.code for f in found] == ["return-axes"]


def test_words_after_the_motion_come_after_the_whole_return():
    found = meaning(START + "G91 G28 Z0 M05 M09\n", tools=TOOLS, setup=SETUP)
    late = found.events.value == 5
    assert found.events.move[late].tolist() == [1]


def test_rotary_axes_return_where_they_are_named():
    found = meaning(START + "A5 B3\nG91 G28 Z0 A0 B0\n", tools=TOOLS)
    assert platform(found, found.moves.end[:, -1], found.moves.frame[-1])[:3, :3] == pytest.approx(np.eye(3), abs=1e-12)


def test_the_pose_of_each_word_is_a_key():
    keys = "\n[reference_return]\ng28_pose_mm_deg = [30, -20, 1030, 0, 0, 0]\ng30_pose_mm_deg = [0, 0, 1020, 0, 0, 0]\n"
    machine = machine_from((DEMONSTRATION.read_text() + '\n[words]\ng74 = "direct"\n' + keys).encode(), "m.toml")
    for word, place in (("G28", [30, -20, 1030]), ("G30", [0, 0, 1020]), ("G74", MACHINE.machine_zero[:3])):
        found = meaning(START + f"G91 {word} X0 Y0 Z0\n", machine=machine, tools=TOOLS, setup=SETUP)
        assert gauge(found, -1) == pytest.approx(place, abs=1e-9)
    wrong = keys.replace("g30_pose_mm_deg", "g31_pose_mm_deg")
    with pytest.raises(InputError) as caught:
        machine_from((DEMONSTRATION.read_text() + wrong).encode(), "m.toml")
    assert caught.value.faults[0].key == "reference_return.g31_pose_mm_deg"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("G74\n", "return-reading-missing"),
        ("G28 G53 Z0\n", "return-axes"),
        ("G92\n", "preset-axes"),
        ("G92 A0\n", "preset-axes"),
        ("G28 X1 I3\n", "arc-word-without-arc"),
        ("G28 G30 Z0\n", "repeated-word"),
    ],
)
def test_what_cannot_be_is_named(text, code):
    assert [f.code for f in faults(START + text, tools=TOOLS, setup=SETUP)] == [code]


def test_retracts_as_shops_write_them():
    text = START + "G00 G91 G28 Z0\nG28 X0 Y0\nG90 G53 G00 Y0\nM30\n"
    found = meaning(text, tools=TOOLS, setup=SETUP)
    assert gauge(found, -1) == pytest.approx(MACHINE.machine_zero[:3], abs=1e-9)


class TestPresets:
    """G92: here is X Y Z."""

    def test_the_tool_is_where_the_block_says_and_nothing_moves(self):
        found = meaning(HEAD + "G00 X10 Y20 Z30\nG92 X1 Y2\nG00 X1 Y2\nX4\n", setup=SETUP)
        assert found.moves.line.tolist() == [2, 5]
        assert found.moves.start[:, 1] == pytest.approx([1, 2, 30, 0, 0, 0], abs=1e-12)
        here, there = (platform(found, found.moves.end[:, i], found.moves.frame[i])[:3, 3] for i in (0, 1))
        turned = [np.cos(30 * DEG), np.sin(30 * DEG), 0]
        assert there - here == pytest.approx(3 * np.array(turned), abs=1e-9)

    def test_a_preset_stays_through_offsets_lengths_and_incremental_mode(self):
        shifted = offsets(G54=[0, 0, 50, 0, 0, 0], G55=[5, 0, 50, 0, 0, 0])
        plain = offsets(G54=[9, 18, 50, 0, 0, 0], G55=[14, 18, 50, 0, 0, 0])
        tail = "X4\nG55 X5 Y6\nG43 H1 X3\nG91 X1\nG90 G54 Z20\n"
        a = meaning(HEAD + "G00 X10 Y20 Z30\nG92 X1 Y2\n" + tail, setup=shifted, tools=TOOLS)
        b = meaning(HEAD + "G00 X1 Y2 Z30\n" + tail, setup=plain, tools=TOOLS)
        assert a.moves.end[:, 1:] == pytest.approx(b.moves.end[:, 1:])
        for i in range(1, a.moves.count):
            ends = [platform(x, x.moves.end[:, i], x.moves.frame[i]) for x in (a, b)]
            assert ends[0] == pytest.approx(ends[1], abs=1e-9)

    def test_presets_do_not_add_up_and_inches_are_read(self):
        text = "G20 G90\nG00 X1 Y1\nG92 X2\nG92 X3 Y1\nG00 X3 Y2\n"
        found = meaning(text, setup=SETUP)
        assert found.moves.end[:2, -1] == pytest.approx([3 * 25.4, 2 * 25.4])
        assert found.moves.count == 2

    @given(points=st.lists(st.tuples(*[st.integers(-50, 50)] * 3), min_size=1, max_size=4), here=st.integers(-50, 50))
    def test_a_program_under_a_preset_is_the_program_shifted(self, points, here):
        at = "".join(f"X{x} Y{y} Z{z}\n" for x, y, z in points)
        moved = "".join(f"X{x - here} Y{y} Z{z}\n" for x, y, z in points)
        setup = offsets(G54=[0, 0, 80, 10, 20, 30])
        a = meaning(HEAD + f"G00 X0 Y0 Z0\nG92 X{here}\n" + at, setup=setup)
        b = meaning(HEAD + "G00 X0 Y0 Z0\n" + moved, setup=setup)
        ends = [platform(x, x.moves.end[:, -1], x.moves.frame[-1]) for x in (a, b)]
        assert ends[0] == pytest.approx(ends[1], abs=1e-9)


class TestFeedPerRevolution:
    """G95: F times S."""

    def test_feed_follows_the_spindle_speed(self):
        text = HEAD + "S1000 G95\nG00 X-1\nG01 X1 F.2\nX2 S1500\nX3\nG94 X4 F300\n"
        assert meaning(text).moves.feed[1:] * 60 == pytest.approx([200, 300, 300, 300])

    def test_inches_and_turns_of_the_tool(self):
        assert meaning("G20 G95 S600\nG01 X1 F.01\n").moves.feed * 60 == pytest.approx([152.4])
        assert meaning(HEAD + "G95 S10\nG00 X5\nG01 A5 F2\n").moves.feed[1] / DEG * 60 == pytest.approx(20)

    def test_a_speed_must_be_in_force(self):
        assert [f.code for f in faults(HEAD + "G95 G01 X1 F.2\n")] == ["spindle-speed-missing"]
        assert [f.code for f in faults(HEAD + "S0 G95 G01 X1 F.2\n")] == ["spindle-speed-missing"]

    def test_a_tap_under_feed_per_revolution_has_its_pitch_as_feed(self):
        text = HEAD + "S400 M03 G95\nG00 Z50\nG84 X1 Z-9 R2 F1.25\n"
        twin = HEAD + "S400 M03 G94\nG00 Z50\nG84 X1 Z-9 R2 F500\n"
        same(meaning(text), meaning(twin))


def test_a_machine_made_by_hand_returns_to_machine_zero():
    machine = replace(MACHINE, reference_return=None)
    alike_zero = meaning(START + "G91 G28 Z0\n", machine=machine, tools=TOOLS)
    same(alike_zero, meaning(START + "G91 G28 Z0\n", tools=TOOLS))


@pytest.mark.parametrize("block", ["G74 X5 Y5 Z-5 F100", "G74 Z0", "G91 G74 X0 Y0", "G74 R2 Z-9 F500", "G74"])
def test_a_word_that_leads_home_here_and_taps_there_is_refused_until_the_machine_file_says_which(block):
    found = faults(START + block + "\n", tools=TOOLS)
    assert found[0].line == 5 and found[0].code in {"return-reading-missing", "return-axes"}
    assert all(f.line == 5 for f in found)
    if block != "G74":
        assert [f.code for f in found] == ["return-reading-missing"]


@pytest.mark.parametrize("word", ["G28", "G30", "G74"])
@pytest.mark.parametrize("mode", ["G90", "G91"])
@pytest.mark.parametrize("number", ["0", "-5", "77.5"])
def test_a_direct_return_goes_straight_home_whatever_the_numbers(word, mode, number):
    direct = reading(g28="direct", g74="direct")
    found = meaning(START + f"{mode} {word} Z{number}\nG90 X0\n", tools=TOOLS, setup=SETUP, machine=direct)
    same(found, meaning(START + "G53 Z0\nX0\n", tools=TOOLS, setup=SETUP))
    assert any("straight to the reference pose" in r for r in found.readings)


def test_the_report_says_how_a_return_was_read():
    found = meaning(START + "G28 Z120\n", tools=TOOLS, setup=SETUP)
    assert any(
        r.startswith("G28:") and "under G90 that point is a place in work coordinates" in r for r in found.readings
    )
    found = meaning(START + "G91 G28 Z0\n", tools=TOOLS, setup=SETUP)
    assert any(r.startswith("G28:") and "G90" not in r for r in found.readings)
