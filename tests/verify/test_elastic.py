"""A proof finds what commands add for struts that give way, by forces of its own: sound folders, bugs."""

import json
from pathlib import Path

import pytest
from machine.described import REST, STRUT, text
from verify.folders import copied, milder, proof, run, tried

from hexpost.kinematics.elastic import Springs
from hexpost.setpoints.elastic import Elastic

pytestmark = pytest.mark.usefixtures("untried")

PROGRAM = (
    "G21 G90 T1 M06\nG43 H1\nG00 X40 Y0 Z150\nG01 Z140 F3000\nG03 X40 Y0 I-40 J0\nG01 X60 Y20 A5 F2500\nA0 B4 F500\n"
    "G00 Z170\nX0\nM30\n"
)
ALL = '[compensation]\nsag = true\ninertia = true\ncutting = true\nscrews = true\nzero_at = "machine_zero"\n'
SAG = "[compensation]\nsag = true\n"
BARE = text("[strut.body]\nstiffness_n_um = 80\n", "\n" + SAG)
MACHINES = {"all": text(STRUT, REST + ALL), "sag": text(STRUT, REST + SAG), "bare": BARE}


def made(place, machine, *words):
    return tried(place, PROGRAM, *words, machine=machine)


@pytest.fixture(scope="module", params=list(MACHINES))
def job(request, tmp_path_factory):
    code, said, folder = made(tmp_path_factory.mktemp("sagging"), MACHINES[request.param])
    assert code == 0, said
    return folder


def test_a_job_is_proven_and_tells_what_is_left(job):
    code, said = run("verify", job)
    assert code == 0 and "commands, turns and counts belong to the lengths" in said, said
    (table,) = json.loads((job / "manifest.json").read_text())["tables"].values()
    assert table["drives_follow"] == [f"command_{k}_mm" for k in range(1, 7)]
    found = json.loads((job / "report.json").read_text())["sag"]
    assert found["compensated"] and found["after"]["mean_mm"] < 0.95 * found["before"]["mean_mm"]
    told = " ".join((job / "report.txt").read_text().split())
    assert "In feed moves lengths alone would take the tip off by at most" in told
    assert "How far struts give way" in (job / "report.html").read_text()


def test_what_is_all_made_up_for_is_said_so(job):
    whole = "inertia = true" in (job / "inputs" / "machine.toml").read_text()
    assert ("make up for all of that" in " ".join((job / "report.txt").read_text().split())) == whole


def test_a_milder_speed_is_named(job, tmp_path):
    folder = copied(job, tmp_path)
    milder(folder, "speed", 0.999, strut=2)
    assert proof(folder)[1]["limits"]


BUGS = {
    "the sign": (Springs, "shorter", lambda f: lambda self, *a: -f(self, *a)),
    "a percent": (Springs, "shorter", lambda f: lambda self, *a: 1.01 * f(self, *a)),
    "no pose of its own": (Elastic, "shorter", lambda f: lambda self, *a: f(self, *a) + self._home),
}


@pytest.mark.parametrize("bug", list(BUGS))
def test_a_bug_is_found_by_the_proof_of_convert(bug, tmp_path, monkeypatch):
    where, name, change = BUGS[bug]
    monkeypatch.setattr(where, name, change(getattr(where, name)))
    code, said, folder = made(tmp_path, MACHINES["sag"])
    assert code == 2 and "off what length and pose give" in said, said
    assert not Path(folder).exists()


def test_a_report_without_compensation_tells_the_sag_alone(tmp_path):
    code, said, folder = made(tmp_path, text(STRUT, REST + "[compensation]\nsag = false\n"))
    assert code == 0, said
    found = json.loads((folder / "report.json").read_text())["sag"]
    assert found["before"] == found["after"] and not found["compensated"]
    assert "sag = true lets them" in " ".join((folder / "report.txt").read_text().split())
