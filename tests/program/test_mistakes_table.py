"""Every mistake of the tables, as a user meets it: the message, the place, the caret and the hint, all in one run."""

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner
from program.mistakes_table import TABLE

from hexpost.cli import main
from hexpost.errors import MOST_FAULTS, InputError
from hexpost.moves.mistakes import MARK, MISTAKES
from hexpost.pipeline import Files, load

SYNTAX = [(text, code, column) for text, code, column in TABLE if code != "unexpected-character"]


def refused(folder, text, name="part.nc"):
    """Return the error that a program ends in."""
    file = folder / name
    file.write_bytes(text.encode())
    with pytest.raises(InputError) as error:
        load(Files(program=file))
    return error.value


def check(error, code, line, column, text):
    """Assert that one fault is named, at its place, with a caret and a hint."""
    assert [(f.code, f.line, f.column) for f in error.faults] == [(code, line, column)], str(error)
    fault = error.faults[0]
    assert fault.text == text
    assert fault.what and fault.hint
    shown = str(error).splitlines()
    assert shown[0].startswith(f"{fault.file}:{line}:{column}: ")
    if len(text) < 80:
        assert shown[2].index("^") == 4 + column - 1
    assert shown[-1] == f"    hint: {fault.hint}"


@pytest.mark.parametrize(("text", "code", "column"), SYNTAX)
def test_mistakes_of_syntax(text, code, column, tmp_path):
    check(refused(tmp_path, f"G21 G90\n{text}\nM30\n"), code, 2, column, text)


@pytest.mark.parametrize("mistake", MISTAKES, ids=[m.sample.replace(MARK, "").replace("\n", " ") for m in MISTAKES])
def test_mistakes_of_meaning(mistake, tmp_path):
    ahead, text = mistake.head + mistake.sample.partition(MARK)[0], mistake.head + mistake.sample.replace(MARK, "")
    line, column = ahead.count("\n") + 1, len(ahead) - ahead.rfind("\n")
    error = refused(tmp_path, text + "\n")
    check(error, mistake.code, line, column, text.split("\n")[line - 1])
    assert mistake.hint in error.faults[0].hint


def test_faults_of_syntax_and_of_meaning_come_in_one_run(tmp_path):
    error = refused(tmp_path, "G21\nG00 X0 Y0\nG01 X1.2.3 F100\nG01 X5\nG777\nX1 X2\nT1.5\n")
    assert [(f.line, f.code) for f in error.faults] == [
        (3, "two-points"), (5, "unknown-word"), (6, "repeated-word"), (7, "tool-number-bad"),
    ]  # fmt: skip


# what may stand in the line that could not be read is not missed behind it
CASCADES = {
    "feed": "G21 G00 X0\nG01 X1,5 F100\nX2\n",
    "units": "G21,\nG00 X1\n",
    "motion": "G21\nG0O X1\nX2\n",
    "arc": "G21 G00 X0\nG02 X1. 5 I5 F9\nX2 I3\n",
    "arc off its circle": "G21 G00 X0 F9\nG01 Y5,\nG02 X5 I3\n",
    "inverse time ended": "G21 G93 G01 X0 F1\nG94 F1OO\nX2\n",
    "tool": "G21\nT1, \nM06\n",
    "length row": "G21\nH1,\nG43 Z5\n",
    "subprogram": "G21 G00 X1\nM98 P8\nM30\nO8,\nX1\nM99\n",
}


@pytest.mark.parametrize("name", CASCADES)
def test_what_a_faulty_line_may_have_said_is_not_missed(name, tmp_path):
    assert len(refused(tmp_path, CASCADES[name]).faults) == 1


def test_faults_of_the_other_files_come_with_those_of_the_program(tmp_path):
    (tmp_path / "tools.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = -5\ndiameter_mm = 3\n")
    (tmp_path / "part.nc").write_text("G21\nG777\n")
    with pytest.raises(InputError) as error:
        load(Files(program=tmp_path / "part.nc", tools=tmp_path / "tools.toml"))
    assert {f.code for f in error.value.faults} >= {"unknown-word"}
    assert any(f.key for f in error.value.faults)


@pytest.mark.parametrize(("block", "total"), [("G777 X1\n", 2500), ("X1.2.3\n", 2500)])
def test_a_thousand_faults_are_listed_and_the_rest_counted(block, total, tmp_path):
    error = refused(tmp_path, "G21\n" + block * total)
    assert len(error.faults) <= MOST_FAULTS
    assert error.total == total
    assert "1500 more faults" in str(error) or "1501 more faults" in str(error)
    done = CliRunner().invoke(main, ["audit", str(tmp_path / "part.nc"), "--json"])
    document = json.loads(done.stdout)
    assert done.exit_code == 2
    assert document["faults_total"] == total
    assert len(document["faults"]) <= MOST_FAULTS


def test_faults_of_a_thousand_lines_of_each_kind_are_counted_together(tmp_path):
    error = refused(tmp_path, "G21\n" + "G777\n" * 700 + "X1,\n" * 700)
    assert error.total == 1400
    assert len(error.faults) == MOST_FAULTS
    assert "400 more faults" in str(error)


@pytest.mark.parametrize(
    ("block", "found"),
    [
        ("G777 G888 M66 X10", [(1, "unknown-word"), (6, "unknown-word"), (11, "unknown-word")]),
        ("G01 X1.2.3 G888 F5", [(9, "two-points"), (12, "unknown-word")]),
        ("G01 X1.2.3 Y4,5 Z- F5 M66", [(9, "two-points"), (14, "comma"), (18, "sign-alone"), (23, "unknown-word")]),
        ("M66 G01 Y?10 X4 (G999 was M98)", [(1, "unknown-word"), (10, "unexpected-character")]),
        ("G01 X1..2 (X1..2 \xe9) Y3", [(8, "two-points")]),
        ("G01 X1..2 Y3..4 Z5..6 A7..8 B9..1 C2..3 F4..5", [(8 + 6 * k, "two-points") for k in range(5)]),
        ("X1. 5 THIS IS TEXT G888", [(5, "number-without-address"), (20, "unknown-word")]),
        ("X5O Y1,5", [(3, "letter-for-zero"), (7, "comma")]),
    ],
)
def test_independent_faults_of_one_block_come_in_one_run(block, found, tmp_path):
    error = refused(tmp_path, f"G21 G90\n{block}\nM30\n")
    assert [(f.column, f.code) for f in error.faults] == found, str(error)
    assert all(f.line == 2 and f.text == block for f in error.faults)


def test_words_of_the_dialect_are_known_in_a_block_that_cannot_be_read(tmp_path):
    from hexpost.machine.load import demonstration_machine, no_setup, no_tools
    from hexpost.machine.wording import DialectWord
    from hexpost.moves.interpret import interpret
    from hexpost.program.read import read

    faults = []
    program = read(b"G21\nM77 X1,5 G54.1 M999\n", "part.nc", faults)
    words = (DialectWord(word="M77", action="ignore"), DialectWord(word="G54.1", action="same-as", same_as="G54"))
    interpret(program, replace(demonstration_machine(), dialect=words), no_tools(), no_setup(), faults)
    assert [(f.code, f.column) for f in faults] == [("comma", 7), ("unknown-word", 16)]
