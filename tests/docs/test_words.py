"""``hexpost words`` is the table of words in the code; the keys that a machine file shows are keys, with defaults."""

import json
import re
import tomllib
from dataclasses import replace

import pytest
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.cli.words import NOTES, WIDTH
from hexpost.machine.load import DEMONSTRATION, demonstration_machine, machine_from
from hexpost.machine.wording import Digits, Wording
from hexpost.machine.words import EIA, ISO, RECALLED, TRADE, WORDS


def words(*arguments, code=0):
    done = CliRunner().invoke(main, ["words", *arguments])
    assert done.exit_code == code, done.output
    return done.output


def test_the_command_lists_the_words_of_the_code_and_no_others():
    table = words().split("\n\n")[0].splitlines()
    assert max(map(len, table)) <= WIDTH
    said = re.sub(r"\n {4,}", " ", "\n".join(table))
    rows = re.findall(r"^  (\S+) +((?:\S| (?! ))+)  (.*)$", said, re.MULTILINE)
    assert [tuple(map(str.strip, row)) for row in rows] == [(w.name, w.source, w.does) for w in WORDS]
    assert set(re.findall(r"^\S.*$", said, re.MULTILINE)) == {w.group for w in WORDS}


def test_the_document_holds_the_same():
    rows = json.loads(words("--json"))["words"]
    assert rows == [{"word": w.name, "group": w.group, "source": w.source, "does": w.does} for w in WORDS]


def test_every_word_says_where_its_meaning_comes_from():
    assert {w.source for w in WORDS} == {ISO, RECALLED, EIA, TRADE}
    extensions = {"G20", "G21", "G64", "G98", "G99", "M98", "M99", "O"}
    assert {w.source for w in WORDS if w.name in extensions} == {TRADE}


def test_words_that_are_named_are_shown_alone_with_their_notes():
    shown = words("g41", "D")
    assert re.findall(r"^  ([GD]\d*) ", shown, re.MULTILINE) == ["G41", "D"]
    assert "Beside a contour:" in shown and "Subprograms:" not in shown


def test_a_word_that_is_none_is_refused():
    assert "M66 is not a word; hexpost words lists all words" in words("M66", code=2)
    assert "G177 is not a word; did you mean G17?" in words("G177", code=2)
    assert "hexpost words lists all words" in words("", code=2)


def test_notes_are_about_words_that_exist():
    names = {w.name for w in WORDS}
    for note in tomllib.loads(NOTES.read_text())["note"]:
        assert set(note["words"].split()) <= names, note["about"]


@pytest.fixture(scope="module")
def shown():
    """Return the demonstration machine with everything that its file only shows."""
    return machine_from(re.sub(r"^#(?=[\[\w])", "", DEMONSTRATION.read_text(), flags=re.MULTILINE).encode(), "m.toml")


def test_keys_that_the_machine_file_shows_are_keys_with_their_defaults(shown):
    assert (shown.words.units, shown.words.manual_withdrawal, shown.words.g74) == ("mm", 20.0, "through-point")
    assert shown.words.format_mm["X"] == Digits(5, 3) and shown.words.format_inch["F"] == Digits(3, 1)
    usual = Wording()
    assert shown.words.first_feed == pytest.approx(500 / 60) and shown.words.first_motion == "G00"
    assert (
        replace(
            shown.words,
            first_feed=None,
            first_motion=None,
            units=None,
            g74=None,
            manual_withdrawal=None,
            format_mm={},
            format_inch={},
        )
        == usual
    )
    text = DEMONSTRATION.read_text()
    assert not [name for name in tomllib.loads(text) if name in ("words", "dialect", "tool_change")]
    for field in Wording.__dataclass_fields__:
        assert re.search(rf"^#{field}(_mm|_s|_mm_min)? = ", text, re.MULTILINE), field


def test_tables_that_the_machine_file_shows_are_understood(shown):
    assert [(row.word, row.action, row.same_as, row.along) for row in shown.dialect] == [
        ("M77", "ignore", "", ""),
        ("M1234", "ignore", "", "PQXYZ"),
        ("M78", "same-as", "M8", ""),
        ("G12.3", "absolute-centres", "", ""),
        ("G64", "same-as", "G64", "P"),
    ]
    assert [axis.word for axis in shown.programmed_axes.axes] == ["A", "C"]
    zero = demonstration_machine().machine_zero
    assert (shown.tool_change == zero).all()
