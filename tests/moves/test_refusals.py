"""What is refused: every fault by name and place, all in one run, and no sequel of a fault told as another."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import HEAD, TOOLS, faults, meaning, offsets, reading

from hexpost.machine.words import LETTERS, WORDS, near_words

AT = HEAD + "G00 X0 Y0 Z0\n"
# (program after the head, line after the head, column, code, part of the text)
MISTAKES = [
    ("G01 X1 G96 F1\n", 2, 8, "unknown-word", "G96"),
    ("G41.1 X1\n", 2, 1, "unknown-word", "G41.1"),
    ("M98 P100\n", 2, 5, "subprogram-missing", "O100"),
    ("G00 X1 Y2 X3\n", 2, 11, "repeated-word", "X3"),
    ("G00 G01 X1 F5\n", 2, 5, "repeated-word", "motion"),
    ("M03 M05\n", 2, 5, "repeated-word", "spindle"),
    ("G20 G71\n", 2, 5, "repeated-word", "units"),
    ("G01 X1 F0\n", 2, 8, "feed-bad", "F0"),
    ("G01 X1 F-5\n", 2, 8, "feed-bad", "F-5"),
    ("G01 X1\n", 2, 1, "feed-missing", "no feed is in force"),
    ("N5 G01 X1\n", 2, 4, "feed-missing", "no feed is in force"),
    ("G93 G01 X1 F2\nX2\n", 3, 1, "inverse-feed-missing", "G93"),
    ("G01 X1 F2 G93\nG94 X2\n", 3, 1, "feed-missing", "no feed"),
    ("G00 X1 I5\n", 2, 8, "arc-word-without-arc", "I5"),
    ("F9\nG02 X5\n", 3, 1, "arc-centre-missing", "no centre"),
    ("F9\nG02 X5 I2 R4\n", 3, 1, "arc-two-centres", "one of them"),
    ("F9\nG02 X5 I2 K4\n", 3, 1, "arc-word-out-of-plane", "plane"),
    ("F9\nG02 X5 R2\n", 3, 1, "arc-radius-too-small", "no such arc"),
    ("F9\nG02 X0 Y0 R2\n", 3, 1, "arc-full-circle-by-radius", "ends where it starts"),
    ("F9\nG02 R2\n", 3, 1, "arc-full-circle-by-radius", "ends where it starts"),
    ("F9\nG02 X5 R0\n", 3, 1, "arc-radius-bad", "radius 0"),
    ("F9\nG02 X5 I0\n", 3, 1, "arc-radius-bad", "radius 0"),
    ("F9\nG02 X5 I3\n", 3, 1, "arc-end-off", "0.02 mm"),
    ("G04\n", 2, 1, "dwell-time-missing", "has no time"),
    ("G04 X1 P2\n", 2, 1, "dwell-time-twice", "more than one"),
    ("G04 P-1\n", 2, 5, "dwell-time-bad", "P-1"),
    ("G04 Y1 P5\n", 2, 5, "dwell-with-motion", "Y1"),
    ("G01 G04 X1\n", 2, 1, "dwell-with-motion", "G01"),
    ("G00 X1 P5\n", 2, 8, "word-out-of-place", "P5"),
    ("M06\n", 2, 1, "tool-not-selected", "no T word"),
    ("T1.5 M06\n", 2, 1, "tool-number-bad", "T1.5"),
    ("G43 Z5\n", 2, 1, "length-row-missing", "has no H"),
    ("G43 H-1\n", 2, 5, "row-number-bad", "H-1"),
    ("S-5\n", 2, 1, "spindle-speed-bad", "S-5"),
    ("G53\n", 2, 1, "machine-coordinates-alone", "without an axis"),
    ("G53 G02 X1 I5 F5\n", 2, 1, "machine-coordinates-arc", "arc"),
    ("G00 X100000000\n", 2, 5, "value-too-large", "X100000000"),
    ("M30\nG00 X1\n", 3, 1, "words-after-end", "M30 in line 3"),
]


@pytest.mark.parametrize(("text", "line", "column", "code", "part"), MISTAKES, ids=[m[0].strip() for m in MISTAKES])
def test_each_mistake_is_named_where_it_stands(text, line, column, code, part):
    found = faults(AT + text)
    assert [f.code for f in found] == [code]
    assert (found[0].line, found[0].column) == (line + 1, column)
    assert part in found[0].what
    assert found[0].text == (AT + text).splitlines()[line]


def test_all_faults_of_a_program_come_in_one_run_in_the_order_of_the_text():
    bad = [m for m in MISTAKES if m[3] not in ("words-after-end", "feed-missing")]
    found = faults(AT + "F9\n" + "".join(f"G90 G94\n{m[0]}G00 X0 Y0 F9\n" for m in bad))
    codes = [f.code for f in found]
    for m in bad:
        assert m[3] in codes, m
    assert [f.line for f in found] == sorted(f.line for f in found)


def test_what_could_not_be_read_comes_with_what_could_not_be_understood():
    found = faults("G21\nG00 X1.2.3\nG05 X1\nG01 X2\n")
    assert {(f.line, f.code) for f in found if f.code == "unknown-word"} == {(3, "unknown-word")}
    assert found[0].line == 2
    assert len(found) == 2  # the missing motion word and feed may well stand in the block that was not read


def test_units_must_be_stated():
    assert [f.code for f in faults("G00 X1\nG21\nX2\n")] == ["units-missing"]
    assert not faults("G00 X1\n", machine=reading(units="mm"))
    assert not faults("T1\nG00 X1 G21\n")
    assert not faults("G00 A5\n")  # degrees need none


def test_a_motion_word_must_be_given():
    found = faults("G21\nX1\nY2\n")
    assert [(f.code, f.line) for f in found] == [("no-motion-word", 2)]


def test_missing_tools_and_offsets_are_named_together():
    text = AT + "T1 M06\nG43 H9\nT7\nG56 X1\nG54 G59\nG57 X1\nT7 H8\n"
    found = faults(text, tools=TOOLS, setup=offsets(G54=[0] * 6, G59=[0] * 6))
    by = {f.code: f for f in found}
    assert "H9 (line 4), T7 (line 5), H8 (line 9)" in by["missing-tools"].what
    assert "G56 (line 6)" in by["missing-offsets"].what
    assert "G57 (line 8)" in by["missing-offsets"].what
    assert "s.toml" in by["missing-offsets"].what


def test_the_offset_that_is_on_at_the_start_must_be_there_when_it_is_used():
    assert [f.code for f in faults(HEAD + "G00 X1\n", setup=offsets(G55=[0] * 6))] == ["missing-offsets"]
    assert not faults(HEAD + "G55 G00 X1\n", setup=offsets(G55=[0] * 6))


def test_endless_faults_do_not_take_endless_memory():
    found = faults("G21\n" + "G05 X1\n" * 30_000)
    assert len(found) == 10_000


@given(
    st.lists(
        st.tuples(
            st.sampled_from([*LETTERS, "D", "E", "L", "Q", "U"]),
            st.one_of(st.integers(-3, 99), st.sampled_from([0.5, 1e5, -1e9, 54.1, 1e-9])),
            st.sampled_from([" ", "\n", "\n", "\nG02 ", "\nG01 F5 "]),
        ),
        max_size=40,
    )
)
def test_no_words_whatever_bring_a_traceback(words):
    text = "G21 G00\n" + "".join(f"{a}{v:.9f}{gap}" for a, v, gap in words)
    for fault in faults(text, tools=TOOLS):
        assert re.match(r"part\.nc:\d+", str(fault))


def test_every_word_of_the_table_is_read():
    for word in WORDS:
        value = "" if word.code is not None else "5"
        found = faults(f"{AT}F9 T1 G94\n{word.name}{value}\n")
        assert "unknown-word" not in [f.code for f in found], word


def test_a_safe_line_of_cancel_words_is_one_block():
    assert meaning("G00 G17 G21 G40 G49 G54 G80 G90 G94\nX1\n").moves.count == 1


@pytest.mark.parametrize(
    ("word", "near"),
    [("G177", ["G17"]), ("M088", ["M08"]), ("G644", ["G64"]), ("M488", ["M48"]), ("M300", ["M30"]),
     ("M303", []), ("G777777", []), ("G5.1", []), ("U5", []), ("G", []), ("G96", []), ("G10", [])],
)  # fmt: skip
def test_an_unknown_word_names_the_known_one_that_was_struck_twice(word, near):
    assert sorted(near_words(word)) == near


@pytest.mark.parametrize("letter", "GM")
def test_no_word_that_moves_spins_changes_a_tool_or_shifts_the_work_is_ever_suggested(letter):
    """Of all codes to 9999, with digits struck twice and three times, too."""
    codes = {str(code) for code in range(10_000)} | {f"{d}{d}{e}" for d in range(10) for e in range(10)}
    suggested = {near for code in codes for near in near_words(f"{letter}{code}")}
    groups = {w.group for w in WORDS if w.name in suggested}
    assert suggested
    assert not groups & {
        "motion", "cycle", "reference return", "machine coordinates", "preset", "spindle", "tool change", "subprogram",
        "work offset", "tool length", "cutter radius", "distance", "units",
    }  # fmt: skip
    for word in ("M33", "M44", "M66", "G33", "G11", "G888", "G011", "G544"):
        assert near_words(word) == []


def test_an_arc_that_misses_its_end_tells_both_radii():
    """Start (0, 0), centre (3, 0), end (10, 10): radii 3 and sqrt(7^2 + 10^2) = 12.2066 (Pythagoras)."""
    fault = faults("G21 G00 X0 Y0 Z0\nG02 X10 Y10 I3 J0 F100\n")[0]
    assert "start radius is 3 mm" in fault.what and "end radius 12.2066 mm" in fault.what
