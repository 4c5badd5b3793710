"""What a file may look like: line ends, marks, program starts and ends, and files that are no part program."""

from io import BytesIO

import numpy as np
import pytest

from hexpost.errors import MOST_FAULTS
from hexpost.program.read import MOST_COUNTED, read, windows
from hexpost.program.scan import LONGEST_LINE


def words(program):
    """Return the words as text with their places."""
    columns = (program.letter, program.value, program.line, program.column)
    return [f"{chr(a)}{v:g}@{n}:{c}" for a, v, n, c in zip(*columns, strict=True)]


def good(source):
    """Return the program of a source that holds no fault."""
    program = read(source, "t", faults := [])
    assert not faults
    return program


def codes(source):
    """Return code, line and column of the faults of a source."""
    read(source, "t", faults := [])
    return [(f.code, f.line, f.column) for f in faults]


def comments(program):
    """Return the comments with their lines."""
    spans = zip(program.comment_line, program.comment_start, program.comment_end, strict=True)
    return [(int(n), program.source[a:b].decode()) for n, a, b in spans]


def test_a_block_is_read_with_its_places():
    program = good(b"n10 g01 X-1.5 Y.5 (rim (upper)) Z 2. ; last\n\n/3 :20 M6T 07\n")
    assert words(program) == [
        "N10@1:1", "G1@1:5", "X-1.5@1:9", "Y0.5@1:15", "Z2@1:33", ":20@3:4", "M6@3:8", "T7@3:10",
    ]  # fmt: skip
    assert program.pointed.tolist() == [False, False, True, True, True, False, False, False]
    assert program.first.tolist() == [0, 5, 5, 8]
    assert (program.skip.tolist(), program.skip_level.tolist()) == ([3], [3])
    assert comments(program) == [(1, "(rim (upper))"), (1, "; last")]
    assert program.text(3) == "/3 :20 M6T 07"
    assert (program.block(1), program.block(3)) == ("N10", "")


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_lines_end_in_lf_or_cr_lf_or_cr(end):
    program = good(end.join([b"G1 X1", b"", b"(a) Y2", b"M30"]) + end)
    assert words(program) == ["G1@1:1", "X1@1:4", "Y2@3:5", "M30@4:1"]
    assert [program.text(n) for n in (1, 2, 3, 4)] == ["G1 X1", "", "(a) Y2", "M30"]
    assert comments(program) == [(3, "(a)")]


def test_the_last_line_needs_no_end_and_a_byte_order_mark_is_no_character():
    program = good(b"\xef\xbb\xbfG1 X1\nM30")
    assert words(program) == ["G1@1:1", "X1@1:4", "M30@2:1"]
    assert program.text(1) == "G1 X1"
    assert program.text(2) == "M30"


@pytest.mark.parametrize(
    "end", [b"\x1a", b"\n\x1a", b"\r\n\x1a", b"\n%\n\x1a", b"\r\n%\x1a\x1a", b"\n \x1a \t", b"\r\x1a"]
)
@pytest.mark.parametrize("size", [3, 1 << 18])
def test_the_mark_with_which_an_old_editor_ends_a_file_is_blank(end, size):
    parts = list(windows(BytesIO(b"G1 X1\nM30" + end), "t", faults := [], size))
    assert not faults
    assert [w for part in parts for w in words(part)] == ["G1@1:1", "X1@1:4", "M30@2:1"]
    assert b"".join(bytes(part.source) for part in parts).endswith(end)


@pytest.mark.parametrize("source", [b"G1 \x1aX1\nM30\n", b"G1 X1\n\x1a\nM30", b"\x1aM30", b"M30\n\x1a\n%"])
def test_elsewhere_that_mark_is_refused(source):
    assert "control-character" in {code for code, _, _ in codes(source)}


def test_columns_are_read_only():
    with pytest.raises(ValueError, match="read-only"):
        good(b"G1\n").value[0] = 2.0


