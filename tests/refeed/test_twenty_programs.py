"""Twenty programs that are fed too fast, beside the sample: one advice for each, and clean at any period once refed."""

import random
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from hexpost.advised import with_tried_feeds
from hexpost.audit.model import LIMITS, Law
from hexpost.machine.load import demonstration_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.refeed.lower import again, refeed

SAMPLES = Path(__file__).parents[2] / "samples"
PERIOD, PROGRAMS, FEW = 0.002, 21, (1, 2)
OTHERS = (0.0002, 0.001, 0.0031)
"""Control periods beside the one that feeds were found at, s."""
WHICH = [k if k in FEW else pytest.param(k, marks=pytest.mark.long) for k in range(PROGRAMS)]


def program(seed):
    """Return a program of lines that tilt, arcs and helices, fast, in millimetres or inch."""
    rng = random.Random(seed)
    unit, places = (25.4, 4) if rng.random() < 0.3 else (1.0, 2)

    def at(**values):
        return " ".join(f"{k}{v / (unit if k in 'XYZIJF' else 1.0):.{places}f}" for k, v in values.items())

    x, y, z, a = (rng.uniform(*r) for r in ((-200, -60), (-200, -60), (40, 90), (3, 8)))
    far = {"X": x + rng.uniform(90, 160), "Y": y + rng.uniform(90, 160), "Z": z + rng.uniform(100, 220)}
    feed = rng.choice([45000, 60000, 72000])
    out = [f"{'G20' if unit > 1 else 'G21'} G90 G17 G94 S900 M03", f"G00 {at(X=x, Y=y, Z=z)}"]
    out.append(f"G01 {at(**far, A=-a, B=-0.5 * a, C=a, F=feed)}")
    if seed % 3 == 1:
        out.append(f"G03 {at(I=rng.uniform(20, 60), J=0.0, Z=far['Z'] - rng.uniform(0, 30), F=feed)}")
    if seed % 3 == 2:
        out.append(f"{at(X=far['X'] - 40)} {at(A=a)}")
    out.append(f"G01 {at(X=x, Y=y, Z=z, A=a, B=0.5 * a, C=-a)}")
    return "\n".join([*out, "M30", ""])


@cache
def inputs_of(which):
    """Return the sample, or a program of the same kind."""
    machine = replace(demonstration_machine(), period=PERIOD)
    if which == 0:
        tools, setup = load_tools(SAMPLES / "tools.toml"), load_setup(SAMPLES / "setup.toml")
        return understand(parse((SAMPLES / "overdriven.nc").read_bytes(), "p.nc"), machine, tools, setup)
    return understand(parse(program(which).encode(), "p.nc"), machine, no_tools(), no_setup())


@cache
def refed(which):
    return refeed(inputs_of(which))


@pytest.mark.parametrize("which", WHICH)
def test_what_is_advised_is_what_is_written_and_both_clear_the_limits(which):
    inputs = inputs_of(which)
    job = schedule(inputs)
    found = with_tried_feeds(job, examine(job)).findings
    rows = [found.row(i) for i in range(found.count)]
    words = {f.line: f.f_word(f.feed) for f in rows if f.feed is not None}
    assert words and all(f.tried and f.room <= 1.4 for f in rows if f.feed is not None)
    assert {c.old_line: c.now for c in refed(which).changes} == pytest.approx(words)
    assert not refed(which).after.findings.count


@pytest.mark.parametrize("which", WHICH)
def test_once_refed_it_is_clean_at_other_periods(which):
    """The way between setpoints alone goes with the period, and its bound is told."""
    for period in OTHERS:
        inputs = inputs_of(which)
        other = replace(inputs, machine=replace(inputs.machine, period=period))
        found = examine(schedule(again(other, refed(which).source))).findings
        names = {LIMITS[k] for k in found.limit}
        astray = {row for row in LIMITS if row.law is Law.SQUARE} if period > refed(which).periods[1] else set()
        assert names <= astray, (which, period, [row.name for row in names])
