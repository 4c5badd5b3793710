"""Whatever number of processes a job is worked out on: the same bytes, the same findings, the same faults."""

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from machine.described import REST, STRUT, text
from workers.processes import alive, descendants, until

from hexpost.cli import main
from hexpost.cli.run import LONG_JOB, MOST_WORKERS, workers_of
from hexpost.convert import Output, convert, report_of
from hexpost.errors import OutputError
from hexpost.moves.model import Switches
from hexpost.pipeline import Files, load, schedule
from hexpost.refeed.compare import compared
from hexpost.report.both import both_page
from hexpost.setpoints import solve
from hexpost.setpoints.command import Commands
from hexpost.side_by_side import side_by_side
from hexpost.tables.quantise import Quantiser

pytestmark = pytest.mark.usefixtures("untried")

SAMPLES = Path(__file__).parent.parent.parent / "samples"
WORKERS = (1, 2, 7)
TURNING = """%
G21 G17 G90 G94 G54
G00 X0. Y0. Z120.
G01 C300. F20000
C-300.
G55 X10. Y5. Z130. C100.
M30
%
"""
"""Struts are twisted by more than half a turn on the way, there and back."""


@pytest.fixture(autouse=True)
def short_blocks(monkeypatch, forks):
    """Many blocks, so that every worker has some, and borders fall everywhere."""
    monkeypatch.setattr(solve, "BATCH", 700)


def job_of(tmp_path, program, described=True, file=None, **more):
    machine = tmp_path / "machine.toml"
    machine.write_text(file or text())
    if isinstance(program, str):
        (tmp_path / "p.nc").write_text(program)
        program = tmp_path / "p.nc"
    return schedule(load(Files(
        program=program, machine=machine if described else None, tools=SAMPLES / "tools.toml",
        setup=SAMPLES / "setup.toml", **more,
    )))  # fmt: skip


