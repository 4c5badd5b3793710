"""Bands and error budget of a job on a calibrated machine: from measured poses to the report."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from machine.described import PLAIN
from verify.folders import run, tried

from hexpost.cli import main
from hexpost.errors import InputError
from hexpost.machine.load import machine_from
from hexpost.setup.files import with_table

pytestmark = pytest.mark.usefixtures("untried")

SAMPLES = Path(__file__).parent.parent.parent / "samples"
PROGRAM = "G21 G90 T1 M06\nG43 H1\nG00 X40 Y0 Z150\nG01 Z140 F3000\nG03 X40 Y0 I-40 J0\nG01 X20 A5\nG00 Z170\nM30\n"
SERVO = "\n[strut.servo]\nposition_gain_1_s = 40\n"


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    place = tmp_path_factory.mktemp("built")
    words = ["calibrate", str(SAMPLES / "measured_poses.csv"), "--sigma-mm", "0.005", "--sigma-deg", "0.0005"]
    done = CliRunner().invoke(main, [*words, "-o", str(place / "built.toml")])
    assert done.exit_code == 0, done.output
    return (place / "built.toml").read_text()


def test_the_covariance_is_in_the_machine_file(built):
    found = machine_from(built.encode(), "built.toml").calibration
    assert found.shape == (42, 42) and (found == found.T).all() and 0.0 < found.diagonal().max() < 0.1
    again = with_table(built, "calibration", ["covariance_um2 = [[1]]"])
    assert again.count("[calibration]") == 1
    with pytest.raises(InputError, match=r"calibration\.covariance_um2 is"):
        machine_from(again.encode(), "m.toml")
    twisted = built.replace("covariance_um2 = [\n  [", "covariance_um2 = [\n  [-", 1)
    with pytest.raises(InputError, match=r"calibration\.covariance_um2 is no covariance"):
        machine_from(twisted.encode(), "m.toml")


def test_a_report_has_bands_and_budget(built, tmp_path):
    code, said, folder = tried(tmp_path, PROGRAM, machine=built)
    assert code in (0, 1), said
    report = json.loads((folder / "report.json").read_text())
    band = report["uncertainty"]["geometry"]
    assert band["widest"] == band["worst_blocks"][0] and 0.0005 < band["mean_mm"] <= band["widest"]["worst_mm"] < 0.1
    budget = report["error_budget"]
    assert [x["cause"] for x in budget["causes"]] == ["geometry"]
    assert budget["together_mm"] == band["widest"]["worst_mm"] and budget["not_known"] == ["sag", "thermal", "servo"]
    text = " ".join((folder / "report.txt").read_text().split())
    assert "What limits accuracy here is geometry" in text and "Not known: servo." in text
    assert "Error budget" in (folder / "report.html").read_text()
    assert run("verify", folder)[0] == code


def test_causes_add_up_by_squares(built, tmp_path):
    lines = built.splitlines()
    at = [i for i, line in enumerate(lines) if line.startswith("jerk_mm_s3")][1:]
    for i in reversed(at):
        lines[i + 1 : i + 1] = SERVO.splitlines()
    code, said, folder = tried(tmp_path, PROGRAM, machine="\n".join(lines))
    assert code in (0, 1), said
    found = json.loads((folder / "report.json").read_text())["error_budget"]
    (_, a), (_, b) = ((x["cause"], x) for x in found["causes"])
    assert {x["cause"] for x in found["causes"]} == {"geometry", "servo"} and a["worst_mm"] >= b["worst_mm"]
    assert found["together_mm"] == pytest.approx((a["worst_mm"] ** 2 + b["worst_mm"] ** 2) ** 0.5, rel=1e-5)
    assert a["others_mm"] == pytest.approx(b["worst_mm"], rel=1e-4)


def test_a_plain_machine_has_no_budget():
    assert machine_from(PLAIN.encode(), "m.toml").calibration is None
