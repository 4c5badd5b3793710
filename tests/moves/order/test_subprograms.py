"""Subprograms, the end of the program, block skip and optional stops: a program and its spelled-out twin."""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import HEAD, TOOLS, alike, faults, meaning, offsets, same, switched

from hexpost.moves import interpret as interpreter

MAIN = HEAD + "G00 X0 Y0 Z5\nG01 F500\n"


def lines(found) -> list[int]:
    """Return the lines of the moves."""
    return found.moves.line.tolist()


def test_a_call_runs_the_blocks_behind_the_end():
    alike(MAIN + "M98 P10\nX9\nM30\nO10\nX1\nY2\nM99\n", MAIN + "X1\nY2\nX9\nM30\n")
    found = meaning(MAIN + "M98 P10\nX9\nM30\nO10\nX1\nM99\n")
    assert lines(found) == [2, 8, 5]  # the blocks of the subprogram have their own lines


def test_a_call_stands_in_a_block_with_motion_and_runs_after_it():
    alike(MAIN + "X3 M98 P1 L2\nM30\nO1\nG91 Y1\nG90\nM99\n", MAIN + "X3\nG91 Y1\nG90\nG91 Y1\nG90\nM30\n")


def test_calls_nest_and_repeat():
    text = MAIN + "M98 P1 L2\nM98 P2\nM30\nO1 (ROW)\nG91\nM98 P2 L3\nG90 Y0 M99\nO2\nX1 Y1\nX1\nM99\n"
    two = "X1 Y1\nX1\n"
    alike(text, MAIN + 2 * ("G91\n" + 3 * two + "G90 Y0\n") + two + "M30\n")


def test_modal_words_of_a_subprogram_stay_in_force_after_it():
    setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[3, 0, 60, 10, -20, 0])
    alike(
        MAIN + "M98 P7\nX4\nM30\nO7\nG55 T1 M06\nG43 H1 F90\nM99\n",
        MAIN + "G55 T1 M06\nG43 H1 F90\nX4\nM30\n",
        setup=setup,
        tools=TOOLS,
    )


def test_a_call_may_be_skipped():
    text = MAIN + "/M98 P1\nX5\nM30\nO1\nX1\nM99\n"
    assert lines(meaning(text)) == [2, 8, 5]
    assert lines(switched(text, skip=True)) == [2, 5]


def test_a_subprogram_that_nothing_calls_is_named():
    found = meaning(MAIN + "M30\nO5\nX1\nX2\nM99\n")
    assert [(r.line, r.text, r.count) for r in found.ignored] == [(5, "subprogram O5: nothing calls it", 4)]


MISTAKES = [
    ("M98\nM30\nO1\nM99\n", 4, "call-without-number"),
    ("M98 P2\nM30\nO1\nM99\n", 4, "subprogram-missing"),
    ("M98 P1.5\nM30\nO1\nM99\n", 4, "subprogram-missing"),
    ("M98 P1 L0\nM30\nO1\nM99\n", 4, "repeat-bad"),
    ("M98 P1\nM30\nO1\nX1\n", 4, "subprogram-without-return"),
    ("M98 P1\nM30\nO1\nM99\nX1\n", 8, "words-after-return"),
    ("M98 P1\nM30\nO1\nM99\nO1\nM99\n", 8, "subprogram-twice"),
    ("M98 P1\nM30\nX1\nO1\nM99\n", 6, "words-after-end"),
    ("X1\nM99\n", 5, "return-in-main"),
    ("M98 P1\nM30\nO1\nM98 P1\nM99\n", 7, "endless-calls"),
    ("M98 P1\nM30\nO1\nM98 P2\nM99\nO2\nM98 P1\nM99\n", 10, "endless-calls"),
    ("M98 P1\nM30\n" + "".join(f"O{i}\nM98 P{i + 1}\nM99\n" for i in range(1, 40)) + "O40\nM99\n", 4, "calls-too-deep"),
    ("M98 P1 L9999999\nM30\nO1\nX1\nX2\nM99\n", 4, "too-many-blocks"),
    ("L5\n", 4, "word-out-of-place"),
]


