"""Remarks on a program: a spindle at rest, cuts beside the pallet, no end."""

import numpy as np
import pytest

from hexpost.audit.program_remarks import program_remarks
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import audit_of, examine, parse, schedule, understand

MACHINE = demonstration_machine()
HEAD = "G21 G90 S900 G00 X0 Y0 Z100\n"


def remarks(text):
    inputs = understand(parse((HEAD + text).encode(), "part.nc"), MACHINE, no_tools(), no_setup())
    spindle = [x for x in audit_of(schedule(inputs)).finish().warnings if "spindle has" in x]
    return [*spindle, *program_remarks(inputs.program, inputs.meaning, MACHINE)]


def test_a_program_as_it_should_be_earns_none():
    assert remarks("S800 M03\nG01 X10 F500\nM05\nG00 X0\nM30\n") == []


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("G01 X10 F500 (OUT)\nM30\n", 2),
        ("M05\nG01 X10 F500\nM03\nX0\nM30\n", 3),
        ("M03\nG01 X10 F500 M05\nX0\nX5\nM30\n", 4),
        ("M03\nM19\nG00 X10\nG01 X20 F500\nM30\n", 5),
    ],
    ids=["never", "too-late", "stopped", "stopped-at-an-angle"],
)
def test_a_cut_with_the_spindle_at_rest_is_told_at_its_first_line(text, line):
    (said,) = remarks(text)
    block = (HEAD + text).split("\n")[line - 1]
    times = " (2 times in all)" if "X5" in text else ""
    assert said == f"Line {line} ({block}) cuts, and the spindle has not been started (M03 or M04, with S){times}."


@pytest.mark.parametrize("start", ["M03", "M04", "M13", "M14"])
def test_a_word_in_the_block_of_the_cut_is_early_enough(start):
    assert remarks(f"G01 X10 F500 {start}\nM30\n") == []


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("M03\nG01 X10 F500\nM30\n", 3),
        ("S0 M03\nG01 X10 F500\nM30\n", 3),
        ("M03 S0\nG01 X10 F500\nM30\n", 3),
        ("G01 X10 F500 M04\nM30\n", 2),
        ("S800 M03\nG01 X10 F500\nS0\nX5\nM30\n", 5),
        ("M03\nG01 X10 F500\nS800\nX5\nM30\n", 3),
        ("S800\nM03\nG01 X10 F500\nM30\n", None),
        ("M03\nS800\nG01 X10 F500\nM30\n", None),
        ("M03\nG01 X10 F500 S800\nM30\n", None),
        ("S0\nM13 S1\nG01 X10 F500\nM30\n", None),
    ],
)
def test_a_spindle_without_a_speed_is_at_rest(text, line):
    """M03 starts it at the last S; without one, or after S0, nothing turns (common practice, no source)."""
    text = "G21 G90 G00 X0 Y0 Z100\n" + text
    inputs = understand(parse(text.encode(), "part.nc"), MACHINE, no_tools(), no_setup())
    said = [x for x in audit_of(schedule(inputs)).finish().warnings if "spindle has" in x]
    assert [x.split(" (")[0] for x in said] == ([f"Line {line}"] if line else [])


def test_cuts_beyond_the_edge_are_told_once_with_the_farthest():
    edge = MACHINE.pallet.size[0] / 2
    said = remarks(f"M03\nG01 X{edge} F500\nX{edge + 2.5}\nX{edge + 7}\nX0\nG00 X{edge + 20}\nM30\n")
    assert len(said) == 1
    assert said[0].startswith(f"Line 4 (X{edge + 2.5}) cuts beyond the edge of the pallet, and cuts reach up to 7 mm")


def test_a_hundredth_of_a_millimetre_beyond_the_edge_is_beyond_it():
    edge = MACHINE.pallet.size[0] / 2
    assert not remarks(f"M03\nG01 X{edge} F500\nM30\n")
    (said,) = remarks(f"M03\nG01 X{edge + 0.01} F500\nM30\n")
    assert "0.01 mm beyond it" in said


def test_a_missing_end_is_told_and_m02_is_an_end():
    assert remarks("M03\nG01 X10 F500\n") == [
        "The program ends without M30 or M02: the end of the text is taken for it."
    ]
    assert remarks("M03\nG01 X10 F500\nM02\n") == []


def test_they_stand_among_the_warnings_of_an_audit():
    inputs = understand(parse((HEAD + "G01 X10 F500\n").encode(), "part.nc"), MACHINE, no_tools(), no_setup())
    result = examine(schedule(inputs))
    assert result.findings.count == 0
    assert any("spindle" in w for w in result.warnings)
    assert np.isfinite(result.duration)
