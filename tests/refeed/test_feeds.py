"""The F words of a program, whatever words say them: who has its feed from whom, and what must be written."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.programs import MACHINE, meaning
from refeed.test_refeed import again, feeds, refeed, without_feeds

from hexpost.machine.language import shorthand
from hexpost.machine.load import no_setup, no_tools
from hexpost.machine.wording import DialectWord, Wording
from hexpost.moves.model import F_PER_MINUTE
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.program.read import read
from hexpost.refeed.feeds import feeds_of
from hexpost.refeed.text import FeedStyle, joined, rewritten

SHOP = replace(
    MACHINE,
    words=Wording(units="inch"),
    dialect=(
        DialectWord(word="M77", action="same-as", same_as="G20"),
        DialectWord(word="M84", action="same-as", same_as="G84"),
        DialectWord(word="G99.4", action="ignore"),
    ),
)


def understood(text, machine=SHOP, speed=0.1):
    """Return a program understood on slow struts."""
    struts = tuple(replace(s, speed=s.speed * speed) for s in machine.struts)
    return understand(parse(text.encode(), "part.nc"), replace(machine, struts=struts), no_tools(), no_setup())


@pytest.mark.parametrize("unit", ["G20", "G70", "M77", "N1"])
def test_an_inch_program_is_lowered_whatever_word_says_so(unit):
    found = refeed(understood(f"{unit} G90\nG00 X0 Y0 Z12.\nG01 X4. F1200.\nM30\n"))
    assert found.before.findings.count > 0
    assert found.after.findings.count == 0
    assert (
        feeds(found.source)[3] == feeds(refeed(understood("G20 G90\nG00 X0 Y0 Z12.\nG01 X4. F1200.\nM30\n")).source)[3]
    )


@pytest.mark.parametrize("word", ["G84", "M84"])
def test_a_thread_keeps_its_feed_whatever_word_cuts_it(word):
    text = f"G21 G00 X0 Y0 Z300\nM03 S1000\n{word} X40 Y40 Z280 R295 F750\nG80\nG01 X0 F20000\nM30\n"
    found = refeed(understood(text, speed=0.05))
    assert found.changes
    assert f"{word} X40 Y40 Z280 R295 F750".encode() in found.source


def test_a_line_that_runs_in_inch_and_in_millimetre_is_left_alone_and_named():
    text = (
        "G21 G94 G90 G00 X0 Y0 Z300\nG01 X1 F20000\nM98 P1\nG20\nG01 X0.1 F800\nM98 P1\nM30\n"
        "O1\nG91 G01 X1.5 F9000\nX-1.5\nG90\nM99\n"
    )
    found = refeed(understood(text, speed=0.02))
    assert found.alone == (9, 10)
    assert b"\nG91 G01 X1.5 F9000\nX-1.5\n" in found.source
    assert found.after.findings.count > 0


def test_a_line_with_two_feeds_is_left_as_it_is_unless_it_must_be_lowered():
    text = (
        "G21 G94 G90 G00 X0 Y0 Z300\nG01 X1 F200\nM98 P1\nG01 X0 F100\nM98 P1\nG01 X90 F20000\nM30\n"
        "O1\nG91 G01 X5\nG90\nM99\n"
    )
    found = refeed(understood(text))
    assert [c.old_line for c in found.changes] == [6]
    assert b"\nG91 G01 X5\n" in found.source


@pytest.mark.long
def test_points_are_written_where_the_machine_would_place_them():
    words = Wording(numbers="implied", format_mm=shorthand("X+53Y+53Z+53F41"))
    machine = replace(MACHINE, words=words)
    inputs = understood("G21 G90\nG00 X0 Y0 Z300000\nG01 X100000 F99990\nX0\nM30\n", machine, 0.01)
    assert inputs.meaning.moves.feed[-1] * 60 == pytest.approx(9999)
    found = refeed(inputs)
    assert found.changes and found.after.findings.count == 0
    assert all(b"." in f for line in feeds(found.source)[3:] for f in line)


BLOCKS = [
    "G01 X{0}", "X{0} F{1}", "Y{0}", "G00 X{0}", "G00 Z{0} F{1}", "F{1}", "G95 F0.2", "G94 F{1}",
    "G93 G01 X{0} F9\nG94 F{1}",
    "M98 P1",
    "M98 P2 L2", "G04 X1", "A5\nA0", "Y{0} F{1}", "G81 Z-5 R2 X{0} F{1}\nG80", "G01 X{0} A4\nA0",
]  # fmt: skip


SUBS = "O1\nG91 G01 X3\nG90 G01 Y5\nM99\nO2\nF550\nG91 G01 X2\nG00 Z1 F350\nG01 Y1\nG90\nM99\n"


def whole(lines):
    return "\n".join(["G21 G94 G90 S1000 M03", "G00 X1 Y1 Z30", "G01 X2 F900", *lines, "M30", SUBS])


@given(st.lists(st.tuples(st.sampled_from(BLOCKS), st.integers(1, 9)), min_size=1, max_size=16), st.data())
@settings(max_examples=300, deadline=None)
def test_what_is_written_is_what_runs(blocks, data):
    """Lower any lines to any feeds, read the new text: every line runs at the feed it was to have."""
    text = whole([b.format(7 * (k % 13) + (k % 7), 100 * f) for k, (b, f) in enumerate(blocks)])
    old = feeds_of(meaning(text))
    chosen = data.draw(st.lists(st.sampled_from(old.line.tolist()), unique=True))
    new = {line: float(data.draw(st.integers(10, 99))) for line in chosen}
    check_what_runs(text, {line: feed for line, feed in new.items() if old.free[np.searchsorted(old.line, line)]})


@pytest.mark.parametrize(
    ("lines", "line", "free"),
    [
        (["M98 P1", "G95 F0.2", "M98 P1"], 3, True),  # an F word in O1 would be one per revolution as well
        (["M98 P1", "G95 F0.2", "M98 P1"], 10, False),
        (["M98 P1", "M98 P1", "X50"], 10, False),  # its second run stands still, and would hand its F word on
        (["M98 P1", "M98 P1", "X50"], 9, True),
        (["M98 P1", "G00 X50 Y0", "M98 P1", "G00", "M98 P2 L3", "X60"], 13, True),
    ],
)
def test_a_line_that_does_not_cut_in_each_of_its_runs_gets_no_feed(lines, line, free):
    text = whole(lines)
    old = feeds_of(meaning(text))
    assert old.free[np.searchsorted(old.line, line)] == free
    check_what_runs(text, {line: 10.0} if free else {})


def check_what_runs(text, new):
    before = meaning(text)
    old = feeds_of(before)
    program = read(text.encode(), "part.nc", [])
    changed = rewritten(program, old, new, FeedStyle(program, implied=False))
    source = joined(program, changed)
    assert without_feeds(source) == without_feeds(text.encode())
    after = meaning(source.decode())
    assert np.array_equal(after.moves.line, before.moves.line)
    now = feeds_of(after)
    assert np.array_equal(now.line, old.line)
    for k, line in enumerate(old.line.tolist()):
        if line in new:
            assert now.feed[k] == new[line] and now.steady[k], line
        elif old.steady[k]:
            assert now.feed[k] == old.feed[k] and now.steady[k], line
        else:
            assert now.feed[k] <= old.feed[k], line
    minute = before.written.mode.at(np.arange(before.moves.count)) == F_PER_MINUTE
    other = ~np.isin(before.moves.line, old.line[~old.steady | np.isin(old.line, list(new))]) | ~minute
    np.testing.assert_allclose(after.moves.feed[other], before.moves.feed[other], rtol=1e-12)
    if not new:
        assert source == text.encode()


def test_the_new_program_of_an_inch_dialect_is_a_fixpoint():
    inputs = understood("M77 G99.4\nG00 X0 Y0 Z12.\nG01 X4. F1200.\nY4.\nX0 F10.\nM30\n")
    found = refeed(inputs)
    new = again(inputs, found.source)
    assert refeed(new).source == found.source
    assert examine(schedule(new)).findings.count == 0
    assert re.search(rb"X0 F10\.", found.source)
