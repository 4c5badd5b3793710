"""Fixed cycles against the classic table of the trade, every move spelled out by hand.

The table is common practice, no source: in at feed, what happens at the bottom, the way out. The way out of G85, the
spindle of G86 and the pecks of G83: CNC Manufacturing Technology (online textbook, 2021), pages 213 and 218.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import HEAD, TOOLS, alike, faults, meaning, offsets, platform, reading, same

from hexpost.moves import interpret as interpreter

START = HEAD + "S500 M03 F100\nG00 X0 Y0 Z50\n"
BACK = "G00 Z50\n"

# cycle words -> the hole at X10 Y20 from R2 to Z-10 as the table says, ending at the R plane
TABLE = {
    "G81": "G01 Z-10\nG00 Z2\n",
    "G82 P500": "G01 Z-10\nG04 P500\nG00 Z2\n",
    "G73 Q12": "G01 Z-10\nG00 Z2\n",
    "G73 Q5": "G01 Z-3\nG00 Z-2.5\nG01 Z-8\nG00 Z-7.5\nG01 Z-10\nG00 Z2\n",
    "G83 Q12": "G01 Z-10\nG00 Z2\n",
    "G83 Q5": "G01 Z-3\nG00 Z2\nG00 Z-2.5\nG01 Z-8\nG00 Z2\nG00 Z-7.5\nG01 Z-10\nG00 Z2\n",
    "G83 Q6 P100": "G01 Z-4\nG00 Z2\nG00 Z-3.5\nG01 Z-10\nG04 P100\nG00 Z2\n",
    "G84": "G01 Z-10\nM04\nG01 G09 Z2\nM03\n",
    "G85": "G01 Z-10\nG01 G09 Z2\n",
    "G86": "G01 Z-10\nM05\nG00 Z2\nM03\n",
    "G89 P300": "G01 Z-10\nG04 P300\nG01 G09 Z2\n",
}


def stops(text: str) -> str:
    """Return a program in which every downward cut of a hole ends at rest."""
    return text.replace("G01 Z", "G01 G09 Z")


@pytest.mark.parametrize("words", TABLE)
def test_a_hole_moves_as_the_table_says_and_returns_to_r(words):
    text = START + f"G99 {words} X10 Y20 Z-10 R2\nG80\n"
    alike(text, START + "G00 X10 Y20\nG00 Z2\n" + stops(TABLE[words]))


@pytest.mark.parametrize("words", TABLE)
def test_under_g98_the_tool_comes_back_to_where_the_cycle_began(words):
    out = stops(TABLE[words])
    if words.startswith("G86"):
        out = out.replace("G00 Z2\nM03\n", "G00 Z50\nM03\n")
    elif out.endswith("G00 Z2\n"):
        out = out.removesuffix("G00 Z2\n") + "G00 Z50\n"
    else:
        out += "G00 Z50\n"
    alike(START + f"{words} X10 Y20 Z-10 R2\n", START + "G00 X10 Y20\nG00 Z2\n" + out)


def test_withdrawal_by_hand_is_refused_or_timed():
    text = START + "G88 X10 Z-10 R2 P250\nG80\nG87 X20 Z-10 R2\n"
    assert [f.code for f in faults(text)] == ["cycle-by-hand", "cycle-by-hand"]
    by_hand = reading(manual_withdrawal=20.0)
    hole = "G00 X{0}\nG00 Z2\nG01 G09 Z-10\n{1}M05\nG04 P20000\nG00 Z50\nM03\n"
    twin = START + hole.format(10, "G04 P250\n") + hole.format(20, "")
    a, b = meaning(text, machine=by_hand), meaning(twin, machine=by_hand)
    same(a, b, tolerance=0.0)
    for name in ("move", "rule", "letter", "value", "pause"):
        assert np.array_equal(getattr(a.events, name), getattr(b.events, name)), name


def test_a_left_hand_tap_turns_the_other_way():
    text = HEAD + "S500 M14 F100\nG00 Z50\nG84 X5 Z-9 R1\n"
    alike(text, HEAD + "S500 M14 F100\nG00 Z50\nG00 X5\nG00 Z1\nG01 G09 Z-9\nM03\nG01 G09 Z1\nM04\nG00 Z50\n")


def test_the_holder_of_a_tap_is_told():
    assert any("floating" in r for r in meaning(START + "G84 X5 Z-9 R1\n").readings)


def test_a_bore_starts_a_spindle_that_stands():
    text = HEAD + "G00 Z50 S300 F50\nG86 X5 Z-9 R1\n"
    twin = HEAD + "G00 Z50 S300 F50\nG00 X5\nG00 Z1\nM03\nG01 G09 Z-9\nM05\nG00 Z50\nM03\n"
    alike(text, twin)


def hole(x: float, y: float, bottom: float, r: float, back: float) -> str:
    """Return a drilled hole spelled out."""
    return f"G00 X{x} Y{y}\nG00 Z{r}\nG01 G09 Z{bottom}\nG00 Z{back}\n"


def test_levels_stay_until_they_are_changed():
    text = START + "G99 G81 X1 Y2 Z-5 R2\nX3\nX4 Y5 Z-8\nR1 X5\nG98 X6\nG80\n"
    twin = START + hole(1, 2, -5, 2, 2) + hole(3, 2, -5, 2, 2) + hole(4, 5, -8, 2, 2)
    alike(text, twin + hole(5, 5, -8, 1, 1) + hole(6, 5, -8, 1, 50))


def test_incremental_levels_count_from_where_the_cycle_began_and_from_r():
    text = START + "G91 G99 G81 X1 Y2 Z-7 R-48\nX3 L2\nG90 G80\n"
    alike(text, START + hole(1, 2, -5, 2, 2) + hole(4, 2, -5, 2, 2) + hole(7, 2, -5, 2, 2))


def test_repeats_drill_rows_and_none_drills_nothing():
    alike(START + "G91 G81 X5 Z-7 R-48 K3\nG90\n", START + "".join(hole(5 * i, 0, -5, 2, 50) for i in (1, 2, 3)))
    alike(START + "G81 Z-5 R2 L0\nX7\n", START + hole(7, 0, -5, 2, 50))


def test_a_cycle_without_a_place_drills_where_the_tool_is():
    alike(START + "G81 Z-5 R2\n", START + hole(0, 0, -5, 2, 50))


def test_blocks_without_axes_drill_nothing_and_are_heard():
    text = START + "G81 X1 Z-5 R2\nF200\nS900 M08\nG99\nX2\n"
    alike(text, START + hole(1, 0, -5, 2, 50) + "F200\nS900 M08\n" + hole(2, 0, -5, 2, 2))


def test_a_call_while_a_cycle_is_in_force_leaves_its_dwell_alone():
    text = START + "G82 X1 Z-5 R2 P300 L0\nM98 P700 L2\nG80\nM30\nO700\nG91 X4\nG90\nM99\n"
    found = meaning(text)
    assert found.events.pause[found.events.letter == ord("G")].tolist() == [0.3, 0.3]
    assert found.moves.end[0, found.moves.feed_mode == 0].tolist() == [4, 8]


@pytest.mark.parametrize("end", ["G80\nX9", "G80 X9", "G00 X9", "G80 G00 X9"])
def test_a_cycle_ends_with_g80_or_a_motion_word_and_the_motion_word_before_it_is_in_force_again(end):
    alike(START + f"G81 X1 Z-5 R2\n{end}\n", START + hole(1, 0, -5, 2, 50) + "G00 X9\n")


def test_a_cycle_begun_below_its_r_plane_rises_first():
    text = HEAD + "F100\nG00 X0 Y0 Z1\nG99 G81 X5 Z-3 R4\nX6\n"
    twin = HEAD + "F100\nG00 X0 Y0 Z1\nG00 Z4\nG00 X5\nG01 G09 Z-3\nG00 Z4\n" + "G00 X6\nG01 G09 Z-3\nG00 Z4\n"
    alike(text, twin)


def test_words_of_the_block_act_with_its_first_move_or_after_its_last():
    found = meaning(START + "G81 X1 Z-5 R2 M08\nX2 M09\nX3 M01\n")
    at = dict(zip(found.events.value.tolist(), found.events.move.tolist(), strict=True))
    assert at[8] == 1
    assert at[9] == 8
    assert at[1] == 12


def test_other_planes_drill_along_their_own_axis():
    setup = offsets(G54=[0, 0, 100, 0, 0, 0])
    text = HEAD + "F100\nG00 X0 Y60 Z0 A-90\nG18 G81 X5 Z7 Y-10 R2\nG80 G17\n"
    twin = HEAD + "F100\nG00 X0 Y60 Z0 A-90\nG00 X5 Z7\nG00 Y2\nG01 G09 Y-10\nG00 Y60\n"
    alike(text, twin, setup=setup)
    text = HEAD + "F100\nG00 X60 B90\nG19 G81 Y5 X-10 R2\n"
    alike(text, HEAD + "F100\nG00 X60 B90\nG00 Y5\nG00 X2\nG01 G09 X-10\nG00 X60\n", setup=setup)


def test_a_tool_that_points_up_the_axis_drills_to_its_other_side():
    text = HEAD + "F100\nG00 Y-60 A90\nG18 G81 X5 Y10 R-2\n"
    alike(text, HEAD + "F100\nG00 Y-60 A90\nG00 X5\nG00 Y-2\nG01 G09 Y10\nG00 Y-60\n")
    assert [f.code for f in faults(HEAD + "F100\nG00 Y-60 A90\nG18 G81 X5 Y-90 R-70\n")] == ["cycle-upside-down"]


def test_under_a_tilted_offset_holes_are_square_to_the_part():
    setup = offsets(G54=[10, 0, 100, 20, -15, 40])
    found = meaning(START + "G81 X5 Y6 Z-8 R2\n", setup=setup)
    assert found.moves.end[:3, 3] == pytest.approx([5, 6, -8])
    frame = platform(found, found.moves.end[:, 3], 0)
    assert found.moves.frames[0].base_from_work[:3, 2] == pytest.approx(frame[:3, 2], abs=1e-12)


def test_an_offset_changed_between_holes_keeps_the_first_level_in_space():
    setup = offsets(G54=[0, 0, 100, 0, 0, 0], G55=[200, 0, 130, 0, 0, 0])
    text = START + "G99 G81 X1 Y2 Z-5 R2\nG55 G98 X3\nG80\n"
    twin = START + hole(1, 2, -5, 2, 2) + "G55\nG00 Z2\nG00 X3\nG01 G09 Z-5\nG00 Z20\n"
    alike(text, twin, setup=setup)


def test_a_tool_length_given_in_a_cycle_block_counts_at_once():
    text = START + "T1 M06\nG00 G43 H1 Z50\nG81 X1 Z-5 R2\nG43 H2 X2\n"
    assert meaning(text, tools=TOOLS).moves.end[2, -1] == pytest.approx(49.0)


def test_inch_and_metric_holes_are_the_same():
    inch = HEAD.replace("G21", "G20") + "F10 S9\nG00 X0 Y0 Z2\nG99 G83 X1 Z-.5 R.1 Q.25\nX2\n"
    metric = HEAD + "F254 S9\nG00 X0 Y0 Z50.8\nG99 G83 X25.4 Z-12.7 R2.54 Q6.35\nX50.8\n"
    same(meaning(inch), meaning(metric))


MISTAKES = [
    ("G81 X1 Z-5\n", "cycle-r-missing"),
    ("G81 X1 R2\n", "cycle-depth-missing"),
    ("G82 X1 Z-5 R2\n", "cycle-dwell-missing"),
    ("G73 X1 Z-5 R2\n", "cycle-peck-missing"),
    ("G73 X1 Z-5 R2 Q3 P5\n", "cycle-word-unused"),
    ("G83 X1 Z-5 R2\n", "cycle-peck-missing"),
    ("G83 X1 Z-5 R2 Q-1\n", "cycle-peck-missing"),
    ("G83 X1 Z-5 R2 Q.00001\n", "too-many-moves"),
    ("G81 X1 Z-5 R2 L999999999\n", "value-too-large"),
    ("G81 X1 Z-5 R2 L5000000\n", "too-many-moves"),
    ("G81 X1 Z-5 R2 L50000\n", "repeat-bad"),
    ("G81 X1 Z-5 R2 L1.5\n", "repeat-bad"),
    ("G81 X1 Z5 R2\n", "cycle-upside-down"),
    ("G81 X1 Z-5 R2 A1\n", "cycle-tool-not-along"),
    ("G18 G81 X1 Y-5 R2\n", "cycle-tool-not-along"),
    ("G01 G81 X1 Z-5 R2\n", "two-motions"),
    ("G93 G81 X1 Z-5 R2\n", "cycle-inverse-time"),
    ("G81 X1 Z-5 R2\nG53 Z0\n", "cycle-in-machine-coordinates"),
    ("M05\nG84 X1 Z-5 R2\n", "cycle-spindle-off"),
    ("S0\nG84 X1 Z-5 R2\n", "cycle-spindle-off"),
    ("G84 X1 Z-5 R2 F20000\n", "cycle-pitch-odd"),
    ("G81 X1 I3 Z-5 R2\n", "arc-word-without-arc"),
    ("Q5\n", "word-out-of-place"),
    ("G41 D1 X50 Y50\nG81 X1 Z-5 R2\n", "cycle-beside-contour"),
]


@pytest.mark.parametrize(("text", "code"), MISTAKES, ids=[m[0].splitlines()[-1] for m in MISTAKES])
def test_cycles_that_cannot_be_are_named_once(text, code):
    found = faults(START + text + "X2\nX3\nG80\n")
    assert code in {f.code for f in found}
    assert len(found) == 1


def test_a_program_of_nothing_but_repeats_is_refused_in_good_time():
    found = faults(START + "G91 G81 X.001 Z-7 R-48\n" + "M98 P1 L9999\nM30\nO1\nX.001 L9999\nX-9 L999\nM99\n")
    assert {f.code for f in found} == {"too-many-moves"}


def test_a_feed_must_be_in_force():
    assert [f.code for f in faults(HEAD + "G00 Z50\nG81 X1 Z-5 R2\n")] == ["feed-missing"]


def test_a_hundredth_of_a_degree_is_the_bound():
    assert not faults(START + "G00 A.0099\nG81 X1 Z-5 R2\n")
    assert [f.code for f in faults(START + "G00 A.0101\nG81 X1 Z-5 R2\n")] == ["cycle-tool-not-along"]


def test_what_a_controller_may_set_for_pecks_is_a_key():
    found = meaning(START + "G99 G83 X1 Z-5 R2 Q4\n", machine=reading(peck_clearance=1.5))
    assert found.moves.end[2, 2:].tolist() == pytest.approx([2, -2, 2, -0.5, -5, 2])


@given(
    blocks=st.lists(
        st.sampled_from(["X1", "Y2 X3", "G81 R2 Z-5 X4", "G83 Q3 X5 R3 Z-6", "G80", "G00 X7", "G98", "G99", "F55",
                         "G91 X1",
                         "G90", "G55", "T2 M06", "G43 H1", "M08", "G92 X0 Y1", "G28 G91 Z0", "G82 P9 Z-4 R2 X1",
                         "G01 X3", "G04 P5", "X2 L3", "R5 Z-5"]),
        max_size=14,
    ),
    window=st.integers(1, 5),
)  # fmt: skip
def test_windows_do_not_change_the_meaning_of_cycles(blocks, window):
    setup = offsets(G54=[0, 0, 100, 0, 0, 0], G55=[20, 0, 130, 0, 0, 30])
    text = "T1\n" + START + "\n".join(blocks) + "\n"
    if faults(text, setup=setup, tools=TOOLS):
        return
    whole = meaning(text, setup=setup, tools=TOOLS)
    size = interpreter.WINDOW
    try:
        interpreter.WINDOW = window
        parts = meaning(text, setup=setup, tools=TOOLS)
    finally:
        interpreter.WINDOW = size
    same(whole, parts)
    assert np.array_equal(whole.events.move, parts.events.move)


@pytest.mark.parametrize("word", ["G92 X5 Y5", "G28 Z0", "G91 G28 Z0", "M06 T2"])
def test_a_cycle_ends_in_a_block_that_has_its_own_way(word):
    """A preset, a reference return or a tool change beside G80 is what it is in the block behind it."""
    cycle = START + "G83 X0 Y0 Z-9 R2 Q3 F100\n"
    alike(f"{cycle}G80 {word}\nG90 X7\n", f"{cycle}G80\n{word}\nG90 X7\n")


def test_a_peck_beside_a_preset_that_ends_the_cycle_is_of_no_cycle():
    assert [f.code for f in faults(f"{START}G83 X0 Y0 Z-9 R2 Q3 F100\nG92 X0 Q37 G80\n")] == ["word-out-of-place"]
