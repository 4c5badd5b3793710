"""Everyday words against plain ones: each pair of programs means the same moves, events and feeds."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import TOOLS, faults, meaning, offsets, reading, same
from moves.reading.test_dialect import dialect, row

from hexpost.pipeline import schedule, understand
from hexpost.program.read import read

SETUP = offsets(G54=[20, 0, 60, 0, 0, 30], G55=[5, 5, 60, 0, 0, 0])
START = "G21 G90 G17 G94 G40 G49 G80\nT1 M06\nG43 H1\nM03 S900\nG00 X10 Y20 Z100\n"
ZERO = "G90 G53 G00 X0 Y0 Z0 A0 B0 C0\n"
CUT = "G01 X12 F300\n"
PAIRS = {
    "bare return": ("G28\n", ZERO),
    "bare second return": ("G30\n", ZERO),
    "bare return under G91": ("G91 G28\nG90\n", ZERO),
    "bare return tilted": ("G00 A5\nG28\n", f"G00 A5\n{ZERO}"),
    "bare return and spindle off": ("G28 M05\n", f"{ZERO}M05\n"),
    "bare return and coolant off": ("M08\nG91 G30 M09\nG90\n", f"M08\n{ZERO}M09\n"),
    "bare return of another offset": ("G55\nG28\n", f"G55\n{ZERO}"),
    "two bare returns": ("G28\nG30\n", ZERO),
    "bare return after a cycle": ("G81 X5 Z90 R95 F90\nG80\nG28\n", f"G81 X5 Z90 R95 F90\nG80\n{ZERO}"),
    "bare return between cuts": (f"{CUT}G28\nG01 X5 Y5 Z90\n", f"{CUT}{ZERO}G01 X5 Y5 Z90\n"),
    "bare return before a stop": ("G28 M01\n", f"{ZERO}M01\n"),
    "G53 under G91": ("G91 G53 G00 Z0\n", "G90 G53 G00 Z0\nG91\n"),
    "G53 under G91 of a block before": ("G91\nG53 G00 X0 Y0\n", "G90\nG53 G00 X0 Y0\n"),
    "G53 under G91 at a feed": ("G91\nG53 G01 Z-20 F900\n", "G53 G01 Z-20 F900\n"),
    "G53 under G91, then increments": ("G91 G53 G00 Z0\nG00 X2\n", "G53 G00 Z0\nG91 G00 X2\n"),
    "G53 under G91 with rotary words": ("G00 A5\nG91\nG53 G00 A0 Z0\n", "G00 A5\nG53 G00 A0 Z0\n"),
    "speed in revolutions": ("G97 S1200 M03\nG01 X9 F80\n", "S1200 M03\nG01 X9 F80\n"),
    "speed in revolutions at the head": ("G97\nG95 G01 X9 F0.1\n", "G95 G01 X9 F0.1\n"),
    "program number and block number": ("O7 N10 G01 X9 F80\n", "N10 G01 X9 F80\n"),
    "alignment and block number": (":7 N10 G01 X9 F80\n", "N10 G01 X9 F80\n"),
    "first block on the alignment line": (":0007 G01 X9 F80\n", "G01 X9 F80\n"),
    "number and block number apart": ("o 7 n 10 G01 X9 F80\n", "N10 G01 X9 F80\n"),
    "spindle off after the end": ("M30\nM05\n", "M30\n"),
    "end twice": ("M30\nM30\n", "M30\n"),
    "both ends": ("M02\nM30\n", "M02\n"),
    "coolant off and end after the end": ("M30\nN99 M09\nM02\n", "M30\n"),
    "return after the end": ("M30\nM99\n", "M30\n"),
    "two closing words in a block": ("M30\nM05 M09\n%\n", "M30\n"),
    "cancel words of a first line": ("G15 G50 G69\nG01 X9 F80\n", "G01 X9 F80\n"),
    "a cancel word in a block that moves": ("G69 G01 X9 F80\n", "G01 X9 F80\n"),
    "small letters without blanks": ("g01x9y22f80\nn20z90\n", "G01 X9 Y22 F80\nN20 Z90\n"),
    "codes without their zero": ("G1 X9 F80\nG0 Z110\nM5\nM9\n", "G01 X9 F80\nG00 Z110\nM05\nM09\n"),
    "numbers with points and signs": ("G01 X+9. Y.5 F80.\nY-.5\n", "G01 X9 Y0.5 F80\nY-0.5\n"),
    "words in another order": ("F80 Y22 X9 G01\nM08 Z90 G00\n", "G01 X9 Y22 F80\nG00 Z90 M08\n"),
    "comments and remarks": ("(ROUGHING) G01 X9 (TO THE EDGE) F80 ; slowly\n", "G01 X9 F80\n"),
    "a radius for a quarter": ("G03 X20 Y30 R10 F90\n", "G03 X20 Y30 I0 J10 F90\n"),
    "a radius for three quarters": ("G02 X0 Y30 R-10 F90\n", "G02 X0 Y30 I-10 J0 F90\n"),
    "increments of a square": ("G91\nG01 X10 F90\nY10\nX-10\nY-10\nG90\n", "G01 X20 F90\nY30\nX10\nY20\n"),
    "inch by the other word": ("G20\nG01 X1 F10\nG21\n", "G70\nG01 X1 F10\nG71\n"),
    "exact stop by either word": ("G60\nG01 X12 F90\nY9\nG62\nX5\n", "G61\nG01 X12 F90\nY9\nG64\nX5\n"),
    "a hole written out": ("G98 G81 X5 Y5 Z90 R98 F90\nG80\n", "G00 X5 Y5\nZ98\nG01 Z90 F90\nG00 Z100\n"),
    "holes by increments": (
        "G99 G81 X5 Y5 Z90 R98 F90\nG91 X10 L2\nG90 G80\n", "G99 G81 X5 Y5 Z90 R98 F90\nX15\nX25\nG80\n"
    ),
    "a subprogram run twice": (
        "M98 P5 L2\nM30\nO5\nG91 G01 X1 F90\nG90\nM99\n", "G91 G01 X1 F90\nX1\nG90\nM30\n"
    ),
    "a tool called ahead of its change": ("T2\nG00 Z120\nM06\nG43 H2 Z100\n", "G00 Z120\nT2 M06\nG43 H2 Z100\n"),
    "an arc in another plane": ("G18 G03 X20 Z90 I0 K-10 F90\nG17\n", "G18\nG03 X20 Z90 R10 F90\nG17\n"),
    "a full circle from its own start": ("G02 I5 J0 F90\n", "G02 X10 Y20 I5 J0 F90\n"),
    "a dwell in seconds": ("G04 X0.5\n", "G04 P500\n"),
}  # fmt: skip
ALIKE = {"holes by increments", "a hole written out", "a subprogram run twice", "a tool called ahead of its change",
         "increments of a square", "words in another order"}  # fmt: skip
"""Twins whose events or lines are others than those of the plain form: their motion is one."""


def like(one, other, **more):
    """Assert that two programs mean the same moves, feeds and events."""
    a, b = (meaning(START + text, tools=TOOLS, setup=SETUP, **more) for text in (one, other))
    same(a, b)
    assert a.events.value.tolist() == b.events.value.tolist()
    assert a.events.rule.tolist() == b.events.rule.tolist()
    last = [np.searchsorted(x.moves.line, x.moves.line[x.events.move]) for x in (a, b)]
    assert np.array_equal(*last)
    return a


@pytest.mark.parametrize("name", [name for name in PAIRS if name not in ALIKE])
def test_everyday_and_plain(name):
    like(*PAIRS[name])


@pytest.mark.parametrize("name", sorted(ALIKE))
def test_everyday_and_plain_move_alike(name):
    same(*(meaning(START + text, tools=TOOLS, setup=SETUP) for text in PAIRS[name]))


def test_there_are_forty_twins():
    texts = [*PAIRS.values(), *ARCS]
    assert len(texts) >= 50 and len({one for one, _ in texts}) == len(texts)
    assert sum(one != other for one, other in texts) >= 40


@pytest.mark.parametrize("name", list(PAIRS)[::6])
def test_twins_have_the_same_setpoints(name):
    """All lengths at every tick, to a billionth of a mm; lines and events may be others."""
    machine = replace(reading(), period=0.02)
    lengths = []
    for text in PAIRS[name]:
        program = read((START + text).encode(), "p.nc", [])
        job = schedule(understand(program, machine, TOOLS, SETUP))
        lengths.append(np.concatenate([batch.length for batch in job.setpoints(commands=False)], axis=1))
    np.testing.assert_allclose(*lengths, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize(
    "word",
    ["M10", "M11", "M36", "M37", "M38", "M39", "M40", "M45", "M50", "M51", "M68", "M69", "M78", "M79"],
)
def test_words_of_the_standard_are_events_and_move_nothing(word):
    found = meaning(START + f"{word}\nG01 X12 F300 {word}\nY9\n", tools=TOOLS, setup=SETUP)
    same(found, meaning(START + "G01 X12 F300\nY9\n", tools=TOOLS, setup=SETUP))
    at = np.flatnonzero(found.events.value == int(word[1:]))
    assert len(at) == 2 and not found.events.wait[at].any()
    late = word in ("M10", "M68", "M78")
    assert found.events.rule[at[1]] == (1 if late else 0)  # AFTER, WITH


def test_a_machine_that_another_word_moves_is_not_guessed():
    for word in ("M15", "M16", "M31", "M55", "M61", "M71", "G96", "G65", "G66"):
        assert [f.code for f in faults(START + f"{word}\n", tools=TOOLS)] == ["unknown-word"], word


CENTRES = dialect(row("G12.3", "absolute-centres") + row("G12.4", "incremental-centres"))
ABSOLUTE = reading(arc_centre="absolute")
ARCS = [
    ("G02 X20 Y10 I10 J10 F90\n", "G02 X20 Y10 I0 J-10 F90\n"),
    ("G03 I14 J20 F90\n", "G03 I4 J0 F90\n"),
    ("G91\nG02 X10 Y-10 I10 J10 F90\n", "G91\nG02 X10 Y-10 I0 J-10 F90\n"),
    ("G18\nG03 X20 Z110 I20 K100 F90\n", "G18\nG03 X20 Z110 I10 K0 F90\n"),
    ("G19\nG02 Y30 Z110 J30 K100 F90\n", "G19\nG02 Y30 Z110 J10 K0 F90\n"),
    ("G02 X20 Y10 Z95 I10 J10 F90\n", "G02 X20 Y10 Z95 I0 J-10 F90\n"),
    ("G55\nG00 X10 Y20\nG02 X20 Y10 I10 J10 F90\n", "G55\nG00 X10 Y20\nG02 X20 Y10 I0 J-10 F90\n"),
    ("G02 X20 Y10 R10 F90\n", "G02 X20 Y10 R10 F90\n"),
]


@pytest.mark.parametrize(("one", "other"), ARCS)
def test_absolute_arc_centres(one, other):
    plain = meaning(START + other, tools=TOOLS, setup=SETUP)
    by_key = meaning(START + one, machine=ABSOLUTE, tools=TOOLS, setup=SETUP)
    by_word = meaning(START + f"G12.3\n{one}", machine=CENTRES, tools=TOOLS, setup=SETUP)
    for found in (by_key, by_word):
        same(found, plain)
        assert any(r.startswith("arc centres I J K are absolute") for r in found.readings)


def test_a_word_counts_from_its_own_block_on_until_the_other():
    one = "G12.3 G02 X20 Y10 I10 J10 F90\nG03 X30 Y20 I20 J20\nG12.4\nG02 X40 Y10 I0 J-10\n"
    other = "G02 X20 Y10 I0 J-10 F90\nG03 X30 Y20 I0 J10\nG02 X40 Y10 I0 J-10\n"
    like(one, other.replace("\nG02 X40", "\n\nG02 X40"), machine=CENTRES)
    both = reading(arc_centre="absolute", first_feed=1.0)
    assert faults(START + "G02 X20 Y10 I0 J-10 F90\n", machine=both, tools=TOOLS, setup=SETUP)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("G02 X20 Y10 I10 F90\n", "arc-centre-half"),
        ("G02 X20 Y10 I10 J10 K100 F90\n", "arc-word-out-of-plane"),
        ("G02 X20 Y10 I0 J-10 F90\n", "arc-end-off"),
        ("G02 X20 Y10 I10 J10 R5 F90\n", "arc-two-centres"),
    ],
)
def test_absolute_centres_that_cannot_be(text, code):
    assert [f.code for f in faults(START + text, machine=ABSOLUTE, tools=TOOLS, setup=SETUP)] == [code]


def test_without_a_row_no_word_changes_arc_centres():
    assert [f.code for f in faults(START + "G12.3\n", tools=TOOLS, setup=SETUP)] == ["unknown-word"]
    found = faults(START + "G12.3 G12.4\n", machine=CENTRES, tools=TOOLS, setup=SETUP)
    assert [f.code for f in found] == ["repeated-word"] and "@" not in found[0].what


FEED = reading(first_feed=500 / 60)
NO_F = "{0}\nG90 G00 X10 Y20 Z10\nG01 X12\nG02 X14 Y18 I0 J-2\nG00 Z20\nG01 Z12\n"


@pytest.mark.parametrize("unit", ["G21", "G20"])
def test_a_first_feed_is_that_of_programs_without_any(unit):
    found = meaning(NO_F.format(unit), machine=FEED)
    number = "500" if unit == "G21" else repr(500 / 25.4)
    plain = meaning(NO_F.format(unit).replace("G01 X12", f"G01 X12 F{number}"))
    same(found, plain)
    assert (
        np.nanmax(
            np.abs(
                found.written.per_speed(found.moves, np.array([1]))
                - plain.written.per_speed(plain.moves, np.array([1]))
            )
        )
        < 1e-12
    )
    assert any(
        r == "F: none in the program, 500 mm/min by first_feed_mm_min of the machine file" for r in found.readings
    )


@pytest.mark.parametrize(
    "text",
    [NO_F.format("G21"), NO_F.format("G21") + "X3 F5\n", NO_F.format("G21") + "G04 F1\n"],
    ids=["no key", "an F behind", "F of a dwell"],
)
def test_a_first_feed_is_no_feed_of_other_programs(text):
    machine = reading() if text == NO_F.format("G21") else FEED
    assert [f.code for f in faults(text, machine=machine)] == ["feed-missing"]


BEGINS = {
    "rapids": ("G00", "G21 G90\n{}X10 Y20 Z90\nZ80\nG01 X5 F90\n"),
    "the height of a tool": ("G00", "G21 G90 T1 M06\nG43 H1 {}Z100\nX5\nG02 X7 Y0 I1 J0 F90\n"),
    "machine coordinates": ("G00", "G21 G90\nG53 {}Z0\nG01 X5 F90\n"),
    "increments of an inch": ("G00", "G20 G91\n{}X1 Y-1\nZ-.5\nG01 X.1 F9\n"),
    "lines at a feed": ("G01", "G21 G90 F300\n{}X10 Y20\nZ-2\nG00 Z9\n"),
    "a line under inverse time": ("G01", "G21 G90 G93\n{}X10 F30\nG94 F90\nX3\n"),
    "behind a return and a dwell": ("G00", "G21 G90\nG28\nG04 P9\n{}X10 Y20\nG01 Z5 F90\n"),
    "ahead of a cycle": ("G00", "G21 G90\n{}X10 Y20 Z50\nG81 Z5 R9 F90\nX3\nG80\nG00 X9\n"),
    "a subprogram": ("G00", "G21 G90\nM98 P7\nG01 X9 F90\nM30\nO7\n{}X3 Y3\nM99\n"),
    "all of a program": ("G00", "G21 G90\n{}X3\nY4\nZ5\n"),
}


HEIGHTS = {"machine coordinates"}
"""Heads that are read without the key: a height alone."""


@pytest.mark.parametrize("case", BEGINS)
def test_a_first_motion_word_is_in_force_until_another_is_given(case):
    word, text = BEGINS[case]
    begun = reading(first_motion=word)
    found = meaning(text.format(""), machine=begun, tools=TOOLS)
    same(found, meaning(text.format(f"{word} "), tools=TOOLS))
    said = f"motion: none stated at the head of the program, {word} by the machine file"
    assert found.readings.count(said) == 1
    assert said not in meaning(text.format(f"{word} "), machine=begun, tools=TOOLS).readings
    refused = {f.code for f in faults(text.format(""), tools=TOOLS)}
    assert ("no-motion-word" in refused) != (case in HEIGHTS)


def test_a_first_motion_word_needs_its_feed_and_is_said_of_moves_alone():
    assert [f.code for f in faults("G21 G90\nX10\nG01 Y3 F9\n", machine=reading(first_motion="G01"))] == [
        "feed-missing"
    ]
    found = meaning("G21 G90\nG92 X0\nG04 X1\nG00 X3\n", machine=reading(first_motion="G01"))
    assert not any(r.startswith("motion:") for r in found.readings)


@pytest.mark.parametrize("text", ["G01 A5\n", "G93 G01 X5\n", "G95 G01 X5\n"])
def test_a_first_feed_is_none_of_turns_and_of_other_modes(text):
    assert faults(NO_F.format("G21") + text, machine=FEED)


@given(st.lists(st.sampled_from(["M05", "M09", "M30", "M02", "M99", "N7", "M05 M09"]), min_size=1, max_size=5))
def test_whatever_only_closes_the_file_changes_nothing(after):
    same(meaning(START + CUT + "M30\n" + "\n".join(after), tools=TOOLS), meaning(START + CUT + "M30\n", tools=TOOLS))


@pytest.mark.parametrize(
    "text", ["M30\nM08\n", "M30\nG80\n", "M30\nM05\nX1\n", "M30\nF5\n", "M30\nT1 M06\n", "M30\nM00\n"]
)
def test_what_would_do_more_is_refused_behind_the_end(text):
    assert [f.code for f in faults(START + text, tools=TOOLS)] == ["words-after-end"]
