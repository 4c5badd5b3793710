"""Jobs that come within a hair of a singular pose, and go through it: told in findings, with numbers and no faults.

Turned about its axis by some 80 degrees a platform of this kind loses its hold: det J = 0. For symmetric plates in the
middle det J is proportional to the cosine of the turn (tests/kinematics/test_jacobian.py), so it is 90 degrees there.
"""

import json

import numpy as np
import pytest
from attack.jobs import SAMPLES, crossing
from machine.described import described, text
from sampled import sampled
from scipy.optimize import brentq
from verify.folders import convert, run

from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel, jacobian
from hexpost.machine.load import DEMONSTRATION
from hexpost.pipeline import Files, load, schedule
from hexpost.setup.yaw import free_yaw

pytestmark = pytest.mark.usefixtures("untried")

MACHINE = described()
NONE = "[offset.G54]\npose_mm_deg = [0, 0, 0, 0, 0, 0]\n"


def determinant(degrees):
    tip = MACHINE.platform.gauge_point
    struts = StrutModel(MACHINE).in_frame(pose_matrix(MACHINE.pallet.pose, MACHINE.tilt_order), tip)
    rows = jacobian(struts, np.array([[0, 0, 200.0, 0, 0, np.radians(degrees)]]).T)[0]
    return float(np.linalg.det(rows / [1, 1, 1, 300, 300, 300]))


SINGULAR = brentq(determinant, 60, 90, xtol=1e-13)


@pytest.mark.parametrize("end", [f"{SINGULAR:.9f}", f"{SINGULAR - 1e-6:.9f}", "89."], ids=["on", "beside", "through"])
def test_a_job_near_a_singular_pose_is_told_in_findings(end, tmp_path):
    program = f"%\nG21 G90 G94\nG00 X0. Y0. Z200.\nG01 C60. F9000\nC{end} F300\nC0. F9000\nM30\n%\n"
    folder = convert(tmp_path, program, "--no-proof", setup=NONE, machine=text())  # it is none
    report = json.loads((folder / "report.json").read_text(), parse_constant=pytest.fail)
    assert report["verdict"] == "broken"
    assert [p.name for p in folder.glob("setpoints*")] == ["setpoints.not-proven.not-runnable.csv"]
    assert "the lengths of the struts mean more than one pose" in (folder / "report.txt").read_text()
    assert {"singular-pose", "thrust"} <= {f["limit"] for f in report["findings"]}
    worst = report["tool"]["worst"]["singular-pose"]
    assert worst["value"] < 0.002
    assert max(s["worst"]["thrust"]["ratio"] or np.inf for s in report["struts"]) > 10.0
    rows = np.genfromtxt(next(folder.glob("setpoints*.csv")), delimiter=",", names=True)
    assert all(np.isfinite(rows[name]).all() for name in rows.dtype.names)
    base = np.array([s.base_joint for s in MACHINE.struts])
    at = pose_matrix(MACHINE.pallet.pose, MACHINE.tilt_order) @ pose_matrix(
        np.array([0, 0, 200, 0, 0, np.radians(float(end))]), MACHINE.tilt_order
    )
    joints = np.array([s.platform_joint for s in MACHINE.struts]) - MACHINE.platform.gauge_point
    wanted = np.linalg.norm(at[:3, 3] + joints @ at[:3, :3].T - base, axis=1)
    lengths = np.array([rows[f"length_{k}_mm"] for k in range(1, 7)])
    assert np.abs(lengths - wanted[:, None]).max(axis=0).min() < 1e-6


def test_a_proof_of_such_a_job_is_told_and_does_not_fall_over(tmp_path):
    program = f"%\nG21 G90 G94\nG00 X0. Y0. Z200.\nG01 C60. F9000\nC{SINGULAR:.9f} F300\nC0. F9000\nM30\n%\n"
    folder = convert(tmp_path, program, "--no-proof", setup=NONE, machine=text())  # it is none
    code, output = run("verify", folder)
    assert code in (1, 2)
    assert "internal fault" not in output
    assert "not found again" not in output


