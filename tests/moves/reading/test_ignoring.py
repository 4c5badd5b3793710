"""No ignored word changes what other blocks mean unseen: what may be ignored, what is refused and why, what is told."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.programs import HEAD, faults, meaning, same

from hexpost.errors import InputError
from hexpost.machine.ignoring import ALONE, SETTING, why_not
from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.machine.words import LETTERS, WORDS

TOML = DEMONSTRATION.read_text()
CODED = [w for w in WORDS if w.code is not None]
FREE = ["M7", "M8", "M9", "M50", "M51", "M48", "M49", "M0", "M1", "M60", "G4", "G9", "G15", "G50", "G69", "G97"]
FREE += [f"M{x}" for x in (10, 11, *range(36, 46), 68, 69, 78, 79)]


def dialect(word, action="ignore", rest=""):
    row = f'\n[[dialect]]\nword = "{word}"\naction = "{action}"\n{rest}'
    return machine_from((TOML + row).encode(), "m.toml")


def refused(word, rest=""):
    with pytest.raises(InputError) as caught:
        dialect(word, rest=rest)
    (fault,) = caught.value.faults
    return fault


@pytest.mark.parametrize("word", [w.name for w in CODED])
def test_a_word_that_is_read_may_be_ignored_only_where_no_other_block_rests_on_it(word):
    plain = f"{word[0]}{float(word[1:]):g}"
    if plain in FREE:
        assert dialect(word).dialect[0].word == plain
        return
    for rest in ("", "harmless = true\n"):
        fault = refused(word, rest)
        assert fault.key == "dialect[1].action"
        assert f"other blocks rest on {plain}" in fault.what and "harmless" not in fault.hint


@pytest.mark.parametrize("letter", [x for x in LETTERS if x not in "NO:"])
@pytest.mark.parametrize("number", ["", "5"])
def test_no_letter_that_is_read_is_ignored(letter, number):
    if letter in "GM" and number:
        return
    fault = refused(letter + number)
    assert fault.key == "dialect[1].action"
    assert ("move the tool" if letter in "GM" else f"without its {letter}") in fault.what


@pytest.mark.parametrize("word", SETTING)
def test_a_word_that_sets_what_blocks_mean_on_some_controls_is_ignored_only_where_the_file_knows_better(word):
    fault = refused(word)
    assert fault.key == "dialect[1].action"
    assert SETTING[word] in fault.what and "harmless = true" in fault.hint
    machine = dialect(word, rest="harmless = true\n")
    found = meaning(HEAD + f"G00 X1\n{word}\nX2\n", machine=machine)
    same(found, meaning(HEAD + "G00 X1\n\nX2\n"))
    assert [(r.line, r.text) for r in found.ignored] == [(3, word)]


def test_no_word_is_both_read_and_said_to_mean_something_elsewhere():
    assert not set(SETTING) & {f"{w.letter}{w.code:g}" for w in CODED}
    assert {w.group for w in CODED if not why_not(f"{w.letter}{w.code:g}")} == set(ALONE)


# Words whose meaning is known by their standards' notes: those after which a later block is another move (the groups of
# the table of words), each beside a block that would show it.
LATER = {
    "G91": "X5", "G20": "X5", "G18": "G02 X5 I2 F9", "G43": "H1 Z5", "G55": "X5", "G92": "X5", "G81": "X5", "G95": "F1",
    "G28": "X5", "G53": "X5", "M30": "X5", "M98": "P1", "M6": "X5", "T1": "M06", "F100": "G01 X5", "G61": "X5",
}  # fmt: skip


@pytest.mark.parametrize("word", LATER)
def test_each_of_these_would_change_a_later_block_and_is_refused(word):
    assert refused(word, "harmless = true\n").key == "dialect[1].action"


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(FREE), min_size=1, max_size=4, unique=True), st.integers(0, 3))
def test_an_ignored_word_leaves_every_other_block_as_it_is(words, where):
    """Beside the events of its own: moves, feeds and stops of all other blocks are those of the program without it."""
    rows = "".join(f'\n[[dialect]]\nword = "{w}"\naction = "ignore"\n' for w in words)
    machine = machine_from((TOML + rows).encode(), "m.toml")
    blocks = ["G00 X1", "G01 X5 F300", "G91 Y3", "G90 G02 X9 I2"]
    written = [*blocks[:where], *words, *blocks[where:]]
    found = meaning(HEAD + "\n".join(written) + "\n", machine=machine)
    same(found, meaning(HEAD + "\n".join([*blocks[:where], *("" for _ in words), *blocks[where:]]) + "\n"))
    assert {r.text for r in found.ignored} == set(words)


@pytest.mark.parametrize(("block", "code"), [
    ("M77 M98 P7 L3", "call-without-number"), ("M98 P7 L3 M77", "call-without-number"),
    ("M97 P7 M77", "call-without-number"),
])  # fmt: skip
def test_a_call_does_not_run_by_words_that_another_word_takes_along(block, code):
    """P and L of a call are read as the dialect leaves them: a word that takes them along takes them from the call."""
    rows = '\n[[dialect]]\nword = "M77"\naction = "ignore"\nwith = "PL"\n'
    rows += '\n[[dialect]]\nword = "M97"\naction = "same-as"\nsame_as = "M98"\n'
    machine = machine_from((TOML + rows).encode(), "m.toml")
    text = HEAD + f"G00 X1\n{block}\nM30\nO7\nG91 X2\nM99\n"
    assert code in [f.code for f in faults(text, machine=machine)]


def test_a_repeat_that_goes_along_repeats_nothing():
    rows = '\n[[dialect]]\nword = "M77"\naction = "ignore"\nwith = "L"\n'
    machine = machine_from((TOML + rows).encode(), "m.toml")
    tail = "M30\nO7\nG91 X2\nM99\n"
    found = meaning(HEAD + "G00 X1\nM98 P7 L3 M77\n" + tail, machine=machine)
    same(found, meaning(HEAD + "G00 X1\nM98 P7\n" + tail))
    assert [r.text for r in found.ignored] == ["M77 with L"]