@pytest.mark.parametrize(("text", "line", "code"), MISTAKES, ids=[m[2] for m in MISTAKES])
def test_calls_that_cannot_be_are_named(text, line, code):
    found = faults(MAIN + text)
    assert code in [f.code for f in found]
    if code != "calls-too-deep":
        assert [(f.line, f.code) for f in found] == [(line, code)]


def test_a_fault_in_a_subprogram_is_told_once():
    found = faults(MAIN + "M98 P1 L50\nM98 P1\nM30\nO1\nG05 X1\nM99\n")
    assert [(f.line, f.code) for f in found] == [(8, "unknown-word")]


def test_repeats_by_the_thousand_take_no_time():
    began = time.process_time()
    deep = "".join(f"O{i}\nM98 P{i + 1} L9\nM99\n" for i in range(1, 12)) + "O12\nX1\nM99\n"
    assert [f.code for f in faults(MAIN + "M98 P1\nM30\n" + deep)] == ["too-many-blocks"]
    found = meaning(MAIN + "M98 P1 L20000\nM30\nO1\nG91 X.001\nG90\nM99\n")
    assert found.moves.count == 20_001
    assert time.process_time() - began < 60  # not a timing: a hang


@given(
    bodies=st.lists(st.lists(st.integers(-9, 9), min_size=1, max_size=3), min_size=1, max_size=4),
    calls=st.lists(st.tuples(st.integers(0, 3), st.integers(1, 3)), max_size=6),
    window=st.integers(1, 9),
)
def test_a_program_with_calls_means_its_spelled_out_twin(bodies, calls, window):
    """Later subprograms are called from earlier ones, in pieces of any size."""
    inner = [("G91 " + " ".join(f"\nX{v} Y{v * i}" for v in body)).strip() for i, body in enumerate(bodies)]
    last = len(bodies) - 1
    chained = [
        f"O{i + 1}\n{text}\n" + (f"M98 P{i + 2} L2\n" if i < last else "") + "M99\n" for i, text in enumerate(inner)
    ]

    def spelled(i: int) -> str:
        return inner[i] + "\n" + (2 * spelled(i + 1) if i < last else "")

    picked = [(min(i, last), times) for i, times in calls]
    text = MAIN + "".join(f"M98 P{i + 1} L{times}\n" for i, times in picked) + "M30\n" + "".join(chained)
    size = interpreter.WINDOW
    try:
        interpreter.WINDOW = window
        found = meaning(text)
    finally:
        interpreter.WINDOW = size
    same(found, meaning(MAIN + "".join(spelled(i) * times for i, times in picked) + "M30\n"), tolerance=0.0)


class TestSwitches:
    """What the operator may switch: optional stops and block skip."""

    TEXT = MAIN + "X1 M01\n/X2 F0\n/3 X3\nX4\n"

    def test_usually_optional_stops_stop_and_marked_blocks_run(self):
        found = meaning(self.TEXT.replace(" F0", ""))
        assert lines(found) == [2, 4, 5, 6, 7]
        assert found.moves.stop.tolist()[1]
        assert "M01 stops as M00 does" in found.readings
        assert "blocks that begin with / are run" in found.readings

    def test_skipped_blocks_are_not_even_understood(self):
        found = switched(self.TEXT, skip=True)
        assert lines(found) == [2, 4, 7]
        assert "blocks that begin with / are skipped (--skip)" in found.readings

    def test_optional_stops_are_passed_over(self):
        found = switched(self.TEXT.replace(" F0", ""), stops=False)
        assert not found.moves.stop.tolist()[1]
        assert not found.events.value[found.events.letter == ord("M")].size
        assert "M01 does not stop (--no-stops)" in found.readings

    def test_a_skipped_end_does_not_end(self):
        assert lines(switched(MAIN + "/M30\nX4\nM30\n", skip=True)) == [2, 5]
