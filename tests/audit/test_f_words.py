"""Advised F words are in the units and the feed mode of their line: written there, they fix it."""

import re
from dataclasses import replace

import numpy as np
import pytest

from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.voice import advice, feed_word

PROGRAM = """G20 G90
G00 X0 Y0 Z12
N10 G01 X6 F1200
N15 A5. F20000
M03 S1000
N20 G95 G01 X0 F1.2
N30 G93 X3 F200
N40 G02 X3 Y0 I1 J0 F200
N50 G01 A-2. F900
N60 G94 X0 F1200
N70 G21 X80 F30000
M30
"""
UNITS = {3: "inch/min", 4: "deg/min", 6: "inch/rev", 7: "1/min", 8: "1/min", 9: "1/min", 10: "inch/min", 11: "mm/min"}


def slow():
    machine = demonstration_machine()
    return replace(machine, struts=tuple(replace(s, speed=60.0) for s in machine.struts))


def found(text, machine):
    inputs = understand(parse(text.encode(), "p.nc"), machine, no_tools(), no_setup())
    findings = examine(schedule(inputs)).findings
    return [findings.row(i, inputs.program) for i in range(findings.count)]


def test_the_f_words_that_are_advised_fix_every_line():
    """Advice looks at the worst sample alone, so that another one may be over the limit next: a few rounds."""
    rows, lines = found(PROGRAM, slow()), PROGRAM.split("\n")
    assert {f.line: f.f_unit for f in rows} == UNITS
    for _ in range(6):
        for line in {f.line for f in rows}:
            word = min(f.f_word(f.feed) for f in rows if f.line == line)
            lines[line - 1] = re.sub(r"F[\d.]+", f"F{word:.9g}", lines[line - 1])
        rows = found("\n".join(lines), slow())
    assert not rows


def test_an_inverse_time_word_is_the_feed_over_the_way_of_the_block():
    """A full circle of 1 inch radius: 2 pi 25.4 mm; a straight line of 3 inches."""
    for f in found(PROGRAM, slow()):
        for line, way in ((8, 2.0 * np.pi * 25.4), (7, 76.2), (9, 7.0)):
            if f.line == line:
                assert f.f_word(f.feed) == pytest.approx(f.feed / way, rel=1e-3) and f.f_word(f.feed) <= f.feed / way


def test_the_word_is_shown_with_its_unit_and_the_speed():
    rows = {f.line: f for f in reversed(found(PROGRAM, slow()))}
    f = rows[3]
    assert advice(f) == f"Write F{f.f_word(f.feed):g} (inch/min; {f.feed:g} mm/min). This F is not tried."
    assert feed_word(rows[11], 7300.0) == "F7300 (mm/min)"
    assert feed_word(replace(rows[11], needs_point=True), 7300.0) == "F7300. (mm/min)"
    assert feed_word(replace(rows[4], f_share=None), 420.0) == "an F of at most 420 deg/min"


def test_a_line_that_runs_in_inch_and_in_millimetres_has_no_word():
    text = "G20 G90\nG00 X0 Y0 Z12\nF1200 M98 P7\nG21\nF30000 M98 P7\nM30\nO7\nG91 G01 X3\nG90 X0\nM99\n"
    rows = [f for f in found(text, slow()) if f.line == 9]
    assert rows and all(f.feed is not None and f.f_word(f.feed) is None and not f.f_unit for f in rows)
