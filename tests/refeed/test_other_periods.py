"""Refed programs keep their limits at other control periods, as long as the tool does not stray between setpoints."""

import json
from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from hexpost.audit.model import LIMITS
from hexpost.cli import main
from hexpost.machine.load import demonstration_machine, load_setup, load_tools
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.refeed.lower import refeed
from hexpost.voice import advice

SAMPLES = Path(__file__).parents[2] / "samples"
FILES = ["--tools", str(SAMPLES / "tools.toml"), "--setup", str(SAMPLES / "setup.toml")]
DEVIATION = LIMITS.of("deviation")


def overdriven(source=None, period=None):
    machine = demonstration_machine()
    machine = machine if period is None else replace(machine, period=period)
    text = (SAMPLES / "overdriven.nc").read_bytes() if source is None else source
    tools, setup = load_tools(SAMPLES / "tools.toml"), load_setup(SAMPLES / "setup.toml")
    return understand(parse(text, "overdriven.nc"), machine, tools, setup)


@pytest.fixture(scope="module", params=[False, True], ids=["whole", "split"])
def refed(request):
    return refeed(overdriven(), split=request.param)


@pytest.mark.long
def test_a_refed_program_is_clean_between_the_periods_that_it_names(refed):
    """Periods drawn between the two, beside those that were tried: whole microseconds."""
    short, long = refed.periods
    assert short == pytest.approx(5e-5) and 2.5e-3 < long < 2.7e-3  # 14.3 % at 1 ms: 1 ms / sqrt(0.143) is 2.64 ms
    rng = np.random.default_rng(20)
    drawn = rng.uniform(np.log(2e-4), np.log(long), 4)
    for period in (*(np.exp(drawn).round(6)), 1e-3, 2e-3, long):
        found = examine(schedule(overdriven(refed.source, float(period)))).findings
        assert not found.count, period


def test_beyond_them_it_is_the_way_between_setpoints_that_breaks_and_the_advice_says_what_a_shorter_period_mends(refed):
    result = examine(schedule(overdriven(refed.source, 4e-3)))
    rows = [result.findings.row(i) for i in range(result.findings.count)]
    astray = [f for f in rows if f.limit is DEVIATION]
    assert astray
    for f in astray:
        share = sqrt(f.allowed / f.peak)
        said = float(advice(f).split("period_ms): ")[1].split(" %")[0]) / 100.0
        assert share - 2e-3 < said <= share
    worst = min(sqrt(f.allowed / f.peak) for f in astray)
    again = examine(schedule(overdriven(refed.source, np.floor(4e-3 * worst * 0.99e6) * 1e-6)))
    assert not [f for f in map(again.findings.row, range(again.findings.count)) if f.limit is DEVIATION]


def test_refed_at_a_long_period_it_is_clean_there(tmp_path):
    words = ["refeed", str(SAMPLES / "overdriven.nc"), "-o", str(tmp_path / "new.nc"), *FILES]
    (tmp_path / "m.toml").write_text(
        CliRunner().invoke(main, ["machine", "show", "--toml"]).output.replace("period_ms = 1", "period_ms = 4", 1)
    )
    done = CliRunner().invoke(main, [*words, "--machine", str(tmp_path / "m.toml"), "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)
    assert told["tried_at_periods_ms"][0] == 0.2
    lines = {row["old_line"]: row["feed"] for row in told["changed"]}
    assert lines[19] < 38_000 and lines[20] < 38_000  # the helices, for the way between setpoints 4 ms apart
    audit = ["audit", str(tmp_path / "new.nc"), *FILES, "--period-ms"]
    for period in ("4", "1", "0.05"):
        assert CliRunner().invoke(main, [*audit, period]).exit_code == 0


def test_the_period_is_worked_out_by_what_grows_with_it():
    assert [row.name for row in LIMITS if row.sampled] == ["deviation"]
