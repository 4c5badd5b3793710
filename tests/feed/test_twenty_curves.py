"""Strut-limited is never slower than as programmed where that is clean: chains of arcs and helices, as programs."""

import random
from dataclasses import replace

import pytest

from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import examine, parse, schedule, understand

MACHINE = replace(demonstration_machine(), period=0.004)
HEAD = "G21 G90 G17 G94 G64 S900 M03\nG00 X0 Y0 Z120\n"


def arcs(count, radius, feed):
    """Return half circles to either side, one after the other."""
    out = [f"G0{2 + k % 2} X{2 * radius * (k + 1):.3f} I{radius:.3f} F{feed}" for k in range(count)]
    return HEAD + "\n".join(out) + "\nM30\n"


def helices(seed):
    """Return a few helices and arcs that follow each other, some with tilt."""
    rng, out, z = random.Random(seed), [], 120.0
    for _ in range(rng.choice([1, 2, 4])):
        z -= rng.uniform(0.5, 9)
        tilt = f" A{rng.uniform(-4, 4):.2f} B{rng.uniform(-4, 4):.2f}" if rng.random() < 0.4 else ""
        centre = f"I{rng.uniform(2, 40):.2f} J{rng.uniform(-5, 5):.2f}"
        out.append(f"G0{rng.choice('23')} Z{z:.2f}{tilt} {centre} F{rng.choice([900, 3000, 9000])}")
    return HEAD + "\n".join(out) + "\nM30\n"


CASES = {
    "300 arcs": arcs(300, 0.5, 6000),
    **{f"{n} arcs of {r} mm": arcs(n, r, f) for n, r, f in (
        (90, 0.2, 2000), (120, 0.5, 9000), (60, 1.0, 3000), (40, 2.0, 12000), (20, 4.0, 6000), (9, 9.0, 20000),
        (150, 0.3, 900), (2, 40.0, 9000),
    )},
    "helix": HEAD + "G02 Z60 I40 J0 F6000\nM30\n",
    **{f"helices {seed}": helices(seed) for seed in range(12)},
}  # fmt: skip


def test_there_are_twenty_beside_the_first_of_each_kind():
    assert len(CASES) == 22


@pytest.mark.parametrize("name", CASES)
def test_no_clean_curve_gets_slower(name):
    inputs = understand(parse(CASES[name].encode(), "p.nc"), MACHINE, no_tools(), no_setup())
    programmed = schedule(inputs)
    found = examine(programmed).findings
    assert {found.limits[k].name for k in found.limit} <= {"deviation"}  # which goes with the period
    assert schedule(inputs, "strut-limited").timing.ticks <= programmed.timing.ticks
