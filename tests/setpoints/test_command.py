"""Commands of the drives: 40-digit arithmetic (mpmath), closed cases, and how they stand in the table."""

import json
from dataclasses import replace

import mpmath
import numpy as np
import pytest
from machine.described import STRUT, described

from hexpost.convert import Output, convert
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import Frame
from hexpost.pipeline import Files, load, schedule
from hexpost.setpoints.model import Poses
from hexpost.setpoints.solve import Solver
from hexpost.tables.columns import ALL, choose

BASE_FROM_WORK = pose_matrix(np.array([15.0, -10.0, 500.0, 0.02, -0.03, 0.1]), "ABC")
TIP = np.array([0.0, 0.0, -370.0])


def poses(q):
    """Return samples at the poses (6, n)."""
    n = q.shape[1]
    none, zero = np.zeros((6, n)), np.zeros(n, dtype=np.int64)
    return Poses(
        tick=np.arange(n), move=zero, line=zero.astype(np.int32), span=zero, frame=0, pose=q, rate=none,
        acceleration=none, corner=zero,
    )  # fmt: skip


def solver(machine):
    """Return a solver for one frame."""
    frame = Frame(base_from_work=BASE_FROM_WORK, tip=TIP, offset="G54", tool=1, length_row=1, length=120.0)
    return Solver(machine, [frame])


def commands(machine, q):
    """Return the commands (6, n)."""
    return solver(machine).solve(poses(q)).command


def exact_row(machine, q):
    """Return one row of lengths and commands from vectors alone, in 40 digits, straight from the definitions."""
    mp = mpmath.mp

    def vector(x):
        return mpmath.matrix([mpmath.mpf(float(v)) for v in x])

    def cross(u, v):
        return mpmath.matrix([u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]])

    def dot(u, v):
        return sum(u[i] * v[i] for i in range(3))

    def turn(a, b, c):
        sa, ca, sb, cb, sc, cc = mp.sin(a), mp.cos(a), mp.sin(b), mp.cos(b), mp.sin(c), mp.cos(c)
        return (
            mpmath.matrix([[cc, -sc, 0], [sc, cc, 0], [0, 0, 1]])
            * mpmath.matrix([[cb, 0, sb], [0, 1, 0], [-sb, 0, cb]])
            * mpmath.matrix([[1, 0, 0], [0, ca, -sa], [0, sa, ca]])
        )

    def twist(strut, r, t):
        n = t + r * vector(strut.platform_joint) - vector(strut.base_joint)
        length = mp.sqrt(dot(n, n))
        n /= length
        e = cross(vector(strut.base_universal.outer), n)
        f = cross(r * vector(strut.platform_universal.outer), n)
        return length, mp.atan2(dot(cross(e, f), n), dot(e, f))

    with mp.workdps(40):
        m = mpmath.matrix(BASE_FROM_WORK[:3, :3].tolist())
        r = m * turn(*(mpmath.mpf(float(x)) for x in q[3:]))
        t = m * vector(q[:3]) + vector(BASE_FROM_WORK[:3, 3]) - r * vector(TIP)
        home = turn(*(mpmath.mpf(float(x)) for x in machine.reference[3:])), vector(machine.reference[:3])
        out = []
        for s in machine.struts:
            length, angle = twist(s, r, t)
            angle -= twist(s, *home)[1]
            cold = length / (1 + mpmath.mpf(s.thermal.expansion) * (s.thermal.temperature - s.thermal.reference))
            out.append((length, cold - s.screw.zero - s.screw.hand * s.screw.lead * angle / (2 * mp.pi)))
        return out


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_row_equals_forty_digits(hand):
    machine = described(STRUT.replace('"right"', f'"{hand}"'))
    rng = np.random.default_rng(4)
    for _ in range(3):
        q = rng.uniform(-1, 1, 6) * [250, 250, 80, 0.3, 0.3, 0.4] + [0, 0, 100, 0, 0, 0]
        found = solver(machine).solve(poses(q[:, None]))
        for k, (length, command) in enumerate(exact_row(machine, q)):
            assert abs(found.length[k, 0] - length) < 1e-10
            assert abs(found.command[k, 0] - command) < 1e-10


def test_twists_count_from_the_reference_pose():
    plain = described(STRUT)
    turned = []
    for k, s in enumerate(plain.struts):
        joint = s.base_universal
        along = np.cross(joint.outer, joint.inner)
        c, r = np.cos(0.2 + 0.1 * k), np.sin(0.2 + 0.1 * k)
        about = [c * x + r * np.cross(along, x) for x in (joint.outer, joint.inner)]  # both axes turned about the strut
        turned.append(replace(s, base_universal=replace(joint, outer=about[0], inner=about[1])))
    machine = replace(plain, struts=tuple(turned))
    q = np.array([30.0, 20, 120, 0.1, -0.15, 0.35])
    found = solver(machine).solve(poses(q[:, None]))
    for k, (_, command) in enumerate(exact_row(machine, q)):
        assert abs(found.command[k, 0] - command) < 1e-10


Q = np.array([[30.0], [20.0], [120.0], [0.1], [-0.15], [0.35]])


def test_hands_are_opposite_and_no_screw_no_command():
    cold = STRUT.replace("temperature_c = 24", "temperature_c = 20").replace("zero_mm = 900", "zero_mm = 0")
    right, left = (commands(described(cold.replace('"right"', f'"{h}"')), Q) for h in ("right", "left"))
    length = solver(demonstration_machine()).solve(poses(Q))
    assert length.command is None
    assert np.allclose((right + left) / 2.0, length.length, atol=1e-12)
    assert np.abs(right - left).max() > 0.5  # 0.35 rad on a lead of 20 mm: a millimetre


