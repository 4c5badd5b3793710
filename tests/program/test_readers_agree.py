"""One grammar, two readers: what the fast scanner reads is what the parser reads, bit for bit."""

import itertools
import random
import re
from dataclasses import replace

import numpy as np
import pytest
from bench.contouring import contouring
from hypothesis import example, given, settings
from hypothesis import strategies as st
from lark import UnexpectedInput
from program.readers import bits, by_parser, by_reader

from hexpost.program import nondigits
from hexpost.program.grammar import part_programs
from hexpost.program.parse import parse
from hexpost.program.read import read
from hexpost.program.roles import LABEL, roles
from hexpost.program.scan import scan


def plain_lines(texts):
    """Yield (text, words, skip, comments) of the lines that the scanner calls plain, as it reads them."""
    data = "".join(t + "\n" for t in texts).encode("latin-1")
    got = scan(data)
    odd = set(got.odd.tolist())
    rows = {i: ([], 0, []) for i in range(len(texts)) if i not in odd}
    w = got.words
    for letter, value, pointed, line, column in zip(w.letter, w.value, w.pointed, w.line, w.column, strict=True):
        rows[int(line)][0].append((int(letter), bits(value), bool(pointed), int(column)))
    for line, level in got.skips.T.tolist():
        rows[line] = (rows[line][0], level, rows[line][2])
    for line, start, end in got.comments.T.tolist():
        rows[line][2].append((start - int(got.line_start[line]), end - int(got.line_start[line])))
    for i, row in rows.items():
        yield texts[i], *row


@pytest.mark.parametrize(
    ("alphabet", "longest"),
    [("7.-+XN ", 5), ("7.XN /;(", 5), ("1.XO:%)(/\te#", 4), ("1X ()", 7)],
)
def test_every_short_line_that_is_plain_is_read_as_the_parser_reads_it(alphabet, longest):
    """All lines of representatives of the roles of bytes: a plain line is judged by neighbours alone."""
    texts = ["".join(t) for n in range(longest + 1) for t in itertools.product(alphabet, repeat=n)]
    count = 0
    for text, words, skip, comments in plain_lines(texts):
        line = parse(text)  # raises if the scanner took a line that is no block
        assert [(a, bits(v), p, c) for a, v, p, c in line.words] == words, text
        assert (line.skip, line.comments, line.percent) == (skip, comments, False), text
        count += 1
    assert count > 10


TWO_LABELS = re.compile(r"/?[ \t7]*[:O][ \t]*[0-9]+[ \t]*N[ \t]*[0-9]", re.IGNORECASE)


@pytest.mark.parametrize("alphabet", ["7.-XN ", "7X(;) ", "7XN/:\t", "1X-+. o"])
def test_every_legal_short_line_is_plain(alphabet):
    """Only program starts and ends, and two labels of one block, are slow: no other block falls back to the parser."""
    texts = ["".join(t) for n in range(5) for t in itertools.product(alphabet, repeat=n)]
    plain = {text for text, *_ in plain_lines(texts)}
    for text in texts:
        if text not in plain and not TWO_LABELS.match(text):
            with pytest.raises(UnexpectedInput):
                parse(text)


digits = st.integers(0, 24).flatmap(lambda n: st.text("0159", min_size=n, max_size=n))
number = st.builds(
    "".join, st.tuples(st.sampled_from(["", "-", "+"]), digits, st.sampled_from(["", ".", ".", ".."]), digits)
)
fragment = st.one_of(
    st.builds(
        "".join, st.tuples(st.sampled_from("XYZABCFGMSTIJKxyNnO:"), st.sampled_from(["", "", " ", "\t "]), number)
    ),
    st.sampled_from(
        [" ", "\t", "\n", "\n", "\r\n", "\r", "(tool 1)", "(a(b)c)", "; x ", "%", "/", "/2", "/ 3 ", "N10 ", "\nN7"]
    ),
    st.sampled_from(
        [
            "X(c)1",
            "-",
            ".",
            "(",
            ")",
            "((((((",
            "\xe9",
            "\xc3\xa9",
            "%\n",
            "%O1 (a)",
            "% G1",
            "E3",
            "1e3",
            ",",
            "#",
            "G54.1",
        ]
    ),
    st.text(st.characters(min_codepoint=1, max_codepoint=255), max_size=3),
)


