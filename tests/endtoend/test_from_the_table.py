"""From the written CSV alone, forward kinematics brings the tool back onto the programmed lines and arcs.

The forward solution here is this file's own (Gauss-Newton on rotation vectors with scipy's Rotation), and the geometry
of the program is written down by hand, so nothing is shared with what made the table.

The table holds lengths to 1e-6 mm, rounded: off by at most 0.5e-6 mm each. Six such errors move the tip by a factor
of the machine's (inverse Jacobian, about 2 to 4 here): 4e-6 mm is what the rounding allows.
"""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.spatial.transform import Rotation

from hexpost.cli import main

ROOT = Path(__file__).parent.parent.parent
MACHINE = tomllib.loads((ROOT / "hexpost/machine/demonstration.toml").read_text())
BASE = np.array([s["base_joint_mm"] for s in MACHINE["strut"]])
PLATFORM = np.array([s["platform_joint_mm"] for s in MACHINE["strut"]])
GAUGE = np.array(MACHINE["platform"]["gauge_point_mm"], dtype=float)
PALLET_Z = MACHINE["pallet"]["pose_mm_deg"][2]
TOOL_LENGTH = 120.0
ROUNDING = 4e-6

SETUP = "[offset.G54]\npose_mm_deg = [10, -20, 80, 0, 0, 30]\n"
TOOLS = "[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 10\n"
HEAD = "%\nO7 (TABLE CHECK)\nG21 G17 G90 G94 {mode}\nT1 M06\nG43 H1\nG00 X-60. Y-40. Z60.\nG01 Z20. F3000.\n"
# lines 8 ...: X-60 Y-40 Z20 is where they start
BODY = (
    "X40.\n"  # 8 a line
    "Y20. Z30.\n"  # 9 a line in three coordinates
    "G03 X20. Y40. I-20. J0.\n"  # 10 quarter arc about (20, 20)
    "G01 X-20.\n"  # 11 tangent line
    "G02 X-20. Y0. Z34. I0. J-20.\n"  # 12 half helix about (-20, 20), clockwise
    "G01 X-60. Y-40. Z20. A8. B-6.\n"  # 13 a line with tilt
    "A0. B5.\n"  # 14 a pure rotation: the tip stays
    "X-50. Y-30. B0.\n"  # 15
)
TAIL = "G53 G00 Z0.\nM30\n%\n"
LINE_GEOMETRY = {
    7: ((-60, -40, 60), (-60, -40, 20)),
    8: ((-60, -40, 20), (40, -40, 20)),
    9: ((40, -40, 20), (40, 20, 30)),
    11: ((20, 40, 30), (-20, 40, 30)),
    13: ((-20, 0, 34), (-60, -40, 20)),
    14: ((-60, -40, 20), (-60, -40, 20)),
    15: ((-60, -40, 20), (-50, -30, 20)),
}
ARC_GEOMETRY = {10: ((20, 20), 20, 30, 30), 12: ((-20, 20), 20, 30, 34)}


def convert(folder, mode, *options):
    """Convert the program and return the table (rows, 20), the report and the manifest."""
    for name, text in (("p.nc", HEAD.format(mode=mode) + BODY + TAIL), ("s.toml", SETUP), ("t.toml", TOOLS)):
        (folder / name).write_text(text)
    files = ["--setup", str(folder / "s.toml"), "--tools", str(folder / "t.toml"), "--out", str(folder / "job")]
    done = CliRunner().invoke(main, ["convert", str(folder / "p.nc"), *files, *options])
    assert done.exit_code == 0, done.output
    table = np.loadtxt(folder / "job" / "setpoints.csv", delimiter=",", skiprows=1)
    return table, json.loads((folder / "job" / "report.json").read_text())


def tool_tips(lengths):
    """Return tips (n, 3) in the work frame and tool axes (n, 3), by Gauss-Newton from each row's neighbour."""
    n = len(lengths)
    position = np.tile(np.array(MACHINE["machine_zero"]["pose_mm_deg"][:3], dtype=float) - GAUGE, (n, 1))
    turn = Rotation.identity(n)
    for _ in range(30):
        b = np.stack([turn.apply(p) for p in PLATFORM], axis=1)
        strut = position[:, None] + b - BASE
        length = np.linalg.norm(strut, axis=2)
        unit = strut / length[:, :, None]
        jacobian = np.concatenate([unit, np.cross(b, unit)], axis=2)
        step = np.linalg.solve(jacobian, (lengths - length)[:, :, None])[:, :, 0]
        position = position + step[:, :3]
        turn = Rotation.from_rotvec(step[:, 3:]) * turn
        if np.abs(step).max() < 1e-11:
            break
    else:
        pytest.fail("forward kinematics did not converge")
    work = Rotation.from_euler("z", 30, degrees=True)
    origin = np.array([10, -20, 80 + PALLET_Z], dtype=float)
    tip = position + turn.apply(GAUGE - [0, 0, TOOL_LENGTH])
    return work.inv().apply(tip - origin), (work.inv() * turn).apply([0.0, 0.0, 1.0])


