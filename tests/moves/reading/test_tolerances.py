"""P and Q beside G64: read where the machine rounds corners no wider than the program allows, without effect."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import MACHINE, faults, meaning, reading, same

from hexpost.machine.load import no_setup, no_tools
from hexpost.moves.reading.tolerances import TOO_SMALL
from hexpost.pipeline import schedule, understand
from hexpost.program.read import read

TOLERANCE = MACHINE.tool_tip.corner_tolerance
CUT = "G00 X0 Y0 Z80\nG01 X20 F900\nY10\nX0 Y3\nG00 Z90\n"
SAID = f"P beside G64: corners are rounded within {TOLERANCE:g} mm (machine file), no more than the program allows"
ALIKE = {
    "a corner": "G21 G90 G64 P0.02\n",
    "a corner and short lines": "G21 G90 G64 P0.05 Q0.02\n",
    "as much as the machine": "G21 G90\nG64 P0.01 Q0.01\n",
    "inch": "G20 G90 G64 P0.0005\nG21\n",
    "ahead of the units": "G64 P0.02\nG21 G90\n",
    "small letters": "g21 g90\ng64p.1\n",
    "again": "G21 G90 G64 P1\nG61\nG64 P0.02\n",
}
REFUSED = {
    "less than the machine": ("G21 G90 G64 P0.009\n", TOO_SMALL),
    "nothing": ("G21 G90 G64 P0\n", TOO_SMALL),
    "a sign": ("G21 G90 G64 P-1\n", TOO_SMALL),
    "less in inch": ("G20 G90 G64 P0.0003\nG21\n", TOO_SMALL),
    "short lines alone": ("G21 G90 G64 Q0.02\n", "word-out-of-place"),
    "short lines closer": ("G21 G90 G64 P0.02 Q0.001\n", TOO_SMALL),
    "in a block that moves": ("G21 G90 G64 P0.02 G00 X1\n", "word-out-of-place"),
    "turns of a helix": ("G21 G90 F9\nG64 P2 G02 I5 Z70\n", "word-out-of-place"),
    "a count": ("G21 G90 G64 P0.02 L2\n", "word-out-of-place"),
    "exact stops": ("G21 G90 G61 P0.02\n", "word-out-of-place"),
    "the other word": ("G21 G90 G62 P0.02\n", "word-out-of-place"),
}


def plain(head):
    """Return a head without its tolerances."""
    return re.sub(r"(?<=64) ?p[\d.]+( Q[\d.]+)?", "", head, flags=re.IGNORECASE)


@pytest.mark.parametrize("head", ALIKE)
def test_a_tolerance_that_the_machine_keeps_changes_nothing(head):
    text = ALIKE[head] + CUT
    one, other = meaning(text), meaning(plain(ALIKE[head]) + CUT)
    same(one, other)
    assert one.readings.count(SAID) == 1 and SAID not in other.readings


def test_both_have_the_same_setpoints():
    lengths = []
    for head in ("G21 G90 G64 P0.02\n", "G21 G90 G64\n"):
        program = read((head + CUT).encode(), "p.nc", [])
        job = schedule(understand(program, MACHINE, no_tools(), no_setup()))
        lengths.append(np.concatenate([batch.length for batch in job.setpoints(commands=False)], axis=1))
    assert np.array_equal(*lengths)


@pytest.mark.parametrize("head", REFUSED)
def test_what_it_does_not_keep_or_could_be_something_else_is_refused(head):
    text, code = REFUSED[head]
    assert {f.code for f in faults(text + CUT)} == {code}


def test_beside_a_dwell_and_a_call_it_is_theirs():
    assert SAID not in meaning("G21 G90 G64 G04 P500\n" + CUT).readings
    assert SAID not in meaning("G21 G90 G64 M98 P7\n" + CUT + "M30\nO7\nM99\n").readings


def test_numbers_with_an_implied_point_are_refused():
    machine = reading(numbers="implied", format_mm={})
    assert "word-out-of-place" in {f.code for f in faults("G21 G90 G64 P20\n" + CUT, machine=machine)}


@given(st.floats(1e-5, 10.0), st.booleans())
def test_the_border_is_the_tolerance_of_the_machine(asked, inch):
    asked = round(asked, 5)
    found = faults(f"{'G20' if inch else 'G21'} G90 G64 P{asked:.5f}\nG21\n{CUT}")
    assert bool(found) == (asked * (25.4 if inch else 1.0) < TOLERANCE * (1 - 1e-9))
