"""Tool length, offset and preset changed under a tilted tool: the tip does not go aside without a word."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import DEG, HEAD, MACHINE, TOOLS, meaning, offsets, platform, reading

from hexpost.kinematics.frames import rotation

SETUP = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[10, 20, 60, 0, 0, 30])
STAY, GO = MACHINE, reading(tilted_length="coordinates-stay")
TILTED = HEAD + "T2 M06\nG00 X0 Y0 Z200 A20 B10\n"


def shift(length: float, a: float, b: float) -> np.ndarray:
    """Return by how much the tip of a tool is from the gauge point (3,); rotations of ISO 841 about fixed axes."""
    return -length * rotation(a * DEG, b * DEG, 0.0, MACHINE.tilt_order)[:, 2]


def size(found) -> float:
    """Return the mm that the one remark of a program states."""
    (remark,) = found.remarks
    return float(remark.text.split(" mm")[0].rsplit(" ", 1)[1])


def gauge(found, move: int) -> np.ndarray:
    """Return the spindle gauge point at the end of a move, in the base frame."""
    m = found.moves
    return (platform(found, m.end[:, move], m.frame[move]) @ [*MACHINE.platform.gauge_point, 1])[:3]


def test_axes_that_are_not_named_stay_and_the_shift_is_remarked_with_its_size():
    found = meaning(TILTED + "G43 H2 Z50.\n", tools=TOOLS, setup=SETUP)
    before, after = gauge(found, 0), gauge(found, 1)
    aside = shift(102.0, 20, 10)[:2]
    assert after[:2] == pytest.approx(before[:2], abs=1e-9)  # no axis moves that is not named
    assert found.moves.end[:2, 1] == pytest.approx(aside, abs=1e-9)
    assert found.remarks[0].line == 4
    assert size(found) == pytest.approx(np.hypot(*aside), rel=1e-3)
    assert any("do not move" in r for r in found.readings)


def test_the_machine_file_may_say_that_coordinates_stay():
    found = meaning(TILTED + "G43 H2 Z50.\n", tools=TOOLS, setup=SETUP, machine=GO)
    assert found.moves.end[:3, 1] == pytest.approx([0, 0, 50], abs=1e-9)
    assert size(found) == pytest.approx(np.hypot(*shift(102.0, 20, 10)[:2]), rel=1e-3)
    assert any("go to the coordinates they had" in r for r in found.readings)


@pytest.mark.parametrize(
    "blocks",
    [
        "G43 H2 Z50",
        "G43 H2\nZ50",
        "G43 H2\nG04 X1\nM08\nG01 Z50 F100",
        "G43 H2 X3 Z50",
        "G43 H2 Y3 Z50",
        "G43 H2 G91 X3 Y3 Z3",
        "G43 H2 A5 Z50",
        "G53 Z0\nG43 H2 Z50",
        "G91 G28 Z0\nG90 G43 H2 Z50",
        "G43 H2 X0 Y0 Z50\nG49 Z100",
        "G43 H2 X0 Y0 Z50\nT3 M06\nG43 H3 Z90",
        "G43 H2 X0 Y0 Z50\nH3 Z90",
        "G44 H2 Z150",
        "G55 Z100",
        "G43 H2 G55 Z100",
        "G92 X5\nZ50",
        "G43 H2\nG92 Z300\nZ250",
        "M98 P1\nM30\nO1\nG43 H2 Z50\nM99",
        "G43 H2 F90 G01 Y20",
    ],
)
def test_every_such_change_is_remarked(blocks):
    for machine in (STAY, GO):
        found = meaning(TILTED + blocks + "\n", tools=TOOLS, setup=SETUP, machine=machine)
        assert len(found.remarks) == 1, blocks
        assert size(found) > 0.1


@pytest.mark.parametrize(
    "text",
    [
        TILTED + "G43 H2 X0 Y0 Z50\nZ40\n",
        TILTED + "A0 B0\nG43 H2 Z50\n",
        TILTED + "G43 H2\nA0 B0 X0 Y0 Z50\nZ40\n",
        TILTED + "Z40\nX5\nG53 Z0\nX5 Y5\n",
        HEAD + "T2 M06\nG43 H2\nG00 X0 Y0 Z200 A20 B10\nZ50\nG53 Z0\nZ50\n",
        HEAD + "T2 M06\nG00 X0 Y0 Z200\nG43 H2 Z50\nG55 Z40\nG92 X3\nZ30\n",
    ],
)
def test_what_goes_nowhere_is_not_remarked(text):
    assert meaning(text, tools=TOOLS, setup=SETUP).remarks == ()


@given(st.floats(-25, 25), st.floats(-25, 25), st.sampled_from(["X", "Y", "Z", "XY", "XZ", "YZ"]), st.booleans())
def test_the_size_is_that_of_the_axes_left_out(a, b, named, stay):
    """Whatever is named: by the rotation of the tool's length alone; and the tip is where the reading says."""
    text = HEAD + f"T2 M06\nG00 X1 Y2 Z200 A{a:.3f} B{b:.3f}\n"
    words = " ".join(f"{x}{10 * k}" for k, x in enumerate(named, 3))
    found = meaning(text + f"G43 H2 {words}\n", tools=TOOLS, setup=SETUP, machine=STAY if stay else GO)
    aside = shift(102.0, round(a, 3), round(b, 3))
    left = np.array([x not in named for x in "XYZ"])
    if np.linalg.norm(aside[left]) < 1e-3 or not (round(a, 3) or round(b, 3)):
        assert found.remarks == ()
    else:
        assert size(found) == pytest.approx(np.linalg.norm(aside[left]), rel=1e-3)
    if not (round(a, 3) or round(b, 3)):
        return
    was = np.array([1.0, 2.0, 200.0])
    expected = np.where(left, was + (aside if stay else 0.0), [10.0 * (3 + named.find(x)) for x in "XYZ"])
    assert found.moves.end[:3, -1] == pytest.approx(expected, abs=1e-9)


def test_changes_are_counted_and_the_first_line_is_named():
    found = meaning(TILTED + "G43 H2 Z50\nH3 Z40\nH1 Z30\n", tools=TOOLS, setup=SETUP)
    assert [(r.line, r.count) for r in found.remarks] == [(4, 3)]
