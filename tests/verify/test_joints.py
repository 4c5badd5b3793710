"""Joint angles proven again: sound folders, milder reports, and the angles against rotations put together by scipy."""

import json

import numpy as np
import pytest
from machine.described import STRUT, text
from scipy.spatial.transform import Rotation
from verify.folders import PROGRAM, convert, copied, left_out, milder, proof, run

from hexpost.machine.model import Universal
from hexpost.verify.joints import _share

pytestmark = pytest.mark.usefixtures("untried")

RANGES = "base_outer_deg = [-25, 30]\nbase_inner_deg = [-30, 25]\nplatform_outer_deg = [-50, 50]\n"
MACHINES = {
    "cones": STRUT,
    "ranges": STRUT.replace("base_cone_deg = 40\n", RANGES),
    "tight": STRUT.replace("base_cone_deg = 40", "base_cone_deg = 12"),
}


@pytest.fixture(scope="module", params=MACHINES)
def job(request, tmp_path_factory):
    place = tmp_path_factory.mktemp(request.param)
    return request.param, convert(place, PROGRAM, machine=text(MACHINES[request.param]))


def test_joints_are_found_again(job):
    name, folder = job
    code, output = run("verify", folder)
    assert code == (1 if name == "tight" else 0), output
    assert "joints          found again" in output
    assert "joint-angle" not in output.split("note")[-1]
    report = json.loads((folder / "report.json").read_text())
    assert any(f["limit"] == "joint-angle" for f in report["findings"]) == (name == "tight")


def test_a_milder_angle_is_named(job, tmp_path):
    folder = copied(job[1], tmp_path)
    milder(folder, "joint-angle", 0.999, strut=2)
    code, faults = proof(folder)
    assert code == 2
    assert [f.split(":")[0] for f in faults["joints"]] == ["joint-angle of strut 3"]


def test_a_finding_left_out_is_named(job, tmp_path):
    if job[0] != "tight":
        pytest.skip("nothing is broken")
    folder = copied(job[1], tmp_path)
    line = left_out(folder, "joint-angle")
    _, faults = proof(folder)
    assert any(f"broken in line {line}, which the report does not say" in f for f in faults["joints"])


def test_shares_equal_angles_put_together_by_scipy():
    rng = np.random.default_rng(4)
    for _ in range(20):
        frame = Rotation.random(random_state=rng).as_matrix()
        outer, inner = frame[0], frame[1]
        neutral = frame[2] * rng.choice([-1.0, 1.0])  # either side of both axes
        a, b = rng.uniform(-1.2, 1.2, (2, 50))
        about_inner = Rotation.from_rotvec(b[:, None] * inner)
        along = (Rotation.from_rotvec(a[:, None] * outer) * about_inner).apply(neutral)
        both = Universal(outer=outer, inner=inner, outer_range=(-0.8, 1.0), inner_range=(-0.9, 0.6))
        expected = np.maximum(np.abs(a - 0.1) / 0.9, np.abs(b + 0.15) / 0.75)
        for share in _share(both, neutral, along):
            assert share == pytest.approx(expected, rel=1e-9)
        cone = Universal(outer=outer, inner=inner, cone=0.7)
        swing = np.arccos(np.cos(a) * np.cos(b))
        chord, angle = _share(cone, neutral, along)
        assert chord == pytest.approx(np.sin(swing / 2) / np.sin(0.35), rel=1e-7)
        assert angle == pytest.approx(swing / 0.7, rel=1e-7)