def test_the_caret_counts_characters_where_the_text_is_utf_8():
    source = "(größe) X1,5\n".encode()
    program = read(source, "t", faults := [])
    assert (faults[0].column, faults[0].text) == (11, "(größe) X1,5")
    assert program.caret(1, 13) == 11
    latin = read("(größe) X1,5\n".encode("latin-1"), "t", faults := [])
    assert faults[0].column == latin.caret(1, 11) == 11


def test_percent_lines_name_the_program_and_end_it():
    """ISO 6983-1:1982, 3.6: the identification comes straight after the program start character."""
    program = good(b"%O1001 (HUB)\nG21\nM30\n% ROTOR-HUB 7\n(end)\n\n")
    assert words(program) == ["G21@2:1", "M30@3:1"]
    assert comments(program) == [(1, "O1001"), (1, "(HUB)"), (4, "ROTOR-HUB 7"), (5, "(end)")]


def test_words_behind_the_program_end_are_refused():
    assert codes(b"%\nG21\n%\n\nO2\nG20\n") == [("word-behind-program-end", 5, 1)]
    assert codes(b"G21\n%\nG20\n%\n") == [("word-behind-program-end", 3, 1)]
    assert codes(b"%\n%\nG21\n") == []


def test_words_behind_the_program_end_are_found_in_any_window():
    source = b"%\n" + b"G1 X1\n" * 50 + b"%\n" + b"\n" * 50 + b"G1\n"
    for size in (7, 64, 1 << 18):
        list(windows(BytesIO(source), "t", faults := [], size))
        assert [(f.code, f.line) for f in faults] == [("word-behind-program-end", 103)]


def test_free_text_ahead_of_the_program_start_is_a_comment():
    """Controls ignore what stands ahead of the program start (common practice, no source)."""
    program = good(b"JOB 12, ROTOR HUB\r\n\r\n(rev b)\n%\nG21\n%\n")
    assert words(program) == ["G21@5:1"]
    assert comments(program) == [(1, "JOB 12, ROTOR HUB"), (3, "(rev b)")]


def test_a_readable_word_ahead_of_the_program_start_is_never_taken_for_free_text():
    assert codes(b"JOB 12\nG21\n%\nG20\n") == [
        ("text-outside-comment", 1, 2),
        ("word-behind-program-end", 4, 1),
    ]
    assert codes(b"G1 X\n%\n") == [("number-missing", 1, 5)]  # the program itself, and its end


def test_a_file_of_program_starts_is_refused_at_once():
    assert codes(b"%\n" * 1_000_000) == [("too-many-marks", 1001, None)]


def test_a_byte_order_mark_stands_at_the_start_or_is_refused():
    list(windows(BytesIO(b"G1\n\xef\xbb\xbfX1\n"), "t", faults := [], 3))
    assert [(f.code, f.line, f.column) for f in faults] == [("beyond-ascii", 2, 1)]


@pytest.mark.parametrize("source", [b"", b"\n", b"\xef\xbb\xbf", b"%\n%\n", b"(nothing) ; here\n \t\r\n"])
def test_a_file_without_a_word_is_refused(source):
    assert codes(source) == [("no-block", None, None)]


def test_bytes_that_are_no_text_are_refused_at_once():
    read(b"G1 X1\nX2\n" + b"\0" * 40, "t", faults := [])
    assert [(f.code, f.line, f.column) for f in faults] == [("not-text", 3, 1)]
    assert faults[0].hint == "the file is padded with NUL bytes: cut them off"
    read("\ufeffG1 X1\n".encode("utf-16-le"), "t", faults := [])
    assert [f.code for f in faults] == ["not-text"]
    assert "UTF-16" in faults[0].hint
    read(bytes(range(256)) * 40_000, "t", faults := [])
    assert [f.code for f in faults] == ["not-text"]


@pytest.mark.parametrize("line", [b"X1" * 5_000_000, b"(" * 10_000_000, b"\r" + b"7" * 1_000_000 + b"\nX1\n"])
def test_a_line_of_many_megabytes_is_refused_at_once(line):
    read(line, "t", faults := [])
    assert [f.code for f in faults] == ["line-too-long"]
    assert str(LONGEST_LINE) in faults[0].what


