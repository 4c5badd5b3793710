"""Mistakes that people make in a block: each is named, pointed at, and comes with a hint."""

import pytest

from hexpost.errors import InputError
from hexpost.program.mistakes import MISTAKES
from hexpost.program.read import read

TABLE = [
    ("G1 X1O.5", "letter-for-zero", 6),
    ("GO1 X1", "letter-for-zero", 2),
    ("XOY1", "letter-for-zero", 2),
    ("X-O.5", "letter-for-zero", 2),
    ("G1 (((((deep)))))", "comment-too-deep", 4),
    ("X(half) 1", "comment-in-word", 2),
    ("X; 1", "comment-in-word", 2),
    ("G1 (not closed", "comment-not-closed", 4),
    ("G1 X1) Y2", "comment-not-opened", 6),
    ("% G90", "word-behind-percent", 1),
    ("M30 %", "percent-not-alone", 5),
    ("G1 / X1", "skip-not-first", 4),
    ("G1 N10 X1", "label-not-first", 4),
    ("G1 X1 O100", "label-not-first", 7),
    ("N10 N20", "label-not-first", 5),
    ("N10.5 X1", "label-not-whole", 4),
    ("N X1", "label-without-number", 1),
    ("G1 X1,5", "comma", 6),
    ("X1e999", "exponent", 3),
    ("G1 E5", "address-e", 4),
    ("X--1", "two-signs", 2),
    ("X- 1", "blank-in-number", 2),
    ("X. 5", "blank-in-number", 2),
    ("X", "number-missing", 2),
    ("X.", "point-alone", 2),
    ("X- Y1", "sign-alone", 2),
    ("X1.2.3", "two-points", 5),
    ("X" + "1" * 21, "number-too-long", 22),
    ("X1 5", "number-without-address", 4),
    ("5", "number-without-address", 1),
    ("S M3", "number-missing", 3),
    ("G1 X (left out)", "comment-in-word", 6),
    ("FINISH PASS", "text-outside-comment", 2),
    ("X#100", "variable", 2),
    ("X[1+2]", "variable", 2),
    ("G1 \x07", "control-character", 4),
    ("X−5", "beyond-ascii", 2),  # a minus sign of a text processor
    ("G1\u00a0X1", "beyond-ascii", 3),  # a blank that does not break
    ("G1 X1 ?", "unexpected-character", 7),
]


MESSAGE = """\
hub.txt:1:16: expected a number after Y, found the end of the block
    N10 G01 X12.5 Y
                   ^
    hint: write the number that was forgotten, or delete the letter
hub.txt:2:3: expected a number after S, found 'M'
    S M03
      ^
    hint: write the number that was forgotten, or delete the letter
hub.txt:3:5: expected a word, a comment or the end of the block, found '.'
    X1.2.3
        ^
    hint: a number has one decimal point
hub.txt:4:4: expected a word, a comment or the end of the block, found '?'
    X1 ?
       ^
hub.txt:5:1: expected a word, a label, a comment or the end of the block, found '!'
    !
    ^
hub.txt:6:22: expected a word, a comment or the end of the block, found 9999999999
    X999999999999999999999999999999
                         ^
    hint: a number has at most twenty digits on either side of the point
"""


@pytest.mark.parametrize(("text", "code", "column"), TABLE)
def test_a_mistake_is_named_and_pointed_at(text, code, column):
    read(f"G21\n{text}\n".encode(), "t", faults := [])
    assert [(f.code, f.line, f.column, f.text) for f in faults] == [(code, 2, column, text)]
    assert bool(faults[0].hint) == (code != "unexpected-character")


def test_every_mistake_has_an_example():
    assert {m.code for m in MISTAKES} <= {code for _, code, _ in TABLE}


def test_the_message_says_what_was_expected_and_found():
    read(b"N10 G01 X12.5 Y\nS M03\nX1.2.3\nX1 ?\n!\nX" + b"9" * 30, "hub.txt", faults := [])
    assert str(InputError(faults)) + "\n" == MESSAGE