def off_path(line, tip):
    """Return the distance of tips (n, 3) from the programmed line or arc of a program line."""
    if line in ARC_GEOMETRY:
        (cx, cy), r, z0, z1 = ARC_GEOMETRY[line]
        radial = np.hypot(tip[:, 0] - cx, tip[:, 1] - cy) - r
        angle = np.unwrap(np.arctan2(tip[:, 1] - cy, tip[:, 0] - cx))
        start = {10: 0.0, 12: np.pi / 2}[line]
        share = np.abs(angle - start) / {10: np.pi / 2, 12: np.pi}[line]
        return np.hypot(radial, tip[:, 2] - z0 - (z1 - z0) * share)
    a, b = (np.array(p, dtype=float) for p in LINE_GEOMETRY[line])
    d = b - a
    share = np.clip((tip - a) @ d / max(d @ d, 1e-30), 0, 1)
    return np.linalg.norm(tip - a - share[:, None] * d, axis=1)


@pytest.fixture(scope="module")
def exact_stop(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("exact"), "G61")


def test_exact_stop_every_setpoint_lies_on_the_programmed_path(exact_stop):
    table, _ = exact_stop
    tip, axis = tool_tips(table[:, 1:7])
    line = table[:, -1].astype(int)
    for k in (*LINE_GEOMETRY, *ARC_GEOMETRY):
        rows = line == k
        assert rows.sum() > 10, f"no setpoints of line {k}"
        assert off_path(k, tip[rows]).max() < ROUNDING, f"line {k}"
    for k, end in ((8, (40, -40, 20)), (10, (20, 40, 30)), (12, (-20, 0, 34)), (15, (-50, -30, 20))):
        last = np.flatnonzero(line == k)[-1]
        assert np.linalg.norm(tip[last] - end) < ROUNDING, f"end of line {k}"
    upright = np.flatnonzero(line == 8)[-1]
    assert np.abs(axis[upright] - [0, 0, 1]).max() < 1e-7
    # fixed axes A then B: the tool axis at A8 B-6 is Ry(-6) Rx(8) z
    tilted = np.flatnonzero(line == 13)[-1]
    assert np.abs(axis[tilted] - Rotation.from_euler("xy", [8, -6], degrees=True).apply([0, 0, 1])).max() < 1e-7


def test_pure_rotation_leaves_the_tip_still(exact_stop):
    table, _ = exact_stop
    tip, _ = tool_tips(table[table[:, -1] == 14][:, 1:7])
    assert np.linalg.norm(tip - [-60, -40, 20], axis=1).max() < ROUNDING


def test_continuous_mode_stays_within_the_corner_tolerance(tmp_path):
    table, _ = convert(tmp_path, "G64")
    tip, _ = tool_tips(table[:, 1:7])
    line = table[:, -1].astype(int)
    tolerance = MACHINE["tool_tip"]["corner_tolerance_mm"]
    order = sorted((*LINE_GEOMETRY, *ARC_GEOMETRY))
    for k in order:
        rows = line == k
        near = np.min([off_path(j, tip[rows]) for j in order if abs(j - k) <= 1], axis=0)
        assert near.max() < tolerance + ROUNDING, f"line {k}"


def test_columns_agree_with_each_other(exact_stop):
    """Euler-Maclaurin: l(t + h) - l(t) = h/2 (v0 + v1) - h2/12 (a1 - a0), up to h3 times jumps of jerk over 12."""
    table, report = exact_stop
    time, length, speed, acceleration = table[:, 0], table[:, 1:7], table[:, 7:13], table[:, 13:19]
    h = 1e-3
    assert np.array_equal(np.rint(np.diff(time) * 1e6), np.full(len(time) - 1, 1000))
    by_speed = h / 2 * (speed[1:] + speed[:-1]) - h * h / 12 * np.diff(acceleration, axis=0)
    jerk_jump = 2 * 700_000 * h**3 / 12
    assert np.abs(np.diff(length, axis=0) - by_speed).max() < jerk_jump + 3e-6
    by_acceleration = h / 2 * (acceleration[1:] + acceleration[:-1])
    assert np.abs(np.diff(speed, axis=0) - by_acceleration).max() < 2 * 700_000 * h * h / 8 + 3e-6
    assert report["rows"] == len(table)
    assert report["duration_s"] == pytest.approx(time[-1], abs=1e-9)


def test_job_begins_and_ends_at_rest(exact_stop):
    table, _ = exact_stop
    assert not table[[0, -1], 7:19].any()
    tip, _ = tool_tips(table[[0], 1:7])
    work = Rotation.from_euler("z", 30, degrees=True)
    gauge = work.apply(tip[0]) + np.array([10, -20, 80 + PALLET_Z + TOOL_LENGTH])
    assert np.abs(gauge - MACHINE["machine_zero"]["pose_mm_deg"][:3]).max() < ROUNDING
