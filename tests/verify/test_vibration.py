"""A proof finds how far the tip swings by a heap of point masses: sound folders, milder reports, bugs; calmer rests."""

import json

import pytest
from machine.described import REST, STRUT, text
from verify.folders import copied, left_out, milder, proof, run, tried

from hexpost.kinematics import vibration

PROGRAM = (
    "G21 G90 T1 M06\nG43 H1\nG00 X40 Y0 Z150\nG01 Z140 F3000\nG03 X40 Y0 I-40 J0\nG01 X20 F1500\nY20 A5\n"
    "G00 Z170\nX0\nG01 Z140 F2000\nX10\nA5 B5 F500\nG00 Z150\nM30\n"
)


def machine(most):
    return text(STRUT, REST).replace("deviation_mm =", f"vibration_mm = {most}\ndeviation_mm =", 1)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    place = tmp_path_factory.mktemp("swinging")
    code, said, folder = tried(place, PROGRAM, machine=machine(0.003))
    assert code == 1, said
    return folder


def told(folder):
    return json.loads((folder / "report.json").read_text())["natural_frequencies"]


def test_a_job_is_proven_and_tells_its_frequencies(job):
    code, said = run("verify", job)
    assert code == 1 and "vibration       the tip swings by" in said, said
    found = told(job)
    assert found["frequencies_hz"] == sorted(found["frequencies_hz"]) and 40.0 < found["frequencies_hz"][0] < 70.0
    assert found["swing"] == found["worst_rests"][0] and found["swing"]["swing_mm"] > 0.003
    assert "the tip swings by at most" in " ".join((job / "report.txt").read_text().split())
    assert "How the platform vibrates" in (job / "report.html").read_text()


@pytest.mark.parametrize("period", ["2", "4", "8"])
def test_periods_that_are_long_beside_the_modes_are_proven(tmp_path, period):
    """Rows tell less of a swing then: audit and proof take what is between them in ways of their own."""
    code, said, _ = tried(tmp_path, PROGRAM, "--period-ms", period, machine=machine(2.0))
    assert code in (0, 1), said


def test_a_milder_swing_and_a_block_left_out_are_named(job, tmp_path):
    folder = copied(job, tmp_path)
    milder(folder, "vibration", 0.9)
    assert "the tip swings by" in proof(folder)[1]["vibration"][0]
    folder = copied(job, tmp_path / "other")
    line = left_out(folder, "vibration")
    assert proof(folder)[1]["vibration"] == [f"vibration: broken in line {line}, which the report does not say"]


def test_a_swing_that_is_worked_out_wrongly_is_found(tmp_path, monkeypatch):
    before = vibration.swings
    monkeypatch.setattr(vibration, "swings", lambda *x: 0.9 * before(*x))
    code, said, _ = tried(tmp_path, PROGRAM, machine=machine(2.0))
    assert code == 2 and "vibration: the tip swings" in said


def test_averages_of_whole_periods_calm_the_rests(job, tmp_path):
    code, said, folder = tried(tmp_path, PROGRAM, "--calm-lowest", machine=machine(0.003))
    assert code in (0, 1), said
    found, plain = told(folder), told(job)
    calmed = found["calmed"]
    assert calmed["swing_before_mm"] == plain["swing"]["swing_mm"]
    assert calmed["swing_after_mm"] == found["swing"]["swing_mm"] < 0.5 * calmed["swing_before_mm"]
    before = json.loads((job / "report.json").read_text())["duration_s"]
    assert calmed["time_before_s"] == before < calmed["time_after_s"] < 1.05 * before
    assert json.loads((folder / "manifest.json").read_text())["settings"]["calm_lowest"] is True
    assert run("verify", folder)[0] == code


def test_calm_rests_need_the_stiffness(tmp_path):
    code, said, folder = tried(tmp_path, PROGRAM, "--calm-lowest")
    assert code == 2 and "--calm-lowest needs the stiffness of every strut" in said and not folder.exists()
