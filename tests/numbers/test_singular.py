"""Jobs that come within a hair of a singular pose, and go through it: told in findings, with numbers and no faults.

Turned about its axis by some 80 degrees a platform of this kind loses its hold: det J = 0. For symmetric plates in the
middle det J is proportional to the cosine of the turn (tests/kinematics/test_jacobian.py), so it is 90 degrees there.
"""

import json

import numpy as np
import pytest
from machine.described import described, text
from scipy.optimize import brentq
from verify.folders import convert, run

from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.jacobian import jacobian
from hexpost.kinematics.struts import StrutModel

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
    (tmp_path / "m.toml").write_text(text())
    program = f"%\nG21 G90 G94\nG00 X0. Y0. Z200.\nG01 C60. F9000\nC{end} F300\nC0. F9000\nM30\n%\n"
    folder = convert(tmp_path, program, "--machine", tmp_path / "m.toml", setup=NONE)
    report = json.loads((folder / "report.json").read_text(), parse_constant=pytest.fail)
    assert report["verdict"] == "broken"
    assert {"conditioning", "thrust"} <= {f["limit"] for f in report["findings"]}
    worst = report["tool"]["worst"]["conditioning"]
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
    (tmp_path / "m.toml").write_text(text())
    program = f"%\nG21 G90 G94\nG00 X0. Y0. Z200.\nG01 C60. F9000\nC{SINGULAR:.9f} F300\nC0. F9000\nM30\n%\n"
    folder = convert(tmp_path, program, "--machine", tmp_path / "m.toml", setup=NONE)
    code, output = run("verify", folder)
    assert code in (1, 2)
    assert "internal fault" not in output
    assert "conditioning" not in output.split("note")[-1]
