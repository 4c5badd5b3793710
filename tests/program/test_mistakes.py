"""Mistakes that people make in a block: each is named, pointed at, and comes with a hint."""

import pytest
from program.mistakes_table import TABLE

from hexpost.errors import InputError
from hexpost.program.mistakes import MISTAKES
from hexpost.program.read import read

MESSAGE = """\
hub.txt:1:16: Y has no number; the end of the block follows
    N10 G01 X12.5 Y
                   ^
    hint: write the number that was forgotten, or delete the letter
hub.txt:2:3: S has no number; 'M' follows
    S M03
      ^
    hint: write the number that was forgotten, or delete the letter
hub.txt:3:5: '.' does not fit here; a word, a comment or the end of the block would
    X1.2.3
        ^
    hint: a number has one decimal point
hub.txt:4:4: '?' does not fit here; a word, a comment or the end of the block would
    X1 ?
       ^
hub.txt:5:1: '!' does not fit here; a word, a label, a comment or the end of the block would
    !
    ^
hub.txt:6:22: 9999999999 does not fit here; a word, a comment or the end of the block would
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


def test_the_message_says_what_is_wrong_and_what_fits():
    read(b"N10 G01 X12.5 Y\nS M03\nX1.2.3\nX1 ?\n!\nX" + b"9" * 30, "hub.txt", faults := [])
    assert str(InputError(faults)) + "\n" == MESSAGE
