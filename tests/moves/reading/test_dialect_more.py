"""Long codes, codes with a point, and parameters of words that are read."""

import pytest
from moves.programs import HEAD, faults, meaning, same
from moves.reading.test_dialect import dialect, row


@pytest.mark.parametrize("word", ["M1234", "G12.3", "G1234.5", "M123456789012", "G5.125", "M0001234"])
def test_codes_have_any_number_of_digits_and_a_point(word):
    machine = dialect(row(word, "ignore"))
    found = meaning(HEAD + f"G00 X1\n{word}\nX2 Y3\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1\n\nX2 Y3\n"))
    name = f"{word[0]}{float(word[1:]):.15g}"
    assert [(r.line, r.text) for r in found.ignored] == [(3, name)]
    other = word[:-1] + str((int(word[-1]) + 1) % 10)
    assert [f.code for f in faults(HEAD + f"G00 X1\n{other}\n", machine=machine)] == ["unknown-word"]


def test_codes_with_parameters_go_along():
    machine = dialect(row("M1234", "ignore", **{"with": "PQ"}))
    found = meaning(HEAD + "G00 X1\nM1234 P5 Q2\nX2\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1\n\nX2\n"))
    assert [f.code for f in faults(HEAD + "G00 X1\nM1234 P5 R2\nX2\n", machine=machine)] == ["dialect-rest"]


def test_a_word_keeps_its_meaning_without_its_parameter():
    machine = dialect(row("G64", "same-as", same_as="G64", **{"with": "P"}))
    text = HEAD + "G61\nG00 X1\nG64 P0.001\nG01 X2 F100\nY2\n"
    found = meaning(text, machine=machine)
    same(found, meaning(text.replace(" P0.001", "")))
    assert [(r.line, r.text, r.count) for r in found.ignored] == [(4, "P beside G64", 1)]
    assert [f.code for f in faults(text)] == ["tolerance-too-small"]


def test_another_word_may_take_parameters_along_too():
    machine = dialect(row("G12.3", "same-as", same_as="G61", message="slow", **{"with": "Q"}))
    found = meaning(HEAD + "G12.3 Q4\nG01 X2 F100\n", machine=machine)
    same(found, meaning(HEAD + "G61\nG01 X2 F100\n"))
    assert [r.text for r in found.ignored] == ["Q beside G12.3 (slow)"]
