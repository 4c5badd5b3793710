"""A height alone at the head, ahead of any motion word, is the rapid that it would be with G00; all else is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import TOOLS, faults, meaning, offsets, reading, same

from hexpost.moves.reading.heights import READING

SETUP = offsets(G54=[20, 0, 60, 0, 0, 30])
HEADS = {
    "tool length": "G21 G90 G17\nT1 M06\nM03 S900\n{}G43 H1 Z50\nG00 X10 Y20\nG01 Z5 F90\n",
    "machine coordinates": "G21 G90\n{}G53 Z0\nG00 X10 Z9\nG01 Z5 F90\n",
    "machine coordinates below zero": "G21 G90\n{}G53 Z-20\nG00 X10 Z9\n",
    "a height": "G21 G90\nM03 S9\n{}Z40.\nG00 X10\nG01 Z5 F90\n",
    "inch": "G20 G90\n{}Z1.5\nG00 X1\nG01 Z.5 F9\n",
    "two heights": "G21 G90\n{0}G53 Z0\nT1 M06\n{0}G43 H1 Z50\nG00 X3\n",
    "after the way home": "G21\nG91 G28 Z0\nG90\n{}Z50\nG00 X3\n",
    "after the way home in all axes": "G21\nG91 G28 X0 Y0 Z0\nG90\n{}Z50\nG00 X3\n",
    "after a bare return": "G21 G90\nG28\n{}Z50\nG00 X3\n",
    "behind a dwell": "G21 G90\nG04 X2\nG04 P5\n{}Z50\nG00 X3\n",
    "in a subprogram": "G21 G90\nM98 P7\nG00 X9\nM30\nO7\n{}Z50\nM99\n",
    "ahead of a line": "G21 G90\n{}Z50\nG01 X5 F90\n",
    "on the zero": "G21 G90\n{}Z0\nG00 X5\n",
}
REFUSED = {
    "a place beside it": "G21 G90\nX1 Z50\nG00 X3\n",
    "a place before it": "G21 G90\nX1\nZ50\nG00 X3\n",
    "a feed before it": "G21 G90\nF90\nZ50\nG00 X3\n",
    "a feed beside it": "G21 G90\nZ50 F90\nG00 X3\n",
    "an increment": "G21 G91\nZ50\nG90 G00 X3\n",
    "below zero": "G21 G90\nZ-5\nG00 X3\n",
    "a tilt beside it": "G21 G90\nZ50 A5\nG00 X3\n",
    "a tilt before it": "G21 G90\nA5\nZ50\nG00 X3\n",
    "a preset before it": "G21 G90\nG92 X0 Y0 Z0\nZ50\nG00 X3\n",
    "a preset of the height": "G21 G90\nG92 Z10\nZ50\nG00 X3\n",
    "an arc centre alone": "G21 G90\nI5\nZ50\nX3\n",
    "a place after it": "G21 G90\nZ50\nX3\nG01 Y5 F9\n",
}


@pytest.mark.parametrize("head", HEADS)
def test_a_height_is_the_rapid_that_it_would_be_with_its_word(head):
    found = meaning(HEADS[head].format(""), tools=TOOLS, setup=SETUP)
    same(found, meaning(HEADS[head].format("G00 "), tools=TOOLS, setup=SETUP))
    assert found.readings.count(READING) == 1
    assert READING not in meaning(HEADS[head].format("G00 "), tools=TOOLS, setup=SETUP).readings


@pytest.mark.parametrize("head", REFUSED)
def test_whatever_could_be_more_than_a_height_is_refused(head):
    assert {f.code for f in faults(REFUSED[head])} & {"no-motion-word", "arc-word-without-arc"}


@pytest.mark.parametrize("head", HEADS)
def test_the_key_can_refuse_it_or_make_it_a_line(head):
    text = HEADS[head].format("")
    assert "no-motion-word" in {f.code for f in faults(text, machine=reading(first_motion="refuse"), tools=TOOLS)}
    line = reading(first_motion="G01", first_feed=5.0)
    assert "feed-missing" in {f.code for f in faults(text, machine=line, tools=TOOLS)} or "F" not in text
    rapid = meaning(text, machine=reading(first_motion="G00"), tools=TOOLS)
    same(rapid, meaning(text, tools=TOOLS))
    assert READING not in rapid.readings


AT_THE_HEAD = ["Z9", "Z-9", "G53 Z0", "X1", "A5", "F9", "G91", "G90", "G92 Z1", "G28", "G00", "M08"]


@given(st.lists(st.sampled_from(AT_THE_HEAD)))
def test_no_block_at_the_head_but_a_height_is_read(blocks):
    """By a loop over the blocks, word by word."""
    head, absolute, wanted = True, True, False
    for block in blocks:
        if block in ("X1", "A5", "F9", "G92 Z1"):
            head = False
        if block == "G00":
            break
        if block in ("G90", "G91"):
            absolute = block == "G90"
        good = head and (block == "G53 Z0" or (block == "Z9" and absolute))
        wanted |= block in ("Z9", "Z-9", "G53 Z0", "X1", "A5") and not good
    found = faults("G21 G90\n" + "\n".join([*blocks, "M30"]) + "\n")
    assert ("no-motion-word" in {f.code for f in found}) == wanted