def test_a_metre_of_warm_steel_takes_eleven_micrometres_a_kelvin():
    # 11.5e-6 per K: D. A. Swyt, J. Res. NIST 99, 31 (1994); a longer strut needs a shorter command
    warm = STRUT.replace("temperature_c = 24", "temperature_c = 21\nheated_mm = 1000")
    cold = STRUT.replace("temperature_c = 24", "temperature_c = 20")
    assert np.allclose(commands(described(cold), Q) - commands(described(warm), Q), 0.0115, atol=1e-11)
    whole = STRUT.replace("temperature_c = 24", "temperature_c = 21")
    length = solver(described(cold)).solve(poses(Q)).length
    assert np.allclose(
        commands(described(cold), Q) - commands(described(whole), Q), length * 11.5e-6 / (1 + 11.5e-6), atol=1e-11
    )


def test_twists_go_on_beyond_half_a_turn_and_across_blocks():
    machine = described(STRUT)
    q = np.zeros((6, 400))
    q[2] = 150.0
    q[5] = np.linspace(0.0, 7.0, 400)  # no machine turns so far; the arithmetic must
    whole = commands(machine, q)
    parts = solver(machine)
    pieces = np.hstack([parts.solve(poses(q[:, a:b])).command for a, b in ((0, 1), (1, 190), (190, 400))])
    assert np.allclose(whole, pieces, atol=1e-12)
    assert np.abs(np.diff(whole - solver(machine).solve(poses(q)).length, axis=1)).max() < 0.3
    back = np.concatenate([q, q[:, ::-1]], axis=1)
    assert np.allclose(commands(machine, back)[:, -1], whole[:, 0], atol=1e-9)


def test_columns_of_the_table():
    gearing = solver(described()).solve(poses(Q)).gearing
    assert gearing.turns.tolist() == [1.5 / 20.0] * 6
    assert gearing.counts.tolist() == [8192 * 1.5 / 20.0] * 6
    usual = choose((), gearing).names
    assert usual == (*ALL[:-1], *(f"command_{k}_mm" for k in range(1, 7)), "line")
    assert choose(["turns_2", "counts"], gearing).names == ("turns_2", *(f"counts_{k}" for k in range(1, 7)))
    assert choose().names == ALL
    bare = replace(gearing, counts=None)
    with pytest.raises(Exception, match="unknown column `counts`"):
        choose(["counts"], bare)


def test_the_manifest_names_what_the_drives_follow(tmp_path, root):
    from machine.described import text

    file = tmp_path / "machine.toml"
    file.write_text(text())
    program = tmp_path / "p.nc"
    program.write_text("G21 G00 Z150\nG01 X5 C10 F3000\nM30\n")
    job = schedule(load(Files(program=program, machine=file)))
    convert(job, Output(folder=tmp_path / "out"))
    (told,) = json.loads((tmp_path / "out" / "manifest.json").read_text())["tables"].values()
    assert told["drives_follow"] == [f"command_{k}_mm" for k in range(1, 7)]
    (table,) = (tmp_path / "out").glob("setpoints*.csv")
    head = table.read_text().split("\n", 1)[0].split(",")
    rows = np.loadtxt(table, delimiter=",", skiprows=1)
    last = list(job.setpoints())[-1]
    at = head.index("command_1_mm")
    assert np.abs(rows[-1, at : at + 6] - last.command[:, -1]).max() < 5.1e-7


CHOICES = ("", "time,length,speed,acceleration,line", "command", "length", "time,length_1_mm,line", "command_1_mm,line",
           "time,length,speed,acceleration,command,line", "time,length,speed,acceleration,command,turns,counts,line",
           "time,length,speed,acceleration,command_2_mm,line", "time,length,speed,acceleration,turns,line")  # fmt: skip


@pytest.mark.parametrize("columns", CHOICES)
@pytest.mark.parametrize("geared", [True, False])
def test_any_choice_of_columns_is_proven_or_says_beforehand_why_not(tmp_path, columns, geared):
    """And whatever it says, drives are named only where they follow all six: commands where there are screws."""
    from click.testing import CliRunner
    from machine.described import text

    from hexpost.cli import main

    if not geared and any(g in columns for g in ("command", "turns", "counts")):
        pytest.skip("such columns are refused without screws")
    (tmp_path / "m.toml").write_text(text())
    (tmp_path / "p.nc").write_text("G21 G00 Z150\nG01 X5 C10 F3000\nM30\n")
    machine = ["--machine", str(tmp_path / "m.toml")] if geared else []
    words = ["convert", str(tmp_path / "p.nc"), *machine, "--out", str(tmp_path / "job"), "--columns", columns]
    made = CliRunner().invoke(main, words)
    assert made.exit_code in (0, 1), made.output
    proof = CliRunner().invoke(main, ["verify", str(tmp_path / "job")])
    said = [" ".join(x.split()) for x in (made.stderr, (tmp_path / "job" / "report.txt").read_text())]  # any width
    narrow = "To prove it, convert and verify make one" in said[0]
    assert proof.exit_code == made.exit_code, proof.output
    alone = CliRunner().invoke(main, ["verify", str(tmp_path / "job"), "--without-remake"])
    assert alone.exit_code == (2 if narrow else made.exit_code), alone.output
    manifest = json.loads((tmp_path / "job" / "manifest.json").read_text())
    (told,) = manifest["tables"].values()
    names = [c["name"] for c in told["columns"]]
    wanted = [f"{'command' if geared else 'length'}_{k}_mm" for k in range(1, 7)]
    follows = set(wanted) <= set(names)
    assert told["drives_follow"] == (wanted if follows else [])
    for text_of in (*said, " ".join(told["notices"])):
        assert ("NOT FOR DRIVES" in text_of) == (not follows)
        assert ("To prove it, convert and verify make one" in text_of) == narrow
