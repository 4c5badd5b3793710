"""The dialect table: a shop's own words ignored, read as others, or refused; and nothing skipped silently."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.programs import HEAD, MACHINE, faults, meaning, same

from hexpost.errors import InputError
from hexpost.machine.load import DEMONSTRATION, machine_from, no_setup, no_tools
from hexpost.moves.reading.dialect import Dialect
from hexpost.pipeline import understand
from hexpost.program.read import read

TOML = DEMONSTRATION.read_text()


def dialect(rows: str):
    """Return the demonstration machine with a dialect table."""
    return machine_from((TOML + rows).encode(), "m.toml")


def row(word: str, action: str, **more: str) -> str:
    """Return a row of the table."""
    keys = {"word": word, "action": action, **more}
    sure = "harmless = true\n" if action == "ignore" else ""
    return "\n[[dialect]]\n" + "".join(f'{k} = "{v}"\n' for k, v in keys.items()) + sure


def test_ignored_words_are_listed_with_their_first_line_and_count():
    machine = dialect(row("M77", "ignore", message="chip conveyor") + row("E", "ignore") + row("M7", "ignore"))
    found = meaning(HEAD + "G00 X1 M77\nM77\nM077 X2\nM07\nG00 Q1 X3\n".replace(" Q1", ""), machine=machine)
    assert [(r.line, r.text, r.count) for r in found.ignored] == [(2, "M77 (chip conveyor)", 3), (5, "M7", 1)]
    assert not found.events.value.size


def test_a_letter_alone_stands_for_any_number():
    machine = dialect(row("U", "ignore"))
    found = meaning(HEAD + "G00 X1 U5\nU-3.5\n", machine=machine)
    assert [(r.line, r.text, r.count) for r in found.ignored] == [(2, "U", 2)]


def test_a_word_read_as_another_means_the_same():
    machine = dialect(row("M77", "same-as", same_as="M08") + row("G900", "same-as", same_as="G1"))
    found = meaning(HEAD + "G00 X1 M77\nG900 X2 F5\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1 M08\nG01 X2 F5\n"))
    assert found.events.value.tolist() == [8]
    assert any("M77 is read as M8" in r for r in found.readings)


def test_a_code_with_a_decimal_is_a_code_of_its_own():
    assert [f.code for f in faults(HEAD + "G54.1 X1\n")] == ["unknown-word"]
    machine = dialect(row("G54.1", "same-as", same_as="G54"))
    same(meaning(HEAD + "G54.1 G00 X1\n", machine=machine), meaning(HEAD + "G54 G00 X1\n"))


def test_a_refused_word_is_refused_with_the_shop_s_own_message():
    machine = dialect(row("M08", "refuse", message="this machine cuts dry"))
    found = faults(HEAD + "G00 X1 M8\n", machine=machine)
    assert [(f.code, f.line, f.column) for f in found] == [("dialect-refused", 2, 8)]
    assert "this machine cuts dry" in found[0].what


def test_end_and_calls_may_have_other_names():
    machine = dialect(row("M97", "same-as", same_as="M98") + row("M17", "same-as", same_as="M99"))
    text = HEAD + "G00 X1\nM97 P5\nM30\nO5\nX2\nM17\n"
    same(meaning(text, machine=machine), meaning(HEAD + "G00 X1\nX2\n"))
    machine = dialect(row("M77", "same-as", same_as="M30"))
    assert meaning(HEAD + "G00 X1\nM77\n", machine=machine).moves.count == 1


@pytest.mark.parametrize(
    ("text", "key"),
    [
        (row("77", "ignore"), "dialect[1].word"),
        (row("U", "same-as", same_as="M8"), "dialect[1].word"),
        (row("X5", "same-as", same_as="M8"), "dialect[1].word"),
        (row("G54.1", "same-as", same_as="G54", **{"with": "PX"}), "dialect[1].with"),
        (row("M8", "refuse", message="no", harmless="true"), "dialect[1].harmless"),
        (row("N", "ignore"), "dialect[1].word"),
        (row("M77", "skip"), "dialect[1].action"),
        (row("M77", "same-as"), "dialect[1].same_as"),
        (row("M77", "same-as", same_as="X5"), "dialect[1].same_as"),
        (row("M77", "refuse"), "dialect[1].message"),
        (row("M77", "ignore") + row("M077", "ignore"), "dialect[2].word"),
        (row("M77", "ignore", same_as="M8"), "dialect[1].same_as"),
        (row("M77", "same-as", same_as="M777"), "dialect[1].same_as"),
        (row("M77", "same-as", same_as="G54.1"), "dialect[1].same_as"),
        (row("G65", "ignore", **{"with": "P5"}), "dialect[1].with"),
        (row("G65", "ignore", **{"with": "G"}), "dialect[1].with"),
    ],
)
def test_rows_that_cannot_be_are_named(text, key):
    with pytest.raises(InputError) as caught:
        dialect(text)
    assert [f.key for f in caught.value.faults] == [key]


IGNORED = ["G65", "G52", "G68", "G16", "G66", "G10", "G11", "G31", "G51", "G76"]


@pytest.mark.parametrize("word", IGNORED)
@pytest.mark.parametrize("rest", ["X100. Y100. Z-20.", "X5", "A3 X1", "I4", "R45", "P9010", "Q2 L3", "K1"])
def test_what_an_ignored_word_leaves_over_is_refused(word, rest):
    machine = dialect(row(word, "ignore"))
    found = faults(HEAD + f"G00 X1\n{word} {rest}\nX2\n", machine=machine)
    assert [(f.code, f.line) for f in found] == [("dialect-rest", 3)]
    assert found[0].column == len(word) + 2


@pytest.mark.parametrize("word", IGNORED)
def test_parameters_go_along_where_the_row_says_so(word):
    machine = dialect(row(word, "ignore", **{"with": "P X Y Z S"}))
    found = meaning(HEAD + f"G00 X1 S5\n{word} P9010 X100. Y100. Z-20. S77\nY3\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1\n\nY3\n"))
    assert found.events.value.tolist() == [5]
    assert [(r.line, r.text) for r in found.ignored] == [(3, f"{word} with P X Y Z S")]
    assert [f.code for f in faults(HEAD + f"G00 X1\n{word} P9 R7\n", machine=machine)] == ["dialect-rest"]
    assert [f.code for f in faults(HEAD + f"G00 X1\n{word} P9 F7\n", machine=machine)] == ["dialect-rest"]


def test_beside_a_word_that_takes_axes_an_ignored_one_leaves_nothing_over():
    machine = dialect(row("G61.1", "ignore") + row("G05", "ignore", **{"with": "PQ"}) + row("M61", "ignore"))
    found = meaning(HEAD + "G61.1 G00 X1\nG05 P1 Q2 G01 X9 F5\nX3 M61\nG61.1 F7\nX4\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1\nG01 X9 F5\nX3\nF7\nX4\n"))
    same(
        meaning(HEAD + "G00 X1\nG61.1 M98 P7 L2\nM30\nO7\nG91 X2\nM99\n", machine=machine),
        meaning(HEAD + "G00 X1\nM98 P7 L2\nM30\nO7\nG91 X2\nM99\n"),
    )
    assert [f.code for f in faults(HEAD + "G00 X1\nG61.1 X2\n", machine=machine)] == ["dialect-rest"]
    assert [f.code for f in faults(HEAD + "G01 X1 F5\nG00 G05 P1 R2 X3\n", machine=machine)] == ["arc-word-without-arc"]


def test_no_table_changes_nothing():
    assert replace(MACHINE, dialect=()).dialect == MACHINE.dialect == ()


def test_a_row_that_is_undecided_refuses_as_no_row_would_and_says_where_to_decide():
    text = HEAD + "G00 X1 M77 P3\nU5 X2\nG12.3\nM08\n"
    rows = [row("M77", "undecided", **{"with": "P"}), row("U", "undecided", message="?"), row("M8", "undecided")]
    plain, left_open = faults(text), faults(text, machine=dialect("".join(rows)))
    assert [(f.code, f.line, f.column, f.what) for f in left_open] == [
        (f.code, f.line, f.column, f.what) for f in plain
    ]
    assert [f.word for f in plain] == ["M77", "U5", "G12.3"]
    with pytest.raises(InputError) as caught:
        understand(read(text.encode(), "p.nc", []), dialect("".join(rows)), no_tools(), no_setup())
    hints = {f.word: f.hint for f in caught.value.faults}
    assert "M77 undecided" in hints["M77"]
    assert "U undecided" in hints["U5"]
    assert "undecided" not in hints["G12.3"]


@given(st.sets(st.sampled_from(["M77", "G12", "U", "M08", "G28", "G01", "E"]), min_size=1))
@settings(max_examples=30, deadline=None)
def test_no_choice_of_undecided_rows_changes_a_meaning_or_a_fault(words):
    machine = dialect("".join(row(word, "undecided") for word in sorted(words)))
    good = HEAD + "G00 X1 M08\nG01 X5 F300\nG91 G28 Z0\n"
    same(meaning(good, machine=machine), meaning(good))
    bad = HEAD + "G00 X1 M77\nG12 X3 U4\n"
    assert faults(bad, machine=machine) == faults(bad)


def test_beside_an_m_word_with_parameters_axis_words_and_rows_keep_their_meaning():
    machine = dialect(row("M77", "ignore", **{"with": "P"}))
    found = meaning(HEAD + "G00 X1\nG43 H1 Z50 M77 P3\nX4 M77 P9 S300\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1\nG43 H1 Z50\nX4 S300\n"))
    assert [f.code for f in faults(HEAD + "G00 X1\nM77 P3 Q4\n", machine=machine)] == ["dialect-rest"]


def test_columns_of_a_program_are_what_is_read_of_it():
    machine = dialect(row("M77", "ignore", **{"with": "PT"}) + row("G900", "same-as", same_as="G01", **{"with": "Q"}))
    program = read(b"M77 P3 T5\nG900 X1 Q7\nT6 H8\n", "p.nc", [])
    letters, values = Dialect(machine.dialect).plain(program)
    kept = [f"{chr(x)}{v:g}" for x, v in zip(letters.tolist(), values.tolist(), strict=True) if x]
    assert kept == ["G1", "X1", "T6", "H8"]
