"""M S T words, dwells, and what brings the tool to rest."""

import pytest
from moves.programs import HEAD, TOOLS, meaning, reading

from hexpost.moves.model import AFTER, WITH


def told(found):
    e = found.events
    return [(chr(a), v, m, r) for a, v, m, r in zip(e.letter, e.value, e.move, e.rule, strict=True)]


def test_words_act_with_or_after_the_motion_of_their_block():
    # Common practice, no source: M03 M04 M07 M08 S T with the motion, the others after it
    found = meaning(HEAD + "G00 X1 M03 S500 M08\nX2 M05 M09\n")
    assert told(found) == [
        ("M", 3, 0, WITH),
        ("S", 500, 0, WITH),
        ("M", 8, 0, WITH),
        ("M", 5, 1, AFTER),
        ("M", 9, 1, AFTER),
    ]


def test_words_without_motion_act_after_the_move_before():
    found = meaning(HEAD + "M08\nG00 X1\nX1\nM03 S200\nT7\nX2\nM30\n")
    assert told(found) == [
        ("M", 8, -1, AFTER), ("M", 3, 0, AFTER), ("S", 200, 0, AFTER), ("T", 7, 0, AFTER), ("M", 30, 1, AFTER),
    ]  # fmt: skip
    assert found.events.line.tolist() == [2, 5, 5, 6, 8]


def test_order_in_a_block_is_with_then_after():
    found = meaning(HEAD + "G00 X1 M05 M08 T2\n")
    assert [t[:2] for t in told(found)] == [("M", 8), ("T", 2), ("M", 5)]


def test_the_tool_is_mounted_after_the_motion_of_the_block():
    found = meaning(HEAD + "G00 X1 T1 M06\nX2\nT3\nX3 T2\nM06\nX4\n", tools=TOOLS).moves
    assert [found.frames[f].tool for f in found.frame] == [0, 1, 1, 2]


@pytest.mark.parametrize(
    ("word", "words", "seconds"),
    [
        ("X2", {}, 2.0),
        ("F1.5", {}, 1.5),
        ("P500", {}, 0.5),
        ("P2", {"dwell_p": "s"}, 2.0),
        ("X250", {"dwell_x": "ms"}, 0.25),
    ],
)
def test_dwell_is_read_as_the_machine_file_says(word, words, seconds):
    found = meaning(f"{HEAD}G01 X1 F60\nG04 {word}\nX2\n", machine=reading(**words))
    assert found.events.pause.tolist() == [seconds]
    assert told(found) == [("G", 4, 0, AFTER)]
    assert found.moves.end[0].tolist() == [1, 2]  # X of the dwell is no place
    assert found.moves.feed.tolist() == [1, 1]  # nor F a feed
    assert found.moves.stop.tolist() == [True, True]
    unit = "milliseconds" if {"P": "ms", "X": "s", "F": "s"} | {k[-1].upper(): v for k, v in words.items()} else "s"
    assert any(f"{word[0]} in" in said for said in found.readings), unit


@pytest.mark.parametrize("word", ["M00", "M01", "M60", "G04 P0", "T1 M06", "G55", "G43 H1", "G53 G01 Z-50\nG01"])
def test_what_breaks_a_span(word):
    moves = meaning(f"{HEAD}G01 X1 F60\n{word}\nX2\nX3\n").moves
    assert moves.stop[0]
    assert not moves.stop[-2]


@pytest.mark.parametrize("word", ["M08", "S500", "F90", "T4", "N50", "G54", "G90", "M03", "(words)", "G17", "G01 X1"])
def test_what_does_not_break_a_span(word):
    moves = meaning(f"{HEAD}G01 X1 F60\n{word}\nX2\nX3\n").moves
    assert moves.stop.tolist() == [False, False, True]


def test_rapids_begin_and_end_at_rest():
    assert meaning(HEAD + "G01 X1 F60\nX2\nG00 X3\nG01 X4\nX5\n").moves.stop.tolist() == [
        False,
        True,
        True,
        False,
        True,
    ]


def test_exact_stop_mode_and_exact_stop_in_one_block():
    text = "G01 X1 F60\nG61 X2\nX3\nG64 X4\nG09 X5\nX6\nG60 X7\nG62 X8\nX9\n"
    assert meaning(HEAD + text).moves.stop.tolist() == [False, True, True, False, True, False, True, False, True]


def test_blocks_without_way_are_no_moves():
    found = meaning(HEAD + "G00 X1 Y1\nX1\nG01 Y1 F60 M08\nX2\n")
    assert found.moves.line.tolist() == [2, 5]
    assert told(found) == [("M", 8, 0, AFTER)]
    assert found.moves.start[:, 1].tolist() == found.moves.end[:, 0].tolist()


def test_a_program_without_motion_is_understood():
    found = meaning(HEAD + "S500 M03\nG04 P100\nM30\n")
    assert found.moves.count == 0
    assert [frame.offset for frame in found.moves.frames] == ["G54"]
    assert len(found.events.move) == 4


def test_readings_are_told_when_used_and_only_then():
    assert meaning(HEAD + "G00 X1.\n").readings == ()
    said = meaning(HEAD + "/G44 H1 G00 X1\nG01 A5 F10\nG93 X2 F3\nG60\nG62\nM01\n").readings
    for part in ("begin with /", "G44", "degrees per minute", "inverse time", "G60", "G62", "M01", "no tools file"):
        assert any(part in text for text in said), part
    assert "by the machine file" in meaning("G00 X1.\n", machine=reading(units="mm")).readings[0]
