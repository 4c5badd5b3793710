"""Every letter acts in its block, is kept for later ones, or is refused: nothing that is written is without effect."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import MACHINE, meaning, offsets

from hexpost.machine.load import no_setup
from hexpost.machine.model import Tool, Tools
from hexpost.machine.words import LABELS, WORDS
from hexpost.moves.interpret import interpret
from hexpost.program.read import read

HEAD = "G21 G90 G17 G94 G40 G49 G80 G64 G54 G98\nT1 M06\nM03 S900 M09\nG00 X1 Y2 Z80\nG01 X2 Y3 F300\n"
TAIL = "G80 G40 G94 G90 G17\nG01 X30 Y40 Z50 F77\nM30\nO7\nG01 X9\nG04 P3\nM99\nO8\nG91 G01 Y9\nG90 M99\n"
CONTEXTS = {
    "alone": "{}",
    "rapid": "G00 X12 {}",
    "line": "G01 X12 F200 {}",
    "arc": "G02 X12 Y3 I5 J0 F200 {}",
    "arc by radius": "G03 X12 Y3 R9 F200 {}",
    "dwell": "G04 {}",
    "timed dwell": "G04 X0.5 {}",
    "drilling": "G81 X12 Z-5 R2 F100 {}",
    "boring": "G82 X12 Z-5 R2 P50 F100 {}",
    "pecking": "G83 X12 Z-5 R2 Q2 F100 {}",
    "tapping": "G84 X12 Z-5 R2 F900 {}",
    "next hole": "G81 X12 Z-5 R2 F100\nY9 {}",
    "no hole": "G83 X12 Z-5 R2 Q2 F100\nM08 {}\nY9",
    "call": "M98 P7 {}",
    "call in a cycle": "G81 X12 Z-5 R2 F100\nM98 P7 {}\nG80",
    "end": "G80\nM98 P8 {}",
    "return": "G28 X12 {}",
    "preset": "G92 X12 {}\nX20",
    "machine": "G53 G00 X12 {}",
    "length": "G43 H1 Z60 {}",
    "offset": "G55 X12 {}",
    "tool change": "T2 M06 {}",
    "spindle": "M19 {}",
    "stop": "M00 {}",
    "inverse time": "G93 G01 X12 F2 {}\nG94 F100",
    "inverse rapid": "G93 G00 X12 {}\nG94 F100",
    "per revolution": "G95 G01 X12 F0.1 {}\nG94 F100",
    "compensated": "G41 D1 G01 X30 Y30 F200\nY90 {}\nG40 X0 Y95",
    "incremental": "G91 G01 X3 F60 {}\nG90",
    "exact": "G09 G01 X12 F200 {}",
    "plane": "G18 {}\nG02 X12 Z90 I5 K5",
}
LETTERS = {
    "X": ("3", "4"), "Y": ("3", "4"), "Z": ("33", "34"), "A": ("3", "4"), "B": ("3", "4"), "C": ("3", "4"),
    "I": ("5.01", "5.02"), "J": ("5.01", "5.02"), "K": ("1", "2"), "R": ("8", "9"), "F": ("333", "444"),
    "S": ("777", "888"), "T": ("2", "3"), "H": ("2", "3"), "D": ("2", "3"), "P": ("7", "8"), "Q": ("1", "2"),
    "L": ("1", "2"),
}  # fmt: skip
"""Two values of each letter that takes one: what depends on neither does nothing."""
CUTTERS = Tools(tools={n: Tool(number=n, length=100.0 + n, diameter=4.0 + n) for n in (1, 2, 3)}, given=True, file="t")
SETUP = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[5, 5, 60, 0, 0, 10])
USES = {"S": "G95 G01 X40 F0.2", "T": "M06", "H": "G43 Z90", "D": "G41 X40 Y50\nY90\nG40 X60 Y95", "F": "G01 X41"}
"""Blocks behind, where letters that are kept are used."""


def shown(text: str):
    """Return all that a program means, or ``None`` where it is refused; what is only named is left out."""
    faults = []
    program = read(text.encode(), "part.nc", faults)
    found = interpret(program, MACHINE, CUTTERS, SETUP, faults)
    if faults:
        return None
    m, e = found.moves, found.events
    columns = (m.kind, m.end, m.feed, m.feed_mode, m.stop, m.arcs.move, m.arcs.centre, m.arcs.turn)
    frames = [(f.offset, f.tool, f.length_row, f.length, f.base_from_work.tobytes()) for f in m.frames]
    chosen = (e.move, e.rule, e.letter, e.value, e.pause)
    return [x.tobytes() for x in (*columns, *chosen)], frames, [(r.line, r.text) for r in found.remarks]


def uses(letter: str, block: str) -> str:
    """Return the block with one behind that uses what is kept, and what the block may have left in force ended."""
    return f"{HEAD}{block}\nG80\nG40\nG90 G94\n{USES.get(letter, '')}\n{TAIL}"


def test_the_letters_are_those_of_the_table():
    assert set(LETTERS) == {w.letter for w in WORDS if w.code is None} - set(LABELS)


def test_the_contexts_mean_something():
    good = [name for name, block in CONTEXTS.items() if shown(uses("", block.format(""))) is not None]
    assert set(CONTEXTS) - set(good) <= {"dwell"}


@pytest.mark.parametrize("context", CONTEXTS)
@pytest.mark.parametrize("letter", LETTERS)
def test_every_letter_acts_is_kept_or_is_refused(letter, context):
    """Two values of a letter mean two things, or one is refused; a kept one is looked at where it is used."""
    one, two = (shown(uses(letter, CONTEXTS[context].format(f"{letter}{v}"))) for v in LETTERS[letter])
    if one is not None and two is not None:
        assert one != two


@pytest.mark.parametrize("context", CONTEXTS)
@pytest.mark.parametrize("letter", "HD")
def test_a_kept_row_that_nothing_uses_is_remarked(letter, context):
    text = f"{HEAD}{CONTEXTS[context].format(f'{letter}3')}\n{TAIL}"
    found = shown(text)
    if found is None:
        return
    named = [text for _, text in found[2]]
    users = {"H": "G43", "D": "G41"}[letter]
    if users in CONTEXTS[context]:
        assert not named
    else:
        assert len(named) == 1 and f"{letter}3" in named[0] and users in named[0]


@given(st.lists(st.sampled_from(["H1", "H2", "D1", "G43", "G49", "H0", "X5", "G43 H3", "G49 H2", "G44"]), max_size=12))
def test_a_row_is_remarked_exactly_where_no_length_word_is_in_force_before_the_next_row(blocks):
    """Followed block by block by a plain loop."""
    text = "G21 G90 G94 G00 X0 Y0 Z90 H9\nG43\nG49\n" + "\n".join(blocks) + "\n"
    on, open_, unused = False, None, []
    for k, block in enumerate(blocks, 4):
        words = block.split()
        row = next((w for w in words if w[0] == "H"), None)
        on = {"G43": True, "G44": True, "G49": False}.get(words[0], on)
        if row:
            unused += [open_] if open_ else []
            open_ = (k, row) if row != "H0" else None
        if on:
            open_ = None
    unused += [open_] if open_ else []
    found = [r for r in meaning(text, setup=no_setup()).remarks if "H" in r.text.split(",")[0]]
    assert [(r.line, r.count) for r in found] == ([(unused[0][0], len(unused))] if unused else [])
    if unused:
        assert all(row in found[0].text for _, row in unused)


PLACES = (
    *CONTEXTS.values(), "{} X5", "{}\nX5", "{}\nX5\nY9", "F60 {}\nG02 X12 Z60 Y3 I5 J0 K-10", "G04 P5 {}",
    "P7 {}", "M07 {}",
)  # fmt: skip


AS_EVER = ("G15", "G50", "G69", "G97")
"""Words that say what is so without them."""


@pytest.mark.parametrize(
    "word", [w for w in WORDS if w.code is not None and w.name not in AS_EVER], ids=lambda w: w.name
)
def test_every_code_changes_something_somewhere(word):
    """In some block it is not the same as another of its group, or none."""
    others = [w.name for w in WORDS if w.group == word.group and w.name != word.name] or [""]

    def differs(block: str) -> bool:
        one, *rest = (shown(f"{HEAD}F200\n{block.format(x)}\nX20\n{TAIL}") for x in (word.name, *others[:3]))
        return any(other != one for other in rest)

    assert any(differs(block) for block in PLACES)
