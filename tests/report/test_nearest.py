"""How near bodies come to each other is in every report, also where nothing is broken."""

import json
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from hexpost.cli import main

SAMPLES = Path(__file__).parent.parent.parent / "samples"
FILES = ["--machine", "described.toml", "--tools", "tools.toml", "--setup", "setup.toml"]


def test_a_clean_job_names_the_nearest_bodies_in_every_report(tmp_path, monkeypatch):
    monkeypatch.chdir(SAMPLES)
    job = tmp_path / "job"
    done = CliRunner().invoke(main, ["convert", "pocket.nc", *FILES, "--out", str(job)])
    report = json.loads((job / "report.json").read_text())
    near = report["nearest_bodies"]
    assert near and near == sorted(near, key=lambda row: row["distance_mm"]), done.output
    assert all(row["distance_mm"] < 2 * row["allowed_mm"] for row in near[1:])
    first = near[0]
    text = " ".join((job / "report.txt").read_text().split())
    said = f"clearance between {' and '.join(first['bodies'])}: "
    assert said in text and said in (job / "report.html").read_text()
    assert first["line"] >= 1 and np.isfinite(first["distance_mm"])
    shown = json.loads(CliRunner().invoke(main, ["audit", "pocket.nc", *FILES, "--json"]).stdout)
    assert shown["nearest_bodies"] == near


def test_a_machine_without_bodies_names_none():
    done = CliRunner().invoke(main, ["audit", str(SAMPLES / "pocket.nc"), "--json"])
    assert "nearest_bodies" not in json.loads(done.stdout)
