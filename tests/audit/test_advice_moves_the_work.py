"""How far and which way the work must move for a strut: held against lengths by arithmetic of its own, way by way."""

import json
import re

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.spatial.transform import Rotation

from hexpost.audit.strut_limits import round_up
from hexpost.cli import main
from hexpost.door import load_job
from hexpost.machine.load import DEMONSTRATION

TEXT = DEMONSTRATION.read_text().replace("period_ms = 1.0", "period_ms = 8.0")
TURNED = re.sub(r"(\[pallet\]\n(?:.*\n)*?pose_mm_deg = )\[.*?\]", r"\1[0, 0, 0, 2, -3, 25]", TEXT)
FAR = "G21 G90 G00 X0 Y0 Z60\nG01 X530 Y60 F9000\nX-530\nY-530 X0 Z250\nG00 X0 Y0\nG01 A14 Y-400 X250\nA0\nM30\n"
DEEP = "G21 G90 G00 X0 Y0 Z60\nG01 Z-330 F9000\nX90 Y-90\nG00 Z60\nM30\n"
HIGH = "G21 G90 G00 X0 Y0 Z60\nG01 Z900 F9000\nX90\nG00 Z60\nM30\n"
SETUP = "[offset.G54]\npose_mm_deg = [10, -20, 40, 3, 0, 30]\n"
WAYS = {f"{x}{s}": np.eye(3)[i] * (1 if s == "+" else -1) for i, x in enumerate("XYZ") for s in "+-"}


def matrix(pose):
    """Return a frame (4, 4) of x y z [mm] and a b c [rad], by scipy: A, then B, then C about fixed axes."""
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = Rotation.from_euler("xyz", pose[3:]).as_matrix(), pose[:3]
    return out


def length(machine, frame, pose, strut, move):
    """Return the length of a strut with the work moved by ``move`` (3,) in the axes of the pallet: |t + R b - a|."""
    pallet = matrix(machine.pallet.pose)
    place = frame.base_from_work @ matrix(pose)
    place[:3, 3] += pallet[:3, :3] @ move
    own = machine.struts[strut - 1]
    return np.linalg.norm(place[:3, 3] + place[:3, :3] @ (own.platform_joint - frame.tip) - own.base_joint)


def worst_pose(samples, line, strut, sign):
    """Return the pose, and its frame, at which a strut is longest (``sign`` -1: shortest) in a line."""
    best = []
    for batch, frame in samples:
        here = np.flatnonzero(batch.poses.line == line)
        if here.size:
            size = sign * batch.length[strut - 1, here]
            best.append((size.max(), batch.poses.pose[:, here[size.argmax()]], frame))
    return max(best, key=lambda x: x[0])[1:]


@pytest.mark.parametrize("machine", [TEXT, TURNED], ids=["straight", "turned pallet"])
@pytest.mark.parametrize("program", [FAR, DEEP, HIGH], ids=["far", "deep", "high"])
def test_the_move_that_is_told_is_the_least_that_does_it(program, machine, tmp_path):
    for name, text in (("part.nc", program), ("m.toml", machine), ("s.toml", SETUP)):
        (tmp_path / name).write_text(text)
    job = load_job(tmp_path / "part.nc", machine=tmp_path / "m.toml", setup=tmp_path / "s.toml")
    samples = [(b, f) for b in job.setpoints() for f in [job.inputs.meaning.moves.frames[b.poses.frame]]]
    done = CliRunner().invoke(
        main,
        ["audit", f"{tmp_path}/part.nc", "--machine", f"{tmp_path}/m.toml", "--setup", f"{tmp_path}/s.toml", "--json"],
    )
    found = [f for f in json.loads(done.output)["findings"] if f["limit"] == "stroke"]
    assert found and done.exit_code == 1
    for f in found:
        k = f["strut"]
        low, high = job.inputs.machine.struts[k - 1].stroke
        sign = 1 if f["allowed"] == high else -1
        pose, frame = worst_pose(samples, f["line"], k, sign)
        inside = lambda move: low <= length(job.inputs.machine, frame, pose, k, move) <= high  # noqa: B023, E731
        assert abs(length(job.inputs.machine, frame, pose, k, np.zeros(3)) - f["peak"]) < 1e-2
        far, way = f["advice_move_mm"], WAYS[f["advice_move_way"]]
        assert inside(far * way) and not inside(0.98 * far * way)
        for other in WAYS.values():  # no way along an axis is shorter
            assert not any(inside(h * other) for h in np.linspace(0.0, 0.98 * far, 25))
        assert f"at least {far:.12g} mm" in f["advice"] and f["advice_move_way"] in f["advice"]


def test_a_setup_moved_so_far_keeps_the_strut_at_its_worst(tmp_path):
    (tmp_path / "part.nc").write_text("G21 G90 G00 X0 Y0 Z60\nG01 Z-430 F9000\nG00 Z60\nM30\n")
    (tmp_path / "m.toml").write_text(TEXT)
    (tmp_path / "s.toml").write_text("[offset.G54]\npose_mm_deg = [0, 0, 0, 0, 0, 0]\n")
    words = ["audit", f"{tmp_path}/part.nc", "--machine", f"{tmp_path}/m.toml", "--setup", f"{tmp_path}/s.toml"]
    said = json.loads(CliRunner().invoke(main, [*words, "--json"]).output)
    found = [f for f in said["findings"] if f["limit"] == "stroke"]
    assert {f["advice_move_way"] for f in found} == {"Z+"}
    most = max(f["advice_move_mm"] for f in found)
    assert f"move the work at least {most:g} mm higher (Z+)" in " ".join(CliRunner().invoke(main, words).output.split())
    for share, clean in ((1.0, True), (0.98, False)):
        (tmp_path / "s.toml").write_text(f"[offset.G54]\npose_mm_deg = [0, 0, {share * most}, 0, 0, 0]\n")
        again = json.loads(CliRunner().invoke(main, [*words, "--json"]).output)
        assert (not [f for f in again["findings"] if f["limit"] == "stroke"]) == clean


def test_machine_coordinates_are_no_matter_of_the_work(tmp_path):
    (tmp_path / "part.nc").write_text("G21 G90 G00 X0 Y0 Z60\nG53 G00 X700\nM30\n")
    said = json.loads(CliRunner().invoke(main, ["audit", f"{tmp_path}/part.nc", "--json"]).output)
    found = [f for f in said["findings"] if f["limit"] == "stroke" and f["line"] == 2]
    assert found and all(f["advice_move_mm"] is f["advice_move_way"] is None for f in found)
    assert all("machine coordinates" in f["advice"] and "Move the work" not in f["advice"] for f in found)


def test_a_distance_is_rounded_up():
    far = np.array([12.3401, 0.0123401, 0.0000123, 123.401, 999.9, 1e-9, 0.0, 5.0])
    up = round_up(far)
    assert up[:6] == pytest.approx([12.4, 0.013, 0.001, 124, 1000, 0.001])
    assert (up[:6] >= far[:6]).all() and up[6:].tolist() == [0.0, 5.0]
