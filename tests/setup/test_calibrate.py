"""``hexpost calibrate``: a new machine file, what is said of it, plans of poses, and what is refused."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.load import demonstration_machine, load_machine
from hexpost.setup.files import with_struts
from hexpost.setup.observe import nominal, rotations
from hexpost.setup.poses_in_reach import spread_poses
from hexpost.units import DEG_PER_RAD

SAMPLES = Path(__file__).parent.parent.parent / "samples"
MACHINE = demonstration_machine()
START = nominal(MACHINE)
RNG = np.random.default_rng(8)
REAL = START.moved(np.concatenate([RNG.normal(0, 0.3, 42), np.zeros(12)]))
LENGTHS = ",".join(f"length_{k}_mm" for k in range(1, 7))
FULL_HEAD = f"x_mm,y_mm,z_mm,a_deg,b_deg,c_deg,{LENGTHS}"


def rows(head, *columns):
    return head + "\n" + "".join(",".join(f"{x:.9f}" for x in row) + "\n" for row in np.vstack(columns).T)


def full(n, skip=0):
    q = spread_poses(MACHINE, 6 * (n + skip))[:, skip : skip + n]
    lengths = START.struts.lengths(q)
    q = REAL.poses(lengths, q)
    return np.vstack([q[:3], q[3:] * DEG_PER_RAD]), lengths


def run(tmp_path, text, *options):
    poses = tmp_path / "poses.csv"
    poses.write_text(text)
    words = ["calibrate", str(poses), "-o", str(tmp_path / "built.toml"), *options]
    done = CliRunner().invoke(main, words)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def test_the_machine_file_is_as_built(tmp_path):
    done = run(tmp_path, rows(FULL_HEAD, *full(14)), "--json")
    assert done.exit_code == 0, done.output
    machine = load_machine(tmp_path / "built.toml")
    assert [s.base_joint for s in machine.struts] == pytest.approx(REAL.base, abs=1e-5)
    assert [s.platform_joint for s in machine.struts] == pytest.approx(REAL.platform, abs=1e-5)
    said = json.loads(done.stdout)
    assert [x["found_mm"] for x in said["numbers"]] == pytest.approx(REAL.numbers, abs=1e-5)
    assert (said["rank"], said["rank_without_frames"], said["set_aside"]) == (42, 42, [])
    assert said["after_um"]["largest"] < 0.01 < 100 < said["before_um"]["largest"]
    assert said["held_back_um"]["largest"] < 0.01
    text = (tmp_path / "built.toml").read_text()
    assert "SHA-256" in text
    for k in range(6):
        assert f"strut {k + 1}: its length is the commanded one plus {REAL.offset[k]:.4f}"[:-2] in text
    for s, t in zip(machine.struts, MACHINE.struts, strict=True):
        assert (s.stroke, s.speed, s.acceleration, s.jerk) == (t.stroke, t.speed, t.acceleration, t.jerk)


def test_the_volumetric_error_before_is_what_the_nominal_geometry_costs(tmp_path):
    """Authority: the definition, with forward kinematics of the real machine at other poses, a band of 40 %."""
    said = json.loads(run(tmp_path, rows(FULL_HEAD, *full(14)), "--json").stdout)
    q = spread_poses(MACHINE, 300)
    there = REAL.poses(START.struts.lengths(q), q)
    tool = MACHINE.platform.gauge_point
    off = there[:3] - q[:3] + ((rotations(REAL, there) - rotations(START, q)) @ tool).T
    rms = np.sqrt((off**2).sum(axis=0).mean())
    assert said["volumetric"]["before_um"]["rms"] == pytest.approx(1e3 * rms, rel=0.4)


def test_positions_of_one_point_leave_the_turn_of_the_platform_frame_open(tmp_path):
    """Turning the platform frame about the only point measured changes nothing that is measured: 3 freedoms."""
    pose, lengths = full(24)
    done = run(tmp_path, rows(f"x_mm,y_mm,z_mm,{LENGTHS}", pose[:3], lengths), "--json")
    said = json.loads(done.stdout)
    assert (said["rank"], said["rank_possible"]) == (39, 39)
    assert said["after_um"]["largest"] < 0.1


def test_screws_take_the_offsets():
    toml = MACHINE.source.decode().replace("jerk_mm_s3 = 700000", "jerk_mm_s3 = 700000\n[strut.screw]\nlead_mm = 10")
    values = [{"base_joint_mm": f"[{k}, 0, 0]", "screw.zero_mm": f"{k}.5"} for k in range(6)]
    out = with_struts(toml.encode(), values, ["a note"])
    assert out.count("zero_mm = ") == 6
    assert "[strut.screw]\nzero_mm = 3.5\nlead_mm = 10" in out
    again = with_struts(out.encode(), [{"screw.zero_mm": "7"}] * 6, [])
    assert again.count("zero_mm = 7") == 6 and "zero_mm = 3.5" not in again


def test_a_sample_of_measured_poses(tmp_path):
    words = ["calibrate", str(SAMPLES / "measured_poses.csv"), "-o", str(tmp_path / "m.toml"), "--sigma-mm", "0.005",
             "--sigma-deg", "0.0005"]  # fmt: skip
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0
    assert "24 full poses, 24 kept: rank 42 of 42" in done.output
    assert "condition number" in done.output and "held back from the fit" in done.output


def test_a_wrong_pose_is_named(tmp_path):
    lines = (SAMPLES / "measured_poses.csv").read_text().splitlines()
    first = lines[5].split(",")
    first[0] = str(float(first[0]) + 0.8)
    lines[5] = ",".join(first)
    done = run(tmp_path, "\n".join(lines), "--sigma-mm", "0.005", "--sigma-deg", "0.0005", "--json")
    assert json.loads(done.stdout)["set_aside"] == ["line 6"]


def test_a_measuring_frame_that_is_not_known_is_told(tmp_path):
    """A measuring frame 2 mm off: frame and joints share that, but the joints as that frame sees them are exact."""
    pose, lengths = full(14)
    pose[0] -= 2.0
    done = run(tmp_path, rows(FULL_HEAD, pose, lengths), "--estimate", "measuring", "--json")
    said = json.loads(done.stdout)
    assert (said["rank"], said["rank_without_frames"], said["unknowns"]) == (42, 36, 48)
    assert said["after_um"]["largest"] < 0.01
    frame = np.array(said["base_from_measuring_mm_deg"])
    frame[3:] /= DEG_PER_RAD
    m = pose_matrix(frame, "ABC")
    base = np.array([[x["found_mm"] for x in said["numbers"]][7 * k : 7 * k + 3] for k in range(6)])
    assert (base - m[:3, 3]) @ m[:3, :3] == pytest.approx(REAL.base - [2, 0, 0], abs=1e-5)


def test_disagreement_beyond_all_uncertainty_is_said(tmp_path):
    pose, lengths = full(14)
    done = run(tmp_path, rows(FULL_HEAD, pose + RNG.normal(0, 0.5, pose.shape), lengths))
    assert done.exit_code in (0, 2)
    assert any(t in done.output for t in ("CAUTION", "do not fit", "from the drawing; at most 5 mm"))


POSE, LENGTH = full(14)
FLAT = spread_poses(MACHINE, 60)[:, :14] * np.array([1, 1, 1, 0, 0, 0])[:, None]
FLAT_LENGTHS = START.struts.lengths(FLAT)
REFUSALS = {
    "too few": (rows(FULL_HEAD, POSE[:, :6], LENGTH[:, :6]), "are too few for 42 unknowns; measure at least 7 full"),
    "repeated": (
        rows(FULL_HEAD, POSE[:, [*range(14), 3]], LENGTH[:, [*range(14), 3]]),
        "these are the lengths of line 5",
    ),
    "inches": (rows(FULL_HEAD, POSE, LENGTH / 25.4), "the lengths seem to be in inches"),
    "no strut": (rows(FULL_HEAD, POSE, LENGTH * 9), "far from the stroke"),
    "only upright": (rows(FULL_HEAD, FLAT, FLAT_LENGTHS), "spread positions and turns"),
    "no lengths": (rows("x_mm,y_mm,z_mm,a_deg,b_deg,c_deg", POSE), "no column length_1_mm"),
    "half a pose": (rows(f"x_mm,y_mm,z_mm,a_deg,{LENGTHS}", POSE[:4], LENGTH), "no column b_deg, c_deg"),
    "no uncertainty": (rows(f"{FULL_HEAD},sigma_mm", POSE, LENGTH, np.zeros(14)), "uncertainties must be above 0"),
    "struts swapped": (rows(FULL_HEAD, POSE, LENGTH[[1, 0, 2, 3, 4, 5]]), "hint:"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_refusals_say_why(name, tmp_path):
    text, words = REFUSALS[name]
    done = run(tmp_path, text)
    assert done.exit_code == 2, done.output
    assert words in done.output
    assert "internal fault" not in done.output
    assert not (tmp_path / "built.toml").exists()


def test_a_plan_of_poses(tmp_path):
    out = [tmp_path / "one.csv", tmp_path / "two.csv"]
    for path in out:
        done = CliRunner().invoke(main, ["calibrate", "--plan", "12", "-o", str(path), "--json"])
        assert done.exit_code == 0, done.output
    assert out[0].read_bytes() == out[1].read_bytes()
    said = json.loads(done.stdout)
    assert said["condition"] < 0.5 * said["usual_condition"]
    table = np.genfromtxt(out[0], delimiter=",", names=True)
    assert len(table) == 12
    lengths = np.stack([table[f"length_{k}_mm"] for k in range(1, 7)])
    for row, strut in zip(lengths, MACHINE.struts, strict=True):
        assert strut.stroke[0] < row.min() < row.max() < strut.stroke[1]
    pose = np.stack([table[n] for n in ("x_mm", "y_mm", "z_mm", "a_deg", "b_deg", "c_deg")])
    pose[3:] /= DEG_PER_RAD
    assert StrutModel(MACHINE).in_frame(np.eye(4), np.zeros(3)).lengths(pose) == pytest.approx(lengths, abs=1e-4)
