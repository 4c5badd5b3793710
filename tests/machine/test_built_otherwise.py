"""Machines whose struts share joints, cubes of parallel struts, platforms that can move; what contradicts itself."""

import random
import re
from math import dist

import numpy as np
import pytest
from attack.machines import _head
from click.testing import CliRunner
from machine.contradictions import contradicting, made
from machine.described import text
from machine.test_load import faults_of

from hexpost.cli import main
from hexpost.kinematics.modes import MOST_BATCHES, STARTS, assembly_modes
from hexpost.kinematics.struts import Struts
from hexpost.machine.load import machine_from
from hexpost.machine.room import clearances
from hexpost.reach.standing import refuse_what_cannot_stand

LOW = 900.0
PROGRAM = "G21 G90 G94\nG00 X0 Y0 Z60\nG01 X20 A4 B-3 C2 F1500\nG02 X40 Y20 I20 J0\nM30\n"


def ring(radius, turn, z, count):
    return [[radius * np.cos(a), radius * np.sin(a), z] for a in turn + 2 * np.pi * np.arange(count) / count]


def machine(joints):
    """Return the text of a machine of six pairs of joints, the platform ones ``LOW`` below where they are at home."""
    head = _head(random.Random(4), "ABC", LOW)
    out = [re.sub(r"(\[reference\]\npose_mm_deg = ).*", rf"\1[0, 0, {LOW}, 0, 0, 0]", head)]
    for a, b in joints:
        length = dist(a, [b[0], b[1], b[2] + LOW])
        out.append(
            f"[[strut]]\nbase_joint_mm = {[float(x) for x in a]}\nplatform_joint_mm = {[float(x) for x in b]}\n"
            f"stroke_mm = [{0.6 * length:.3f}, {1.3 * length:.3f}]\nspeed_mm_s = 1300\nacceleration_mm_s2 = 14000\n"
            "jerk_mm_s3 = 700000\n[strut.body]\nradius_mm = 30\n"
        )
    return "\n".join(out)


