"""What is no part program, or no block, is named as what it is; a fault of syntax hides no other fault of its block."""

import pytest

from hexpost.errors import InputError
from hexpost.machine.load import DEMONSTRATION, demonstration_machine, no_setup, no_tools
from hexpost.pipeline import understand
from hexpost.program.read import read

HEAD = "G21 G90 G00 X0 Y0 Z80\n"


def faults(text):
    program = read(text.encode(), "part.nc", known := [])
    try:
        understand(program, demonstration_machine(), no_tools(), no_setup(), known=known)
    except InputError as error:
        return error.faults
    return []


@pytest.mark.parametrize(
    "text",
    [
        DEMONSTRATION.read_text(),
        "[[tool]]\nnumber = 1\n",
        "# tools of the shop\n\n[offset.G54]\npose_mm_deg = [0, 0, 0, 0, 0, 0]\n",
        'name = "mill"\n',
        "[all]  # policy\n",
    ],
)
def test_a_toml_file_given_as_a_program_is_one_fault(text):
    found = faults(text)
    assert [f.code for f in found] == ["toml-given"]
    assert "TOML" in found[0].what and "--machine" in found[0].hint


@pytest.mark.parametrize("text", ["#1 = 5\nG00 X#1\n", "X[1]\n", "X = 5\n", "(name = 5)\nG00 X1\n"])
def test_a_program_is_no_toml_file(text):
    assert "toml-given" not in {f.code for f in faults(text)}


@pytest.mark.parametrize(
    ("block", "said"),
    [
        ("THE SECOND SIDE", [("text-outside-comment", 1)]),
        ("N5 G01 X5 F9 FINISH PASS", [("text-outside-comment", 14)]),
        ("IF [#1 EQ 2] GOTO 10", [("control-flow", 2)]),
        ("IF[#1EQ2]GOTO10", [("control-flow", 2)]),
        ("GOTO 20", [("control-flow", 2)]),
        ("WHILE [#3 LT 4] DO1", [("control-flow", 2)]),
        ("% G90 X5", [("word-behind-percent", 1)]),
        ("G777 X1O Y2 Y3", [("unknown-word", 1), ("letter-for-zero", 8), ("repeated-word", 13)]),
        ("G01 X[#1+2] Y5 G888", [("variable", 6), ("unknown-word", 16)]),
        ("X#5 Y#6 M777", [("variable", 2), ("variable", 6), ("unknown-word", 9)]),
        ("X1E3 G555", [("exponent", 3), ("unknown-word", 6)]),
        ("G01 /X5 U7 G999", [("skip-not-first", 5), ("unknown-word", 9), ("unknown-word", 12)]),
        ("X1 N6 G444", [("label-not-first", 4), ("unknown-word", 7)]),
        ("X1,5 (SEE G777) M888", [("comma", 3), ("unknown-word", 17)]),
        ("G01 G02 X1..5", [("repeated-word", 5), ("two-points", 12)]),
        ("X1 X2 (OPEN", [("comment-not-closed", 7)]),
    ],
)
def test_every_fault_of_a_block_comes_in_one_run(block, said):
    assert [(f.code, f.column) for f in faults(HEAD + block + "\n")] == said


@pytest.mark.parametrize("block", ["G65 P9010 X1", "G66 P5", "X#1", "X[1+2]", "IF [#1 GT 2] GOTO 5", "GOTO 5"])
def test_what_computes_is_refused_in_one_sentence_that_says_what_to_do(block):
    found = faults(HEAD + block + "\n")
    assert "write" in found[0].hint and "not run" in found[0].hint


def test_an_exponent_is_refused_with_what_to_write():
    assert "write 0.001" in faults(HEAD + "X1E-3\n")[0].hint
