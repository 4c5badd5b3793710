"""Struts that slow down otherwise than they speed up: two rows of the table of limits, counted sample by sample."""

import re

import numpy as np
import pytest

from hexpost.machine.load import machine_from
from hexpost.pipeline import Files, examine, load, schedule

PROGRAM = "G21 G90 G94 G64 G17\nG54 G00 X0 Y0 Z80\nG01 X60 F12000\nG03 X60 Y40 J20\nG01 X0 F30000\nG00 Z100\nM30\n"


@pytest.fixture
def job(root, tmp_path):
    """Return what makes a job of a program, with limits for slowing down of struts by number."""

    def make(**slowing):
        head, *struts = (root / "hexpost" / "machine" / "demonstration.toml").read_text().split("[[strut]]")
        for k, most in slowing.items():
            limit, at = f"deceleration_mm_s2 = {most}\n", int(k[-1]) - 1
            struts[at] = re.sub("^jerk_mm_s3", f"{limit}jerk_mm_s3", struts[at], count=1, flags=re.MULTILINE)
        files = {"machine": tmp_path / "m.toml", "program": tmp_path / "p.nc"}
        files["machine"].write_text("[[strut]]".join([head, *struts]))
        files["program"].write_text(PROGRAM)
        return schedule(load(Files(**files)), "as-programmed")

    return make


def found(job):
    """Return what samples say of both limits, strut by strut: worst uses, and the lines that break them."""
    struts, rows = job.inputs.machine.struts, {}
    for s in job.setpoints(commands=False):
        power = s.speed * s.acceleration
        for name, which in (("acceleration", power >= 0.0), ("deceleration", power < 0.0)):
            felt = which | (np.abs(s.speed) <= 1e-3)
            most = np.array([[x.acceleration if name == "acceleration" else x.slowing] for x in struts])
            use = np.where(felt, np.abs(s.acceleration) / most, 0.0)
            for k in range(6):
                worst, lines = rows.setdefault((name, k + 1), [0.0, set()])
                rows[name, k + 1][0] = max(worst, float(use[k].max()))
                lines.update(s.poses.line[use[k] > 1.0].tolist())
    return rows


@pytest.mark.parametrize("slowing", [{"s1": 900, "s4": 700}, {"s2": 40000}, dict.fromkeys(("s1", "s3", "s6"), 500)])
def test_each_limit_is_told_of_struts_that_speed_up_and_of_such_that_slow_down(job, slowing):
    made = job(**slowing)
    expected = found(made)
    told = examine(made)
    worst = {(w.limit.name, w.strut): w.ratio for w in told.worst if w.limit.name in ("acceleration", "deceleration")}
    assert set(worst) == set(expected)
    assert all(use * (1 - 1e-9) <= worst[k] <= 1.02 * use for k, (use, _) in expected.items())  # or between samples
    listed = {}
    for f in map(told.findings.row, range(told.findings.count)):
        listed.setdefault((f.limit.name, f.strut), set()).add(f.line)
    for k, (_, lines) in expected.items():
        assert lines <= listed.get(k, set())


def test_without_such_a_key_there_is_one_limit(job):
    told = examine(job())
    assert {w.limit.name for w in told.worst if "celeration" in w.limit.name} == {"acceleration"}


def test_limits_for_slowing_down_are_above_nothing(root):
    text = (root / "hexpost" / "machine" / "demonstration.toml").read_text()
    wrong = text.replace("jerk_mm_s3", "deceleration_mm_s2 = 0\njerk_mm_s3", 1)
    with pytest.raises(Exception, match=r"tool_tip\.deceleration_mm_s2 is 0"):
        machine_from(wrong.encode(), "m.toml")