@settings(max_examples=400, deadline=None)
@given(st.lists(fragment, max_size=25).map("".join), st.integers(1, 60))
@example("X" + "9" * 21, 60)
@example("\r\r\n\rX1\r", 3)
@example("/1X5\n/ N 1 G 1.\n", 7)
def test_any_text_gives_the_same_words_and_faults(text, size):
    """Whatever the windows; a first readable block keeps the rest from being taken for a leader."""
    data = b"G0\n" + text.encode("latin-1")
    expected = by_parser(data)
    assert by_reader(data) == expected
    assert by_reader(data, size) == expected


def test_a_posted_program_is_read_alike_whatever_the_windows():
    data = contouring(3000).encode()
    expected = by_parser(data)
    assert len(expected[0]) > 15_000
    assert not expected[3]
    assert by_reader(data) == expected
    assert by_reader(data, 777) == expected
    assert by_reader(data.replace(b"\n", b"\r\n"), 778)[0] == expected[0]
    assert by_reader(data.replace(b"\n", b"\r"), 779)[0] == expected[0]


def test_lines_that_the_scanner_leaves_come_back_in_their_places(monkeypatch):
    """With a scanner that finds hardly a line plain the parser reads the rest, and nothing changes."""
    data = contouring(300).encode()
    expected = by_reader(data)
    table = roles()
    wary = bytes(i // 16 == LABEL or odd for i, odd in enumerate(table.odd))
    monkeypatch.setattr(nondigits, "roles", lambda: replace(table, odd=wary))
    assert 200 < len(scan(data).odd) <= 304
    assert by_reader(data) == by_reader(data, 777) == expected


def test_a_whole_file_is_read_alike_by_the_grammar():
    """The start symbol of a whole file gives the words that line by line reading gives."""
    text = contouring(1000)
    tree = part_programs().parse(text, start="program")
    words = []
    for block in tree.children:
        for part in block.children:
            if hasattr(part, "data"):
                address, value = part.children
                words.append((address.upper(), float(value), address.line, address.column))
            elif part.type == "LABEL":
                words.append((part[0].upper(), float(part[1:]), part.line, part.column))
    program = read(text.encode(), "t", [])
    columns = (map(chr, program.letter), program.value.tolist(), program.line.tolist(), program.column.tolist())
    assert list(zip(*columns, strict=True)) == words


def test_every_number_is_correctly_rounded():
    """As Python's ``float`` reads it (David Gay's algorithm, correctly rounded), 0 to 20 digits on either side."""
    rng, texts = random.Random(3), []
    for _ in range(60_000):
        whole = "".join(rng.choices("0123456789", k=rng.choice((0, 1, 2, 3, 3, 4, 7, 8, 9, 15, 16, 20))))
        fraction = "".join(rng.choices("0123456789", k=rng.choice((0, 1, 2, 3, 3, 4, 5, 7, 8, 9, 16, 20))))
        point = "." if fraction or rng.random() < 0.3 else ""
        if whole or fraction:
            texts.append(rng.choice(("", "-", "+")) + whole + point + fraction)
    program = read(("X" + "\nX".join(texts)).encode(), "t", faults := [])
    assert not faults
    expected = np.array([float(t) for t in texts])
    assert (program.value.view(np.uint64) == expected.view(np.uint64)).all()
    assert program.pointed.tolist() == ["." in t for t in texts]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400))
def test_random_bytes_end_in_faults_and_in_nothing_else(data):
    program = read(data, "t", faults := [])
    assert program.source == data
    assert len(program.first) == program.lines + 1
    assert program.first[-1] == len(program.value)
    assert faults or len(program.value)
    for fault in faults:
        assert str(fault).startswith("t")
