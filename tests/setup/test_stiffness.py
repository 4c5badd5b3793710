"""Stiffness from measured poses: a machine of springs in mujoco, built otherwise than its drawing, is found again."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.spatial.transform import Rotation
from verify.folders import tried

from hexpost.cli import main
from hexpost.machine.load import load_machine
from hexpost.setup.files import with_table
from hexpost.setup.identify import Frames, identify
from hexpost.setup.measured import Noise, read_measured
from hexpost.setup.observe import nominal

DESCRIBED = Path(__file__).parent.parent.parent / "samples" / "described.toml"
FILE = tomllib.loads(DESCRIBED.read_text())
HOME = np.array(FILE["reference"]["pose_mm_deg"])
RNG = np.random.default_rng(20)
BASE, PLATFORM = (np.array([s[f"{end}_joint_mm"] for s in FILE["strut"]]) for end in ("base", "platform"))
REAL_BASE, REAL_PLATFORM = BASE + RNG.normal(0, 0.2, (6, 3)), PLATFORM + RNG.normal(0, 0.2, (6, 3))
OFFSET, STIFFNESS = RNG.normal(0, 0.2, 6), 150.0 * RNG.uniform(0.7, 1.3, 6)
LOAD = (400.0, 50.0, -30.0, -300.0)
PLACE = "[offset.G54]\npose_mm_deg = [0, 0, 0, 0, 0, 0]\n"
BAND = "G21 G90 T1 M06\nG43 H1\nG00 X40 Y0 Z150\nG01 X41 F5\nM30\n"
HEAD = "length_1_mm,length_2_mm,length_3_mm,length_4_mm,length_5_mm,length_6_mm"


def turn(pose):
    return Rotation.from_euler("xyz", pose[3:], degrees=True).as_matrix()


def sprung(load=0.0):
    """Return the machine as it is, with a weight in kg on its platform."""
    pytest.importorskip("mujoco", reason="the machine of springs is mujoco's")
    from machine.sprung import Sprung

    mass = 720.0 + load
    centre = (720.0 * np.array(FILE["platform"]["centre_of_mass_mm"]) + load * np.array(LOAD[1:])) / mass
    return Sprung(REAL_BASE, REAL_PLATFORM, STIFFNESS, mass=mass, centre=centre, inertia=np.diag([62.0, 64.0, 78.0]),
                  ends=[15.0] * 6)  # fmt: skip


@pytest.fixture(scope="module")
def poses():
    """Return where the machine comes to rest (n, 6) [mm, deg] at lengths (n, 6), without and with a weight (n,)."""
    rng = np.random.default_rng(4)
    asked = rng.uniform(-1.0, 1.0, (40, 6)) * [220, 220, 120, 18, 18, 18] + HOME
    found, lengths, loads = [], [], np.where(np.arange(40) % 2, LOAD[0], 0.0)
    homed = sprung()
    free, there = homed.unloaded(HOME[:3], turn(HOME))
    for pose, load in zip(asked, loads, strict=True):
        real = sprung(load)
        length = np.linalg.norm(pose[:3] + PLATFORM @ turn(pose).T - BASE, axis=1)
        real.put(pose[:3], turn(pose))
        origin, rotation = real.settle(length + OFFSET + free - there)
        found.append([*origin, *Rotation.from_matrix(rotation).as_euler("xyz", degrees=True)])
        lengths.append(length)
    return np.array(found), np.array(lengths), loads


def table(poses, noise, seed=1):
    found, lengths, loads = poses
    rng = np.random.default_rng(seed)
    found = found + noise * rng.normal(size=found.shape) * [1, 1, 1, 0.1, 0.1, 0.1]
    load = np.outer(loads > 0.0, LOAD)
    head = f"x_mm,y_mm,z_mm,a_deg,b_deg,c_deg,{HEAD},load_kg,load_x_mm,load_y_mm,load_z_mm\n"
    rows = np.hstack([found, lengths, load])
    return head + "".join(",".join(f"{x:.9f}" for x in row) + "\n" for row in rows)


def run(tmp_path, text, *options):
    (tmp_path / "poses.csv").write_text(text)
    words = ["calibrate", str(tmp_path / "poses.csv"), "--machine", str(DESCRIBED), "-o", str(tmp_path / "built.toml")]
    return CliRunner().invoke(main, [*words, "--json", *options])


def test_the_springs_of_mujoco_are_found_with_the_geometry(tmp_path, poses):
    done = run(tmp_path, table(poses, 0.0), "--stiffness")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert (said["rank"], said["unknowns"], said["rank_without_frames"]) == (48, 48, 48)
    assert [x["found_n_um"] for x in said["stiffness"]] == pytest.approx(STIFFNESS, rel=1e-4)
    built = load_machine(tmp_path / "built.toml")
    assert [s.body.stiffness for s in built.struts] == pytest.approx(STIFFNESS * 1e3, rel=1e-4)
    assert np.array([s.base_joint for s in built.struts]) == pytest.approx(REAL_BASE, abs=2e-3)
    assert np.array([s.screw.zero for s in built.struts]) - 900.0 == pytest.approx(OFFSET, abs=2e-3)
    assert said["after_um"]["largest"] < 0.1 < 5.0 < said["rigid_um"]["rms"] < said["before_um"]["rms"]
    shares = said["explained_share"]
    assert sum(shares.values()) == pytest.approx(1.0) and shares["geometry"] > 0.9 and shares["left"] < 1e-7
    ratio = said["rigid_um"]["rms"] ** 2 / said["before_um"]["rms"] ** 2
    assert shares["elasticity"] == pytest.approx(ratio, rel=1e-3)


def test_the_sag_is_that_of_mujoco(tmp_path, poses):
    """The gauge point in the measured poses, against where it is with struts as long as if nothing gave way."""
    said = json.loads(run(tmp_path, table(poses, 0.0), "--stiffness").stdout)
    weightless = sprung()
    weightless.model.opt.gravity[:] = 0.0
    off = []
    for pose, length in zip(*poses[:2], strict=True):
        weightless.put(pose[:3], turn(pose))
        origin, rotation = weightless.settle(length + OFFSET)
        gauge = np.array(FILE["platform"]["gauge_point_mm"])
        off.append(np.linalg.norm(origin - pose[:3] + (rotation - turn(pose)) @ gauge) * 1e3)
    assert said["sag_um"]["rms"] == pytest.approx(np.sqrt(np.mean(np.square(off))), rel=0.01)
    assert said["sag_um"]["largest"] == pytest.approx(max(off), rel=0.01)


def test_stated_uncertainties_cover_what_is_found(tmp_path, poses):
    """The definition of a 95 % interval: over 200 seeds of noise, 93 to 97 % of 1200 compliances are within theirs."""
    machine = load_machine(DESCRIBED)
    (tmp_path / "poses.csv").write_text(table(poses, 0.0))
    exact, _ = read_measured(tmp_path / "poses.csv", machine, Noise(place=0.002, turn=np.deg2rad(0.0002)))
    exact, n = exact.at(np.arange(20)), 20
    start, guess = nominal(machine, elastic=True), poses[0][:n].T * np.r_[1, 1, 1, [np.pi / 180] * 3][:, None]
    known = identify(start, exact, guess, Frames(stiffness=True))
    within = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        turned = Rotation.from_rotvec(np.deg2rad(0.0002) * rng.normal(size=(n, 3))).as_matrix() @ exact.turned
        noisy = replace(exact, place=exact.place + 0.002 * rng.normal(size=(n, 3)), turned=turned)
        found = identify(known.built, noisy, known.pose, Frames(stiffness=True), robust=False)
        off = found.built.carried.springs.fixed[:, 0] - 1e-3 / STIFFNESS
        within.append(np.abs(off) < 1.96 * np.sqrt(np.diag(found.covariance)[42:]))
    assert 0.93 < np.mean(within) < 0.97


def test_the_bands_of_a_job_hold_what_is_not_known_of_the_stiffness(tmp_path, poses, untried):
    """Of compliances known 100 times worse than they are, with nothing else unknown, the band is by hand.

    It is that of J^-1 diag(f - f0) dc: f the thrusts of the sample, f0 those of the reference pose, by the wrench.
    """
    done = run(tmp_path, table(poses, 0.002), "--stiffness")
    assert done.exit_code == 0, done.output
    built = (tmp_path / "built.toml").read_text()
    found = load_machine(tmp_path / "built.toml").calibration
    assert found.shape == (48, 48)
    told = [x["uncertainty_n_um"] / x["found_n_um"] ** 2 for x in json.loads(done.stdout)["stiffness"]]
    assert np.sqrt(found.diagonal()[42:]) * 1e3 == pytest.approx(told, rel=1e-4)
    rows = [", ".join(["0"] * k + ["25" if k >= 42 else "0"]) for k in range(48)]  # 5 um under 1 kN, each by itself
    alone = with_table(built, "calibration", ["covariance_um2 = [", *(f"[{row}]," for row in rows), "]"])
    band = {}
    for name, text in (("both", built), ("alone", alone), ("rigid", alone)):
        (tmp_path / name).mkdir()
        asked = "" if name == "rigid" else "[compensation]\nsag = true\n"
        code, said, folder = tried(tmp_path / name, BAND, machine=text + asked, setup=PLACE)
        assert code in (0, 1), said
        band[name] = json.loads((folder / "report.json").read_text())["uncertainty"]["geometry"]["mean_mm"]
    assert band["rigid"] == 0.0 < band["alone"]
    forces = FILE["forces"]
    tool = np.r_[forces["force_n"], 1e3 * np.array(forces["moment_nm"])]
    tip = np.array(FILE["platform"]["gauge_point_mm"]) - [0, 0, 120]
    rows, thrust = pushed(tomllib.loads(built), np.array([40.5, 0.0, 420.0 + 150.0]) - tip, tip, tool)
    home = pushed(tomllib.loads(built), HOME[:3], np.zeros(3), np.zeros(6))[1]
    drawn = 5e-6 * np.random.default_rng(2).normal(size=(200_000, 6)) * (thrust - home)
    off = np.linalg.norm(np.linalg.solve(rows, drawn.T)[:3], axis=0)
    assert band["alone"] == pytest.approx(np.quantile(off, 0.95), rel=0.03)
    assert band["both"] > 0.0


def pushed(file, at, tip, tool):
    """Return the Jacobian (6, 6) about ``tip`` and the thrusts (6,) of a platform that stands level ``at`` a place."""
    base, joints = (np.array([s[f"{end}_joint_mm"] for s in file["strut"]]) for end in ("base", "platform"))
    unit = at + joints - base
    unit /= np.linalg.norm(unit, axis=1)[:, None]
    rows = np.hstack([unit, np.cross(joints - tip, unit)])
    weights = [(720.0, np.array(file["platform"]["centre_of_mass_mm"])), *((15.0, b) for b in joints)]
    wrench = sum(np.r_[0, 0, -9.81 * m, np.cross(c - tip, [0, 0, -9.81 * m])] for m, c in weights) + tool
    return rows, np.linalg.solve(rows.T, -wrench)


def test_a_compliance_below_nothing_is_refused(tmp_path, poses):
    found, lengths, loads = (x[::2] for x in poses)  # twenty poses without a weight, and much noise
    done = run(tmp_path, table((found, lengths, loads), 0.03, seed=3), "--stiffness")
    assert done.exit_code == 2 and "would give way by -" in done.output and "--load-kg" in done.output
    assert not (tmp_path / "built.toml").exists()


def test_known_springs_leave_the_geometry_alone(tmp_path, poses):
    """With [compensation] in the file, sag is taken out by its stiffness; without, the geometry takes part of it."""
    off = {}
    text = DESCRIBED.read_text() + "\n[compensation]\nsag = true\n"
    for k in STIFFNESS:
        text = text.replace("stiffness_n_um = 150\n", f"stiffness_n_um = {k:.6f}\n", 1)
    (tmp_path / "springs.toml").write_text(text)
    for name, file in (("rigid", DESCRIBED), ("springs", tmp_path / "springs.toml")):
        done = run(tmp_path, table(poses, 0.0), "--machine", str(file), "--overwrite")
        assert done.exit_code == 0, done.output
        built = load_machine(tmp_path / "built.toml")
        off[name] = np.abs(np.array([s.base_joint for s in built.struts]) - REAL_BASE).max()
    assert off["springs"] < 0.002 < 0.02 < off["rigid"]


def test_a_plan_with_a_weight_tells_stiffness_better(tmp_path):
    """The covariance of the poses proposed: a weight of half the platform's is worth much."""
    sigma = {}
    for name, more in (("bare", []), ("loaded", ["--load-kg", "400", "--load-at-mm", *map(str, LOAD[1:])])):
        out = tmp_path / f"{name}.csv"
        words = ["calibrate", "--machine", str(DESCRIBED), "--plan", "16", "--stiffness", "-o", str(out), *more]
        assert CliRunner().invoke(main, words).exit_code == 0
        rows = np.genfromtxt(out, delimiter=",", names=True)
        assert len(rows) == 16
        machine = load_machine(DESCRIBED)
        data, _ = read_measured(out, machine, Noise())
        start = nominal(machine, elastic=True)
        pose = np.stack([rows[n] for n in ("x_mm", "y_mm", "z_mm", "a_deg", "b_deg", "c_deg")])
        pose[3:] = np.deg2rad(pose[3:])
        found = identify(start, data, pose, Frames(stiffness=True), robust=False)
        sigma[name] = np.sqrt(np.diag(found.covariance)[42:]).mean() / found.noise
        if name == "loaded":
            assert 0 < (rows["load_kg"] > 0).sum() < 16 and set(rows["load_kg"]) == {0.0, 400.0}
    assert sigma["loaded"] < 0.7 * sigma["bare"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--plan", "7", "--stiffness"], "give --plan 8 or more"),
        (["--plan", "12", "--load-kg", "100"], "--load-kg is of use with --stiffness alone"),
        (["poses.csv", "--load-kg", "100"], "a column load_kg"),
    ],
)
def test_what_does_not_go_together_is_refused(tmp_path, words, said):
    done = CliRunner().invoke(main, ["calibrate", *words, "-o", str(tmp_path / "out")])
    assert done.exit_code == 2 and said in done.output
