"""G15, G50 and G69 end modes that are never on: programs with and without them are one; what is unsure is refused."""

import pytest
from moves.programs import faults, meaning, same, switched

from hexpost.machine.words import TRADE, code_word

BODY = "T1 M06\nG00 X0 Y0 Z60\nS900 M03\nG01 X20 F600\nG02 X40 Y0 I10 J0\nG00 Z80\nM30\n"
HEADS = ["G21 G90 G17 G40 G49 G80 {}\n", "{} G21 G90\n", "G21\nG90 G94 {} G97\n", "G21 G90 {}\n{}\n"]
ENDING = ["G69", "G50", "G15", "G15 G50 G69", "G50 M09", "G69 T1"]


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("words", ENDING)
def test_a_program_with_them_is_the_one_without(head, words):
    found, twin = (meaning(head.format(*[w] * 2) + BODY) for w in (words, ""))
    same(found, twin)
    assert [r for r in found.readings if r not in twin.readings] == [r for r in found.readings if "G15 G50 G69" in r]


def test_they_may_be_in_a_block_that_moves():
    same(switched("G21 G90\nG69 G15 G00 X5 Z60\nM30\n"), switched("G21 G90\nG00 X5 Z60\nM30\n"))


@pytest.mark.parametrize("block", ["G50 S3000", "G50 X0 Y0 Z0", "G50 X1", "G50 P2", "N5 G00 G50 Z70", "G50 A0"])
def test_beside_places_and_speeds_one_of_them_may_preset_and_is_refused(block):
    found = faults(f"G21 G90 G00 X0 Z60\n{block}\nM30\n")
    assert ("scale-off-with-words", 2) in {(f.code, f.line) for f in found}


@pytest.mark.parametrize("block", ["G16", "G51 P2", "G68 X0 Y0 R30", "G50.1", "G69.1", "G51.1 X0"])
def test_nothing_turns_on_what_they_end(block):
    assert "unknown-word" in {f.code for f in faults(f"G21 G90 G00 X0 Z60\n{block}\nM30\n")}


def test_their_source_is_common_practice():
    assert [code_word("G", x).source for x in (15, 50, 69)] == [TRADE] * 3


def test_a_first_move_without_its_word_is_refused_with_what_to_write():
    (fault,) = faults("G21 G90\nX5 Y5\nG01 X9 F100\nM30\n")
    assert (fault.code, fault.line) == ("no-motion-word", 2)
    assert "G00 or G01" in fault.hint and "differ" in fault.hint