def test_a_line_of_the_greatest_length_is_read():
    line = b"X1" + b" " * (LONGEST_LINE - 4) + b"Y2"
    assert len(line) == LONGEST_LINE
    assert words(good(line + b"\nZ3")) == ["X1@1:1", f"Y2@1:{LONGEST_LINE - 1}", "Z3@2:1"]
    assert codes(line + b" \nZ3\n") == [("line-too-long", 1, None)]


def test_ten_thousand_nested_comments_are_refused_at_once():
    assert codes(b"X1" + b"(" * 4_000 + b")" * 4_000) == [("comment-too-deep", 1, 3)]


def test_all_faults_come_in_one_run():
    assert codes(b"X1.2.3\nG1 X1\nX\n\nX1e999\nM30\nX--1\n") == [
        ("two-points", 1, 5),
        ("number-missing", 3, 2),
        ("exponent", 5, 3),
        ("two-signs", 7, 2),
    ]


def test_lines_with_faults_are_empty():
    program = read(b"G1 X1\n/N5 (a) X1O\nY2\n", "t", [])
    assert words(program) == ["G1@1:1", "X1@1:4", "Y2@3:1"]
    assert program.first.tolist() == [0, 2, 2, 3]
    assert (program.skip.size, program.comment_line.size) == (0, 0)


def test_many_faults_are_counted_and_not_listed():
    read(b"X\n" * (MOST_FAULTS + 500), "t", faults := [])
    assert len(faults) == MOST_FAULTS
    assert faults[-2].line == MOST_FAULTS - 1
    assert faults[-1].what == "501 more faults are not listed"
    read(b"X\n" * (MOST_FAULTS - 1), "t", faults := [])
    assert [f.line for f in faults] == list(range(1, MOST_FAULTS))


def test_reading_stops_in_a_file_of_another_kind():
    read(b"(one of) another kind\n" * 100_000, "t", faults := [])
    assert len(faults) == MOST_FAULTS
    assert (faults[-1].code, faults[-1].line) == ("more-faults", None)
    more = MOST_COUNTED - MOST_FAULTS + 1
    assert faults[-1].what == f"{more} or more faults are not listed; lines after {MOST_COUNTED} were not looked at"


def test_windows_are_the_program_in_parts():
    source = b"\xef\xbb\xbf%\r\n" + b"N5 G1 X1.5 (a)\r\n/M1\r\n\r\n" * 40 + b"M30"
    whole = good(source)
    parts = list(windows(BytesIO(source), "t", faults := [], 50))
    assert not faults
    assert len(parts) > 10
    assert b"".join(p.source for p in parts) == source
    for column in ("letter", "value", "pointed", "line", "column", "skip", "skip_level", "comment_line"):
        joined = np.concatenate([getattr(p, column) for p in parts])
        assert joined.tolist() == getattr(whole, column).tolist(), column
    done = 0
    for p in parts:
        assert p.line0 == done
        done += p.lines
        for line in (p.line0 + 1, p.line0 + p.lines):
            assert (p.text(line), p.block(line)) == (whole.text(line), whole.block(line))
    assert done == whole.lines


def test_a_program_of_some_words_keeps_its_text_and_their_places():
    whole = read(b"%\nN10 G01 X1. (D4) D2\n\nN20 X2.\n/ D3 Y1.\nM30\n", "p", [])
    some = whole.only("ND")
    assert bytes(some.letter) == b"NDND" and some.value.tolist() == [10, 2, 20, 3]
    assert some.first.tolist() == [0, 0, 2, 2, 3, 4, 4] and some.lines == whole.lines
    for line in range(1, whole.lines + 1):
        assert some.block(line) == whole.block(line) and some.text(line) == whole.text(line)
    assert (some.line == [2, 2, 4, 5]).all() and some.skip.tolist() == whole.skip.tolist()
