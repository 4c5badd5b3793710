"""A proof finds errors of lagging struts by poles and forward kinematics: sound folders, milder reports, bugs."""

import json

import numpy as np
import pytest
from machine.described import REST, STRUT, text
from verify.folders import copied, left_out, milder, proof, run, tried

from hexpost.kinematics.servo import Lags
from hexpost.machine.load import machine_from
from hexpost.verify.contour import TipPath

pytestmark = pytest.mark.usefixtures("untried")

PROGRAM = (
    "G21 G90 T1 M06\nG43 H1\nG00 X40 Y0 Z150\nG01 Z140 F3000\nG03 X40 Y0 I-40 J0\nG01 X20 F1500\nY20 A5\n"
    "G00 Z170\nX0\nG01 Z140 F2000\nX10\nA5 B5 F500\nG00 Z150\nM30\n"
)
SERVO = "\n[strut.servo]\nposition_gain_1_s = 40\nspeed_feed_forward = 0.6\nbandwidth_hz = 70\ndamping = 0.8\n"


def machine(most):
    return text(STRUT + SERVO, REST).replace("deviation_mm =", f"contour_mm = {most}\ndeviation_mm =", 1)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    place = tmp_path_factory.mktemp("lagging")
    code, said, folder = tried(place, PROGRAM, machine=machine(0.1))
    assert code == 1, said
    return folder


def test_a_job_is_proven_and_tells_what_is_forecast(job):
    code, said = run("verify", job)
    assert code == 1 and "contour         lagging struts take the tip" in said, said
    found = json.loads((job / "report.json").read_text())["forecast"]
    assert found["across"]["worst_mm"] == found["worst_blocks"][0]["worst_mm"] > 0.1
    assert found["between_rows"]["cubics_mm"] < found["between_rows"]["straight_lines_mm"] < 0.01
    told = " ".join((job / "report.txt").read_text().split())
    assert "Across its path in feed moves the tip is off by at most" in told
    assert "position loops make of it" in (job / "report.html").read_text()


def test_a_milder_error_is_named(job, tmp_path):
    folder = copied(job, tmp_path)
    milder(folder, "contour", 0.9)
    assert "the tip is" in proof(folder)[1]["contour"][0]


def test_a_block_left_out_is_named(job, tmp_path):
    folder = copied(job, tmp_path)
    line = left_out(folder, "contour")
    assert proof(folder)[1]["contour"] == [f"contour: broken in line {line}, which the report does not say"]


def test_a_lag_that_is_worked_out_wrongly_is_found(tmp_path, monkeypatch):
    before = Lags.of
    monkeypatch.setattr(Lags, "of", lambda self, v, a: 0.9 * before(self, v, a))
    code, said, _ = tried(tmp_path, PROGRAM, machine=machine(2.0))
    assert code == 2 and "contour: the tip is" in said


def test_a_place_that_a_rapid_shares_is_no_sure_place_of_a_cut():
    """Down in a hole by feed and up again by a rapid: a tip beside both may be late on either."""
    looked = TipPath(machine_from(machine(0.1).encode(), "m.toml"), 1e-3)
    n = looked._kept + 1
    known = np.zeros((8, n))
    known[2] = 0.1 * np.abs(np.arange(n) - n // 2)
    tip, now, size = np.array([[0.1], [0.0], [3.0]]), np.array([n - 1]), np.array([0.1])
    for feeds, shared in ((np.arange(n) < n // 2, True), (np.arange(n) < n, False), (np.arange(n) < n - 20, False)):
        known[6] = feeds
        assert looked._beside_rapids(known, tip, now, size).tolist() == [shared]