def three_three():
    base, platform = ring(1000, 0.0, 2200, 3), ring(420, np.pi / 3, 0, 3)
    return [(base[(k + 1) // 2 % 3], platform[k // 2]) for k in range(6)]


def six_three():
    return [(a, b) for (_, b), a in zip(three_three(), ring(1000, -0.2, 2200, 6), strict=True)]


def three_six():
    return [(a, b) for (a, _), b in zip(three_three(), ring(420, 0.8, 0, 6), strict=True)]


def cube(side=700.0):
    """Struts are the six edges of a cube on its corner that touch neither that corner nor the opposite one.

    Opposite edges are parallel: the cubic architecture (Z. J. Geng, L. S. Haynes, IEEE Trans. Control Systems
    Technology 2 (1994) 45; from memory).
    """
    corners = np.array([[1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1]]) - 0.5
    d, x = np.ones(3) / np.sqrt(3), np.array([1, -1, 0]) / np.sqrt(2)
    p = side * corners @ np.array([x, np.cross(d, x), d]).T
    upper = [k % 2 == 1 for k in range(6)]
    pairs = [(k, (k + 1) % 6) if upper[k] else ((k + 1) % 6, k) for k in range(6)]
    return [(p[a] + [0, 0, LOW], p[b]) for a, b in pairs]


KINDS = {"three and three": three_three, "six and three": six_three, "three and six": three_six, "cube": cube}


@pytest.mark.parametrize("name", KINDS)
def test_struts_may_share_a_joint(name, tmp_path):
    """Checked, run and proven like any other machine."""
    (tmp_path / "m.toml").write_text(machine(KINDS[name]()))
    (tmp_path / "p.nc").write_text(PROGRAM)
    done = CliRunner().invoke(main, ["machine", "check", str(tmp_path / "m.toml")])
    assert done.exit_code == 0, done.output
    assert "conditioning within reach" in done.output
    assert "pairs of bodies, at least 0 mm; within reach, upright, the nearest:" in done.output
    assert ("the platform can move with all struts fixed" in done.output) == (name == "cube"), done.output
    words = ["convert", str(tmp_path / "p.nc"), "--machine", str(tmp_path / "m.toml"), "--out", str(tmp_path / "job")]
    made = CliRunner().invoke(main, words)
    assert made.exit_code in (0, 1), made.output
    proof = CliRunner().invoke(main, ["verify", str(tmp_path / "job")])
    assert proof.exit_code == made.exit_code, proof.output


def test_one_strut_twice_is_refused():
    joints = three_three()
    joints[4] = joints[1]
    assert faults_of(machine(joints)) == ["m.toml: strut[5] has both joints of strut 2 again; give each strut its own"]


def test_a_cube_has_few_modes_and_a_motion():
    """The lengths of edges: two poses that stay (it and its mirror image in the base), and motions in between."""
    joints = cube()
    base, platform = (np.array([j[k] for j in joints]) for k in (0, 1))
    struts = Struts(base, platform, "ABC")
    home = np.array([0, 0, LOW, 0, 0, 0.0])
    lengths = struts.lengths(home[:, None])[:, 0]
    found = assembly_modes(struts, lengths)
    assert found.complete and found.pose.shape[1] == 2
    assert np.abs(found.pose - home[:, None]).max(axis=0).min() < 1e-6
    assert np.abs(struts.lengths(found.free) - lengths[:, None]).max() < 1e-6


@pytest.mark.parametrize("sides", [3, 6])
def test_parallelograms_can_move(sides):
    """A platform like its base on struts of one length: all struts swing side by side on spheres (elementary)."""
    base = np.array(ring(500, 0.1, 0, 6) if sides == 6 else [p for p in ring(500, 0.1, 0, 3) for _ in range(2)])
    platform = base.copy() if sides == 6 else np.roll(base, 1, axis=0)
    struts = Struts(base, platform, "ABC")
    start = np.array([0, 0, 800.0, 0, 0, 0])
    found = assembly_modes(struts, struts.lengths(start[:, None])[:, 0])
    assert (found.free.shape[1] > 0) == (sides == 6)
    assert found.starts <= MOST_BATCHES * STARTS


@pytest.mark.parametrize("seed", range(5))
def test_machines_that_cannot_move_have_no_motion(seed):
    rng = np.random.default_rng(seed)
    base, platform = rng.uniform(-600, 600, (6, 3)), rng.uniform(-300, 300, (6, 3))
    struts = Struts(base, platform, "ABC")
    q = np.array([30, -20, 900, 0.1, -0.1, 0.2])
    found = assembly_modes(struts, struts.lengths(q[:, None])[:, 0], seed=seed)
    assert found.free.shape == (6, 0)
    assert np.abs(found.pose - q[:, None]).max(axis=0).min() < 1e-6


@pytest.mark.parametrize("name", made(random.Random(0)))
def test_what_contradicts_itself_is_refused(name, tmp_path):
    source, key = contradicting(name, random.Random(name))
    (tmp_path / "m.toml").write_text(source)
    done = CliRunner().invoke(main, ["machine", "check", str(tmp_path / "m.toml")])
    assert done.exit_code == 2
    assert f"m.toml: {key} " in done.output, done.output


def test_what_lasts_may_be_all_that_holds_for_a_moment():
    same = text().replace("thrust_continuous_n = 6000", "thrust_continuous_n = 12000")
    refuse_what_cannot_stand(machine_from(same.encode(), "m"))


def test_clearances_against_points_along_the_bodies():
    """Authority: many points of each axis, by brute force."""
    m = machine_from(text().encode(), "m")
    rng = np.random.default_rng(3)
    pose = m.reference[:, None] + rng.uniform(-1, 1, (6, 3)) * np.array([200, 200, 100, 0.2, 0.2, 0.2])[:, None]
    found = dict(clearances(m, pose))
    from hexpost.kinematics.frames import pose_matrix

    t = np.linspace(0, 1, 400)[:, None]
    for k in range(3):
        f = pose_matrix(pose[:, k], m.tilt_order)
        axis = [s.base_joint + t * (f[:3, 3] + f[:3, :3] @ s.platform_joint - s.base_joint) for s in m.struts]
        for i, j in ((0, 2), (3, 4), (1, 5)):
            least = np.linalg.norm(axis[i][:, None] - axis[j][None], axis=2).min()
            radii = m.struts[i].body.radius + m.struts[j].body.radius
            name = f"strut {i + 1} and strut {j + 1}"
            assert found[name][k] == pytest.approx(least - radii, abs=2.0)


def test_a_machine_zero_out_of_reach_is_told_and_may_be(tmp_path):
    """Coordinates may count from any place; only a job cannot start there."""
    zero = re.sub(r"(\[machine_zero\][^\n]*\npose_mm_deg = ).*", r"\1[0, 0, 9000, 0, 0, 0]", text())
    (tmp_path / "m.toml").write_text(zero)
    done = CliRunner().invoke(main, ["machine", "check", str(tmp_path / "m.toml")])
    assert done.exit_code == 0
    assert "machine zero is out of reach: strut" in done.output and "[start] of its setup file" in done.output
    (tmp_path / "m.toml").write_text(text())
    assert "machine zero" not in CliRunner().invoke(main, ["machine", "check", str(tmp_path / "m.toml")]).output
