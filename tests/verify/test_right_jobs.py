"""Right jobs at the edges, which convert's own proof once refused: long periods, moves below the decimals."""

import random
from math import sin

import pytest
from attack.odd import odd_job
from verify.folders import convert

from hexpost.machine.load import DEMONSTRATION

HEAD = "G21 G17 G90 G94 {mode}\nT1 M06\nG43 H1 S1200 M03\nG00 X0. Y0. Z40.\n"
HOLES = HEAD + "G98 G81 X-16.1 Y-15.4 Z32. R38. F3000\nX-19.3 Y18.7\nG80\n"
CRUMBS = "G91 G01 X0.000000001 F600\nX0.000000001\nX0.000000001\nG90\nM30\n"
RIGHT = {
    "holes, a row every 50 ms": (HOLES + "G01 X-19.1 F2000\nM30\n", "50", {}),
    "crumbs behind a hole": (HOLES + "G04 P200\n" + CRUMBS, "4", {"corner_tolerance_mm": "1e-9"}),
    "crumbs, block by block": (HEAD + "G01 X9. F600\n" + CRUMBS, "3.333", {"--single-block": ""}),
    "a wave that stops before an arc": (
        HEAD + "".join(f"G01 X{0.19 * k:.4f} Z{40 + 0.4 * sin(0.3 * k):.4f} F2000\n" for k in range(1, 25))
        + "G04 P200\nG91 G02 I0.0001 Z-5. F600\nM30\n", "2", {"corner_tolerance_mm": "2", "--feed": "strut-limited"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", RIGHT)
def test_a_right_job_is_proven(tmp_path, what):
    program, period, more = RIGHT[what]
    text, options = DEMONSTRATION.read_text(), ["--period-ms", period]
    for name, value in more.items():
        if name.startswith("--"):
            options += [name, value] if value else [name]
        else:
            old = next(line for line in text.splitlines() if line.startswith(f"{name} ="))
            text = text.replace(old, f"{name} = {value}")
    convert(tmp_path, program.format(mode="G64"), *options, machine=text)


@pytest.mark.long
@pytest.mark.parametrize("seed", [7, 79, 123, 199, 244, 334, 357, 359, 427, 461, 512, 515])
def test_a_right_job_of_a_random_machine_is_proven(tmp_path, seed):
    """A circle within a row, tilt that counts as millions of mm, a turn back within a row, holes in few rows."""
    outcome = odd_job(random.Random(str(seed)), tmp_path)
    assert not outcome.refused and not outcome.lost and not outcome.wrong, outcome
