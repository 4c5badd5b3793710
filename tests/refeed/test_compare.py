"""Cycle times side by side: never less than without limits, and strut-limited beats one safe feed for all."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from refeed.test_refeed import SAMPLES, inputs_of

from hexpost.cli import main
from hexpost.convert import report_of
from hexpost.pipeline import schedule
from hexpost.refeed.compare import compared

SETUP = ["--setup", str(SAMPLES / "setup.toml"), "--tools", str(SAMPLES / "tools.toml")]


def raster(moves=1500, feed=12000):
    """Return a boustrophedon over a wavy surface with tilt."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
    from whole import raster as text

    return text(moves, feed)


@pytest.mark.long
def test_a_raster_runs_faster_strut_limited_than_at_any_one_safe_feed():
    inputs = inputs_of(raster(), speed=0.08, acceleration=0.3)
    struts = tuple(replace(s, jerk=s.jerk * 3) for s in inputs.machine.struts)
    job = schedule(replace(inputs, machine=replace(inputs.machine, struts=struts)))
    times = compared(job, report_of(job)).cycle_times
    assert times.safe_share is not None and times.safe_share < 1
    assert times.strut_limited < times.safe
    assert times.unlimited < times.strut_limited
    assert times.unlimited < times.as_programmed


def test_a_clean_program_needs_no_slower_feed():
    job = schedule(inputs_of("G21 G90\nG00 X0 Y0 Z300\nG01 X50 F1000\nM30\n"))
    times = compared(job, report_of(job)).cycle_times
    assert times.safe_share == 1.0
    assert times.safe == times.as_programmed


def test_the_command_shows_them_in_every_form():
    arguments = ["audit", str(SAMPLES / "limits.nc"), *SETUP, "--feed", "both"]
    screen = CliRunner().invoke(main, arguments).output
    assert "strut-limited" in screen and "one safe feed" in screen
    assert "Cycle times" in CliRunner().invoke(main, [*arguments, "--full"]).output
    times = json.loads(CliRunner().invoke(main, [*arguments, "--json"]).output)["cycle_times"]
    assert times["programmed_feed_without_limits_s"] < times["strut_limited_s"] < times["one_safe_feed_s"]


def test_a_strut_limited_job_that_is_planned_already_is_not_planned_again(monkeypatch):
    job = schedule(inputs_of("G21 G90\nG00 X0 Y0 Z300\nG01 X50 F1000\nM30\n"))
    report, limited = report_of(job), schedule(job.inputs, "strut-limited")
    expected = compared(job, report)
    monkeypatch.setattr("hexpost.refeed.compare.schedule", lambda *_: pytest.fail("planned again"))
    assert compared(job, report, limited=limited).cycle_times == expected.cycle_times
    assert expected.cycle_times.strut_limited == limited.timing.ticks * limited.timing.period