def written(folder):
    """Return the bytes of every file of a folder."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize(
    ("table", "columns", "each", "stride", "described"),
    [
        ("csv", (), 0, 7, True),
        ("csv", (), 1500, 0, False),
        ("npy", (), 1400, 0, True),
        ("parquet", ("time", "length", "line"), 0, 0, False),
    ],
)
def test_jobs_have_the_same_bytes(tmp_path, described, table, columns, each, stride):
    if table == "parquet":
        pytest.importorskip("pyarrow")
    job = job_of(tmp_path, SAMPLES / "limits.nc", described)
    found = []
    for workers in WORKERS:
        out = Output(folder=tmp_path / f"{workers}", table=table, columns=columns, rows_per_file=each, stride=stride)
        convert(job, out, workers=workers)
        found.append(written(out.folder))
    assert found[0] and all(other == found[0] for other in found)
    assert multiprocessing.active_children() == []


WHOLE = text(
    STRUT + "\n[strut.servo]\nposition_gain_1_s = 33\nbandwidth_hz = 60\n",
    REST + "\n[compensation]\nsag = true\ninertia = true\ncutting = true\nscrews = true\n",
).replace("deviation_mm", "contour_mm = 0.1\nvibration_mm = 0.02\ndeviation_mm")
"""A machine with everything that keeps something from batch to batch: lags, swings, sag, cutting forces, bands."""
PARTS = ("struts", "pose", "path", "time", "forecast", "sag", "shaking", "drives", "budget")
"""Parts of a page that such a machine has."""


def test_calmed_jobs_of_struts_that_give_way_and_lag_have_the_same_bytes(tmp_path):
    job = job_of(tmp_path, SAMPLES / "pocket.nc", file=WHOLE, switches=Switches(calm=True))
    columns, found = (
        ("time", "length", "speed", "acceleration", "jerk", "thrust", "command", "compensation", "line"),
        [],
    )
    for workers in (1, 2, 3, 7):
        out = Output(folder=tmp_path / f"{workers}", columns=columns, knots_within=1e-4)
        convert(job, out, workers=workers)
        found.append(written(out.folder))
    assert {"knots.csv", "manifest.json"} < set(found[0]) and all(other == found[0] for other in found)
    assert json.loads(found[0]["manifest.json"])["settings"]["calm_lowest"] is True
    assert [part for part in PARTS if f'<h2 id="{part}">' not in found[0]["report.html"].decode()] == []


def test_a_page_of_both_schedules_has_the_same_bytes(tmp_path):
    job = job_of(tmp_path, SAMPLES / "overdriven.nc", file=WHOLE)
    jobs = [job, schedule(job.inputs, "strut-limited")]
    pages = [
        both_page(side_by_side(*jobs, lambda job, see, n=workers: report_of(job, workers=n, see=see)))
        for workers in (1, 2, 3, 7)
    ]
    assert b"Along the path" in pages[0] and all(page == pages[0] for page in pages)


def test_the_other_ways_to_run_a_job_take_the_same_time(tmp_path):
    job = job_of(tmp_path, SAMPLES / "overdriven.nc", described=False)
    report = report_of(job)
    one, *others = (compared(job, report, workers=workers).cycle_times for workers in (1, 3))
    assert one.safe_share < 1.0
    assert others == [one]


def test_twists_that_go_on_over_borders_have_the_same_bytes(tmp_path, monkeypatch):
    job, found, turned = job_of(tmp_path, TURNING), [], []
    honest = Commands.join
    monkeypatch.setattr(Commands, "join", lambda *a: turned.append(honest(*a)) or turned[-1])
    whole = np.concatenate([s.command for s in job.setpoints()], axis=1)
    assert np.abs(np.diff(whole, axis=1)).max() < 2.0  # a turn that is missed is the lead of the screw, 20 mm
    assert any(turned) and not all(turned)
    for workers in WORKERS:
        convert(
            job, Output(folder=tmp_path / f"{workers}", proof=False), workers=workers
        )  # it turns through a singular pose
        found.append(written(tmp_path / f"{workers}"))
    assert all(other == found[0] for other in found)


def test_an_audit_says_the_same():
    words = ["audit", str(SAMPLES / "limits.nc"), "--machine", str(SAMPLES / "described.toml"), "--json"]
    first, *others = (CliRunner().invoke(main, [*words, "--jobs", str(n)]).stdout for n in WORKERS)
    assert json.loads(first)["findings_total"] > 0
    assert all(other == first for other in others)


@pytest.mark.parametrize("workers", WORKERS)
def test_a_fault_of_the_table_leaves_no_folder(tmp_path, monkeypatch, workers):
    job = job_of(tmp_path, SAMPLES / "pocket.nc", described=False)
    honest = Quantiser.rows

    def full(self, setpoints, first, end):
        if setpoints.poses.tick[first] >= 2100:
            setpoints.speed[0, first] = np.nan
        return honest(self, setpoints, first, end)

    monkeypatch.setattr(Quantiser, "rows", full)
    with pytest.raises(OutputError, match="speed of strut 1 in program line"):
        convert(job, Output(folder=tmp_path / "job"), workers=workers)
    assert not (tmp_path / "job").exists()
    assert multiprocessing.active_children() == []


def test_short_jobs_are_worked_out_alone(tmp_path, monkeypatch):
    job = job_of(tmp_path, SAMPLES / "pocket.nc", described=False)
    monkeypatch.setattr("hexpost.cli.run.cores", lambda: 5)
    assert job.timing.ticks < LONG_JOB
    assert workers_of(job, None) == 1 and workers_of(job, 3) == 3
    monkeypatch.setattr("hexpost.cli.run.LONG_JOB", 100)
    assert workers_of(job, None) == 5
    monkeypatch.setattr("hexpost.cli.run.cores", lambda: 100)
    assert workers_of(job, None) == MOST_WORKERS


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_job_that_is_stopped_takes_its_workers_along(tmp_path, number):
    program = tmp_path / "long.nc"
    program.write_text("G21 G90 G94\nG00 X0 Y0 Z300\nG01 F100\n" + "X100\nX0\n" * 40 + "M30\n")
    words = [sys.executable, "-m", "hexpost", "convert", str(program), "--out", str(tmp_path / "job"), "--jobs", "3"]
    running = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        workers = until(lambda: len(found := descendants(running.pid)) >= 3 and found, 60)
        time.sleep(0.5)
        os.kill(running.pid, number)
        out, err = running.communicate(timeout=60)  # ends only when nobody holds the streams
    finally:
        running.kill()
        running.communicate()
    assert running.returncode in (130, -number) and "Traceback" not in err, err
    assert out == ""
    assert until(lambda: not any(alive(pid) for pid in workers))
    if number != signal.SIGKILL:
        assert not (tmp_path / "job").exists()


def test_chains_of_a_program_are_smoothed_alike_on_any_number_of_workers(monkeypatch):
    """Each becomes the same curve wherever it is worked out, and takes its own place."""
    monkeypatch.setattr("hexpost.motion.MANY", 1)
    inputs = load(Files(
        program=SAMPLES / "blade_band.nc", tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup.toml"
    ))  # fmt: skip
    alone, *others = (schedule(inputs, workers=workers) for workers in WORKERS)
    assert alone.path.ends.curves > max(WORKERS)
    for other in others:
        for name in ("quintics", "size", "s0", "move"):
            assert np.array_equal(getattr(alone.path, name), getattr(other.path, name)), name
        assert np.array_equal(alone.timing.t, other.timing.t)