CALLED = "G21 G90 G17 G94\nT1 M06\nG43 H1\n"
THROUGH = [
    "G00 X0 Y0 Z150\nG01 C85 F1000\n",
    "G00 X0 Y0 Z150\nG01 C85 F60\n",
    "G00 X0 Y0 Z150 C60\nG01 C88 F2000\n",
    "G00 X0 Y0 Z150 C70\nG01 C80 F20000\n",
    "G00 X0 Y0 Z150\nG00 C85\n",
    "G00 X40 Y-30 Z120\nG93 G01 X-40 Y30 C83 F2\n",
    "G00 X0 Y0 Z150\nG01 C85 F1000\nC0\n",
    "G00 X0 Y0 Z200\nG01 A60. F600\n",
    "G00 X0 Y0 Z300\nG01 B68. F1200\n",
    "G00 X0 Y0 Z300\nG01 B-66. F60\n",
    "G00 X0 Y0 Z300\nG01 A58. B-12. F900\n",
    f"{CALLED}G00 X0 Y0 Z200\nG01 B-65. F60\n",
    f"{CALLED}G00 X0 Y0 Z200\nG01 B-63. F2000\n",
    f"{CALLED}G00 X0 Y0 Z200\nG01 X30 B-62. F300\n",
    f"{CALLED}G00 X0 Y0 Z100\nG01 A58. F400\n",
    f"{CALLED}G00 X0 Y0 Z200\nG01 A70. F4000\nA0\n",
    f"{CALLED}G00 X0 Y0 Z300\nG00 B-70.\nB0\n",
    f"{CALLED}G00 X0 Y0 Z200 A15.\nG01 C85. F900\n",
    f"{CALLED}G00 X-60 Y20 Z150\nG91 G01 C40 F1000\nC40\n",
    f"{CALLED}G00 X0 Y0 Z150\nG02 X0 Y0 I20 C85 F900\n",
]


@pytest.mark.parametrize(
    "way", sampled([(p, None) for p in THROUGH] + [(p, x) for p in THROUGH[::6] for x in (0.00005, 0.03)], 3)
)
def test_no_way_through_a_singular_pose_is_clean(way, tmp_path):
    """The determinant of a second set of rows, by elimination, changes its sign on these ways; all strokes are kept."""
    program, stated = way
    (tmp_path / "p.nc").write_text(f"%\nG21\n{program}M30\n%\n")
    (tmp_path / "m.toml").write_text(
        DEMONSTRATION.read_text() + (f"\n[health]\nconditioning = {stated}\n" if stated else "")
    )
    files = ("--machine", tmp_path / "m.toml", "--tools", SAMPLES / "tools.toml", "--period-ms", "4")
    code, output = run("audit", tmp_path / "p.nc", *files, "--json")
    findings = {f["limit"] for f in json.loads(output)["findings"]}
    job = schedule(load(Files(program=tmp_path / "p.nc", machine=tmp_path / "m.toml", tools=SAMPLES / "tools.toml")))
    assert crossing(job)
    assert code == 1
    assert "singular-pose" in findings
    assert "stroke" not in findings


def test_refeed_knows_that_no_feed_mends_it(tmp_path):
    (tmp_path / "p.nc").write_text(f"%\n{CALLED}G00 X0 Y0 Z200\nG01 B-63. F2000\nM30\n%\n")
    code, output = run("refeed", tmp_path / "p.nc", "-o", tmp_path / "q.nc", "--tools", SAMPLES / "tools.toml")
    assert code == 1
    assert "no limit is broken any more" not in output
    assert "singular-pose" in output


def test_the_gate_fails_it(tmp_path):
    (tmp_path / "p.nc").write_text("%\nG21 G90\nG00 X0 Y0 Z150\nG01 C85 F1000\nM30\n%\n")
    code, output = run("gate", tmp_path / "p.nc", "--serial", "--no-cache")
    assert code == 1
    assert "singular-pose" in output


def test_a_yaw_is_chosen_that_leads_past_it(tmp_path):
    """Tilted by 56 degrees the fixed yaw is singular; with the free yaw the job is clean, or is told to be broken."""
    (tmp_path / "p.nc").write_text(f"%\n{CALLED}G00 X0 Y0 Z200\nG01 A56. F2000\nA0\nM30\n%\n")
    files = ("--tools", SAMPLES / "tools.toml", "--period-ms", "4")
    assert run("audit", tmp_path / "p.nc", *files)[0] == 1
    for yaw in ("best", "follow"):
        code, output = run("audit", tmp_path / "p.nc", *files, "--yaw", yaw, "--json")
        names = {f["limit"] for f in json.loads(output[output.index("{") :])["findings"]}
        job = schedule(load(Files(program=tmp_path / "p.nc", tools=SAMPLES / "tools.toml"), 0.004))
        assert crossing(free_yaw(job, yaw).job) == ("singular-pose" in names)
        assert code == int(bool(names))


def test_a_job_that_stays_clear_is_not_refused():
    for name in ("contour", "pocket", "crown"):
        files = ("--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml")
        code, output = run("audit", SAMPLES / f"{name}.nc", *files, "--json")
        report = json.loads(output)
        assert code == 0
        assert "singular-pose" not in report["tool"]["worst"]
