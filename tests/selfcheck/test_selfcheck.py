"""Every run solves some of its rows again in a second way; where the two differ, the job stops and leaves nothing."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import Struts
from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import Frame
from hexpost.selfcheck import length
from hexpost.setpoints import solve

PROGRAM = "G21 G90 G94\nG00 X0 Y0 Z60\nG01 X30 A6 B-4 C3 F3000\nG02 X50 Y20 I20 J0\nM30\n"


def convert(folder: Path):
    """Convert the program into ``folder``; return exit code and output."""
    (folder / "p.nc").write_text(PROGRAM)
    done = CliRunner().invoke(main, ["convert", str(folder / "p.nc"), "--out", str(folder / "job")])
    return done.exit_code, done.output


@pytest.mark.parametrize("order", ["ABC", "CBA", "BCA"])
def test_the_second_way_agrees_with_the_matrix_product(order):
    """Length = |base_from_work (p + R b) - a| by 4x4 matrices, which are checked against scipy's Rotation elsewhere."""
    machine = demonstration_machine()
    rng = np.random.default_rng(3)
    for _ in range(50):
        pose = rng.uniform(-1, 1, 6) * [200, 200, 100, 0.5, 0.5, 2.0]
        base_from_work = pose_matrix(rng.uniform(-1, 1, 6) * [50, 50, 50, 0.3, 0.3, 3], order)
        tip = machine.platform.gauge_point - [0, 0, 110]
        frame = Frame(base_from_work=base_from_work, tip=tip, offset="G54", tool=1, length_row=1, length=110.0)
        for strut in machine.struts:
            foot = base_from_work @ pose_matrix(pose, order) @ np.append(strut.platform_joint - tip, 1.0)
            exact = np.linalg.norm(foot[:3] - strut.base_joint)
            assert length(pose.tolist(), strut, frame, order) == pytest.approx(exact, abs=1e-10)


def test_an_honest_run_passes(tmp_path):
    code, said = convert(tmp_path)
    assert code == 0, said


@pytest.mark.parametrize(("which", "name"), [(0, "length"), (1, "speed"), (2, "acceleration")])
def test_a_planted_fault_stops_the_job(which, name, tmp_path, monkeypatch):
    """The kind of slip it is there for: a sign, a unit, a column off by a hair."""
    honest = Struts.derivatives

    def planted(self, q):
        out = honest(self, q)
        if len(out) > which:
            out[which][3] *= 1 + 1e-4
        return out

    monkeypatch.setattr(Struts, "derivatives", planted)
    code, said = convert(tmp_path)
    assert code == 2
    assert f"self-check: {name} of strut 4" in said
    assert not (tmp_path / "job").exists()


@pytest.mark.parametrize(("drop", "said"), [(0, "come where row 0 is due"), (-1, "rows are due")])
def test_a_row_that_is_missing_stops_the_job(drop, said, tmp_path, monkeypatch):
    """The first or the last one: what comes does not fit what the planned feed takes."""
    honest = solve.poses_of

    def planted(*given):
        poses = honest(*given)
        kept = np.delete(np.arange(len(poses.tick)), drop)
        columns = {n: getattr(poses, n) for n in poses.__dataclass_fields__}
        return replace(poses, **{n: x[..., kept] for n, x in columns.items() if isinstance(x, np.ndarray)})

    monkeypatch.setattr(solve, "poses_of", planted)
    code, said_all = convert(tmp_path)
    assert code == 2
    assert "self-check: " in said_all
    assert said in said_all
    assert not (tmp_path / "job").exists()
