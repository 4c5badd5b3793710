"""Jobs for proving out: slower, higher, block by block; marked, and proven like any other."""

import itertools
import json
import re

import numpy as np
import pytest
from verify.folders import PROGRAM, convert, proof, run, sign


def told(job):
    return json.loads((job / "manifest.json").read_text()), json.loads((job / "report.json").read_text())


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("plain"))


def test_a_job_that_cuts_is_not_marked(plain):
    manifest, report = told(plain)
    assert not {"override_percent", "lift_mm", "single_block"} & set(manifest["settings"])
    assert not any("proving out" in w for w in report["warnings"])


def test_override_takes_longer_and_keeps_the_path(plain, tmp_path):
    job = convert(tmp_path, PROGRAM, "--override", "25")
    manifest, report = told(job)
    assert manifest["settings"]["override_percent"] == 25
    assert "25 %" in report["warnings"][0]
    assert report["duration_s"] > 2.0 * told(plain)[1]["duration_s"]
    assert proof(job) == (0, {})


def test_lift_moves_the_work_and_not_machine_coordinates(plain, tmp_path):
    job = convert(tmp_path, PROGRAM, "--lift", "30")
    assert told(job)[0]["settings"]["lift_mm"] == 30
    assert proof(job) == (0, {})
    a, b = (np.loadtxt(j / "setpoints.csv", delimiter=",", skiprows=1) for j in (plain, job))
    assert np.array_equal(a[0, 1:7], b[0, 1:7])
    assert np.array_equal(a[-1, 1:7], b[-1, 1:7])
    manifest = told(job)[0]
    del manifest["settings"]["lift_mm"]
    (job / "manifest.json").write_text(json.dumps(manifest))
    sign(job)
    code, faults = proof(job)
    assert code == 2
    assert "path" in faults


def test_single_block_rests_after_every_block(tmp_path):
    job = convert(tmp_path, PROGRAM, "--single-block")
    segments = json.loads((job / "segments.json").read_text())["segments"]
    table = np.loadtxt(job / "setpoints.csv", delimiter=",", skiprows=1)
    ends = [s["last_row"] for s in segments]
    assert not table[ends, 7:19].any()
    assert {8, 9, 10, 11, 12, 13, 14, 15} <= {s["waits_for"]["line"] for s in segments if s["waits_for"]}
    assert proof(job) == (0, {})


def test_two_waits_at_one_row_are_two_segments(tmp_path):
    program = PROGRAM.replace("X40.\n", "X40.\nM00\nM01\n", 1)
    job = convert(tmp_path, program)
    found = json.loads((job / "segments.json").read_text())
    first, again = next(p for p in itertools.pairwise(found["segments"]) if not p[1]["rows"])
    assert [s["waits_for"]["word"] for s in (first, again)] == ["M0", "M1"] and again["last_row"] == first["last_row"]
    assert again["lengths_before_mm"] == again["lengths_after_mm"] == first["lengths_after_mm"]
    assert proof(job) == (0, {})
    found["segments"].remove(again)
    for number, segment in enumerate(found["segments"], 1):
        segment["segment"] = number
    (job / "segments.json").write_text(json.dumps(found))
    sign(job)
    assert "segments" in proof(job)[1]


def test_no_report_speaks_of_line_0(tmp_path):
    """The way to a job that begins again is asked for by no line of the program."""
    job = convert(tmp_path, PROGRAM, "--from-line", "10")
    code, said = run("verify", job, "--without-remake")
    assert code == 0, said
    words = [said, *((job / name).read_text() for name in ("report.txt", "report.html"))]
    words.append(run("convert", tmp_path / "p.nc", "--from-line", "10", "--out", tmp_path / "again")[1])
    assert all("approach" in text for text in words[1:])
    assert not [m[0] for text in words for m in re.finditer(r"line 0\b|@0\b|#L0\b", text)]
    assert '"line": 0' not in (job / "report.json").read_text()
    code, said = run("convert", tmp_path / "p.nc", "--from-line", "10", "--out", tmp_path / "long", "--most-rows", "9")
    assert code == 2 and "takes longest" in said and not re.search(r"p\.nc:0\b", said)


def test_switches_are_told_and_proven(tmp_path):
    program = PROGRAM.replace("X40.\n", "/X10. Y10.\nX40.\nM01\n")
    job = convert(tmp_path, program, "--skip", "--no-stops")
    assert told(job)[0]["settings"]["skip"] is True
    assert proof(job) == (0, {})


def test_odd_amounts_are_refused(tmp_path):
    (tmp_path / "p.nc").write_text(PROGRAM)
    for option in ("--override", "0"), ("--override", "101"), ("--lift", "-1"):
        assert run("convert", tmp_path / "p.nc", *option, "--out", tmp_path / "job")[0] == 2
