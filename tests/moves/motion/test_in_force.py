"""What is in force over runs of moves: units, feed modes, threads, the F word and its line."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import HEAD, MACHINE, TOOLS, meaning, reading

from hexpost.machine.wording import DialectWord, Wording
from hexpost.moves.model import F_INVERSE, F_PER_MINUTE, F_PER_REVOLUTION, Modal

SHOP = replace(
    MACHINE,
    words=Wording(units="inch"),
    dialect=(
        DialectWord(word="M77", action="same-as", same_as="G20"),
        DialectWord(word="G777", action="same-as", same_as="G93"),
        DialectWord(word="M84", action="same-as", same_as="G84"),
    ),
)


def column(found, name):
    """Return a column of what is in force, move by move."""
    return getattr(found.written, name).at(np.arange(found.moves.count)).tolist()


@pytest.mark.parametrize(
    ("word", "scale", "machine"),
    [
        ("G20", 25.4, MACHINE),
        ("G70", 25.4, MACHINE),
        ("G21", 1.0, MACHINE),
        ("G71", 1.0, MACHINE),
        ("M77", 25.4, SHOP),
        ("", 25.4, SHOP),
        ("", 1.0, reading(units="mm")),
    ],
)
def test_the_unit_is_that_of_the_words_as_they_are_read(word, scale, machine):
    found = meaning(f"{word} G90 G94\nG00 X0 Y0\nG01 X1 F60\nX2\n", machine)
    assert column(found, "scale") == [scale] * found.moves.count
    lines = found.written.of_lines(found.moves, np.array([3, 4, 2, 99]))
    np.testing.assert_allclose(lines.scale, [scale, scale, np.nan, np.nan])
    np.testing.assert_allclose(lines.per_speed[:2], 1 / scale, rtol=1e-12)
    assert lines.mode.tolist() == [F_PER_MINUTE, F_PER_MINUTE, -1, -1]


def test_modes_change_from_one_run_to_the_next():
    found = meaning(HEAD + "G00 X5 S60 M03\nG01 X0 F60\nG93 X1 F2\nG95 X2 F0.5\nX3\nG94 X4 F9\n")
    modes = [F_PER_MINUTE, F_PER_MINUTE, F_INVERSE, F_PER_REVOLUTION, F_PER_REVOLUTION, F_PER_MINUTE]
    assert column(found, "mode") == modes
    np.testing.assert_allclose(column(found, "feed"), [np.nan, 60, np.nan, 0.5, 0.5, 9])
    assert found.written.mode.first.tolist() == [0, 2, 3, 5]
    at = found.written.of_lines(found.moves, np.array([3, 4, 5, 6, 7]))
    np.testing.assert_allclose(at.per_speed, [1, np.nan, 0.5 / 30, 0.5 / 30, 1])


@pytest.mark.parametrize("word", ["G84", "M84"])
def test_only_the_feed_moves_of_a_thread_are_tapping(word):
    text = f"G21 G90 G94\nG00 X0 Y0 Z50\nM03 S100\n{word} R2 Z-10 F100\nX5\nG80\nG01 X9 F50\n"
    found = meaning(text, replace(MACHINE, dialect=SHOP.dialect))
    tapping = np.array(column(found, "tapping"), dtype=bool)
    feeding = found.moves.feed_mode != 3
    assert np.array_equal(tapping, feeding & (found.moves.line < 7))
    assert tapping.sum() == 4  # in and out of two holes; no block of its own makes the first


def test_the_line_of_the_f_word_in_force():
    found = meaning(HEAD + "G00 X1\nG01 X0 F60\nX1\nF30\nX2\nX3 F20\nX4 F10\nG00 X9\nG01 X5\n")
    assert column(found, "line") == [0, 0, 3, 5, 0, 0, 8, 8]


def test_a_run_of_the_same_line_again_is_a_run_of_its_own():
    text = HEAD + "G00 X9\nG01 X5 F60\nM98 P1 L2\nM30\nO1\nF30\nX1\nX2\nM99\n"
    found = meaning(text)
    assert found.moves.line.tolist() == [2, 3, 8, 9, 8, 9]
    assert column(found, "line") == [0, 0, 7, 7, 7, 7]
    assert found.written.line.first.tolist() == [0, 2, 4]


def test_lines_whose_runs_need_different_words_are_none_of_one_way():
    sub = "M30\nO1\nG91 G01 X1 F10\nG90\nM99\n"
    found = meaning("G21 G94 G00 X0\nM98 P1\nG20\nM98 P1\n" + sub)
    at = found.written.of_lines(found.moves, np.array([7]))
    assert np.isnan(at.scale[0]) and np.isnan(at.per_speed[0]) and at.mode[0] == F_PER_MINUTE


def test_the_share_of_the_tip_in_a_mixed_feed_is_part_of_the_word():
    found = meaning("G21 G94 G00 X5\nG01 X35 A40 F50\n", reading(mixed_feed="root-sum-square"))
    at = found.written.of_lines(found.moves, np.array([2]))
    assert at.per_speed[0] * found.moves.feed[1] * 60 == pytest.approx(50, rel=1e-12)
    assert at.per_speed[0] == pytest.approx(5 / 3, rel=1e-12)


def test_runs_follow_rolled_corners():
    text = HEAD + "G00 X0 Y0\nT1 M06\nG41 D2 G01 X10 F60\nY30\nX40 F30\nY0\nG40 X60\n"
    found = meaning(text, tools=TOOLS)
    for move in range(found.moves.count):
        line = int(found.moves.line[move])
        assert column(found, "feed")[move] == pytest.approx(
            60 if 4 <= line <= 5 else 30 if line > 5 else np.nan, nan_ok=True
        )
    assert found.radius_rows == (2,)


def test_rows_d_that_nothing_uses_are_not_named():
    assert meaning(HEAD + "G00 X1 D2\nG01 X5 F60\n", tools=TOOLS).radius_rows == ()


def test_the_first_c_word_is_named():
    assert meaning(HEAD + "G00 X1 C0\nX2\nC5\nC0\n").c_line == 4
    assert meaning(HEAD + "G00 X1 C0\n").c_line == 0


@given(
    st.lists(
        st.sampled_from(["G20", "G21", "G70", "G71", "G01 X1", "G00 X2", "X3", "F20", "G93 G01 X4 F9", "G94 F7"]),
        max_size=30,
    )
)
def test_columns_are_the_same_in_any_windows(blocks):
    from hexpost.moves import interpret as interpreter

    text = "G21 G94 G90 G01 X9 F5\n" + "".join(f"{b}\nF8 X{i}.5 G94\n" for i, b in enumerate(blocks))
    whole = meaning(text)
    before = interpreter.WINDOW
    try:
        interpreter.WINDOW = 3
        parts = meaning(text)
    finally:
        interpreter.WINDOW = before
    for name in ("scale", "mode", "tapping", "led", "feed", "line"):
        a, b = (getattr(x.written, name) for x in (whole, parts))
        assert np.array_equal(a.first, b.first)
        assert np.array_equal(a.value, b.value, equal_nan=True)


def test_runs_of_moves_that_are_gone_go_with_them():
    found = Modal(np.array([0, 2, 3]), np.array([7.0, 8.0, 9.0])).moved(np.array([0, 1, 2, 2, 3]))
    assert found.first.tolist() == [0, 2]
    assert found.value.tolist() == [7.0, 9.0]
