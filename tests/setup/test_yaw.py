"""The free yaw: never worse, tip and tool axis untouched, off where the program or the tool takes it."""

import json
import re
from dataclasses import replace
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from hexpost.cli import main
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.load import load_tools
from hexpost.pipeline import Files, load, schedule
from hexpost.setup.yaw import TILT_SHARE, YawSteps, farthest, free_yaw, route
from hexpost.setup.yaw_use import YawUse

pytestmark = pytest.mark.usefixtures("untried")

SAMPLES = Path(__file__).parent.parent.parent / "samples"
TOOLS = SAMPLES / "tools.toml"


def planned(program, setup="setup.toml", tools=TOOLS, feed="as-programmed"):
    return schedule(load(Files(program=program, tools=tools, setup=SAMPLES / setup)), feed)


@cache
def crown(mode):
    return free_yaw(planned(SAMPLES / "crown.nc"), mode)


def poses(job):
    """Ticks, moves, base-frame tips, tool axes and platform rotations of all samples, by scipy."""
    out = []
    for s in job.setpoints():
        frame = job.inputs.meaning.moves.frames[s.poses.frame]
        turn = Rotation.from_euler("xyz", s.poses.pose[3:].T)
        r = frame.base_from_work[:3, :3] @ turn.as_matrix()
        tip = s.poses.pose[:3].T @ frame.base_from_work[:3, :3].T + frame.base_from_work[:3, 3]
        out.append((s.poses.tick, s.poses.move, tip, r, s.length.T, np.tile(frame.tip, (len(tip), 1))))
    return [np.concatenate(x) for x in zip(*out, strict=True)]


def test_follow_beats_best_beats_fixed():
    fixed, best, follow = (crown(mode).outcome for mode in ("fixed", "best", "follow"))
    assert fixed.clean and best.clean and follow.clean
    assert follow.worst < 0.9 * best.worst
    assert best.worst < 0.97 * fixed.worst
    assert crown("follow").text.startswith("Yaw follow: the platform is turned by 2")
    assert re.search(r"\d % of speed used, \d+\.\d s with the yaw fixed, \d", crown("best").text)
    assert crown("best").text in crown("best").job.inputs.meaning.readings


def test_the_round_tool_cuts_the_same():
    """Tip and axis: of follow and best at every sample, of best and fixed along the whole path but the approach."""
    fixed, best, follow = (crown(mode).job for mode in ("fixed", "best", "follow"))
    tick, move, tip, r, _, _ = poses(best)
    other = poses(follow)
    assert np.array_equal(tick, other[0]) and np.array_equal(move, other[1])
    assert np.abs(tip - other[2]).max() < 1e-9
    assert np.abs(r[:, :, 2] - other[3][:, :, 2]).max() < 1e-9
    assert np.abs(r[:, :, 0] - other[3][:, :, 0]).max() > 0.1
    a, b = fixed.path, best.path
    moves = fixed.inputs.meaning.moves
    assert np.array_equal(a.move, b.move) and np.array_equal(a.kind, b.kind)
    piece = np.flatnonzero((a.move > 0) & (moves.frame[a.move] == moves.frame[1]))
    for share in (0.0, 0.3, 0.7, 1.0):
        q = [p.evaluate(piece, share * p.size[piece], 0)[0] for p in (a, b)]
        assert np.abs(q[0] - q[1]).max() < 1e-9


@pytest.mark.parametrize("mode", ["best", "follow"])
def test_lengths_are_those_of_the_turned_platform(mode):
    """Authority: the definition, with scipy's rotations: |tip + R (b - tip in the platform) - a|."""
    job = crown(mode).job
    tick, _, tip, r, length, in_platform = (x[::97] for x in poses(job))
    for k, strut in enumerate(job.inputs.machine.struts):
        arm = np.einsum("nij,nj->ni", r, strut.platform_joint - in_platform)
        assert np.linalg.norm(tip + arm - strut.base_joint, axis=1) == pytest.approx(length[:, k], abs=1e-9)
    assert tick[0] == 0
    start = Rotation.from_matrix(r[0]).as_rotvec()
    assert start == pytest.approx([0, 0, 0], abs=1e-12)  # the job starts where the machine stands


def test_the_profile_keeps_its_share_of_the_tilt_limits_and_rests_at_waits():
    job = crown("follow").job
    tip = job.inputs.machine.tool_tip
    _, speed, growth = job.yaw.at(np.arange(job.timing.ticks + 1))
    assert np.abs(speed).max() <= TILT_SHARE * tip.tilt_speed + 1e-9
    assert np.abs(growth).max() <= TILT_SHARE * tip.tilt_acceleration + 1e-9
    jerk = np.diff(growth) / job.inputs.machine.period
    assert np.abs(jerk).max() <= TILT_SHARE * tip.tilt_jerk * (1 + 1e-6)
    events = job.inputs.meaning.events
    waits = np.concatenate([job.timing.event_ticks(job.path, events)[events.wait], [0, job.timing.ticks]])
    _, speed, growth = job.yaw.at(np.sort(waits))
    assert np.abs(speed).max() < 1e-12 and np.abs(growth).max() < 1e-12


def test_yaw_alone_may_mend_a_job():
    words = [
        str(SAMPLES / "frustum.nc"),
        "--tools",
        str(TOOLS),
        "--setup",
        str(SAMPLES / "setup_corner.toml"),
        "--json",
    ]
    assert CliRunner().invoke(main, ["audit", *words]).exit_code == 1
    done = CliRunner().invoke(main, ["audit", *words, "--yaw", "best"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["verdict"] == "clean"
    assert re.search(r"\d+ findings, .* with the yaw fixed", done.stderr)


@pytest.mark.parametrize("mode", ["best", "follow"])
def test_verify_proves_a_job_with_free_yaw(mode, tmp_path):
    words = ["convert", str(SAMPLES / "crown.nc"), "--tools", str(TOOLS), "--setup", str(SAMPLES / "setup.toml")]
    done = CliRunner().invoke(main, [*words, "--yaw", mode, "--period-ms", "4", "--out", str(tmp_path / "job")])
    assert done.exit_code == 0, done.output
    settings = json.loads((tmp_path / "job" / "manifest.json").read_text())["settings"]
    assert settings["yaw"] == mode
    assert settings["yaw_deg"] == pytest.approx(27, abs=3)
    done = CliRunner().invoke(main, ["verify", str(tmp_path / "job")])
    assert done.exit_code == 0, done.output
    assert "PROVEN, CLEAN" in done.output


def test_best_is_never_slower_with_a_strut_limited_schedule():
    job = planned(SAMPLES / "frustum.nc", feed="strut-limited")
    found = free_yaw(job, "best")
    assert found.outcome.key("time") <= found.fixed.key("time")


HEAD = "%\nG21 G17 G90 G94 G40 G49 G64\nT1 M06\nG54\nG43 H1\nG00 X0. Y0. Z60.\n"
END = "G53 G00 Z0.\nM30\n%\n"
TAKEN = {
    "line 7 uses C on purpose": "G01 X10. C5. F600\n",
    "line 8 (M19) stops the spindle": "G01 X10. F600\nM19\n",
    "tool 1 is not round": "G01 X10. F600\n",
}


@pytest.mark.parametrize("why", TAKEN)
def test_where_the_yaw_is_taken_it_stays_fixed(why, tmp_path):
    (tmp_path / "p.nc").write_text(HEAD + TAKEN[why] + END)
    flag = "\nround = false" if "round" in why else ""
    (tmp_path / "t.toml").write_text(f"[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 12{flag}\n")
    found = free_yaw(planned(tmp_path / "p.nc", tools=tmp_path / "t.toml"), "follow")
    assert found.text.startswith("Yaw: fixed, not follow: " + why)
    assert found.job.yaw is None
    assert found.job.frame_yaw == 0.0
    assert found.job.yaw_mode == "fixed"


def test_c_of_zero_takes_nothing_and_tools_are_round_unless_they_say_not(tmp_path):
    (tmp_path / "p.nc").write_text(HEAD + "G01 X80. A9. C0. F6000\nX0. A-9.\n" + END)
    assert "Yaw best" in free_yaw(planned(tmp_path / "p.nc"), "best").text
    assert all(t.round for t in load_tools(TOOLS).tools.values())


def test_yaw_works_under_every_order_of_the_angles(tmp_path):
    """The physical tool path is the same whichever way the machine names its angles: tip to 1e-9, axis by scipy."""
    (tmp_path / "p.nc").write_text(HEAD + "G01 X80. A9. F6000\nX0. B-9.\n" + END)
    job = planned(tmp_path / "p.nc")
    machine = replace(job.inputs.machine, tilt_order="CBA")
    other = schedule(replace(job.inputs, machine=machine))
    found = free_yaw(other, "best")
    for s in found.job.setpoints():
        m = pose_matrix(s.poses.pose[:, -1], "CBA")[:3, :3]
        want = Rotation.from_euler("zyx", s.poses.pose[[5, 4, 3], -1]).as_matrix()
        assert m == pytest.approx(want, abs=1e-12)
    assert found.outcome.worst <= found.fixed.worst


@given(st.integers(0, 10**6))
def test_dynamic_programming_finds_what_trying_all_ways_finds(seed):
    """Authority: every sequence of yaws on a small problem, costed as the module's documentation says."""
    rng = np.random.default_rng(seed)
    m, k = 5, 5
    found = YawUse(still=rng.uniform(0.2, 1, (m, k)), speed=rng.uniform(0.2, 1, (m, k, 6)),
                   slope=rng.uniform(0, 2, (m, k, 6)))  # fmt: skip
    hold = np.array([True, False, False, True, False])
    steps, reach, period = YawSteps(yaw=0.1, ticks=100), 0.2, 0.001

    def cost(way):
        total, last = 0.0, k // 2
        for i, j in enumerate(way):
            d = j - last
            if abs(d) > 2 or (hold[i] and d):
                return np.inf
            rate = abs(d) * 0.1 / 0.1
            use = max(found.still[i, j], *(found.speed[i, j] + rate * found.slope[i, j]))
            total += use**12 + 1e-3 * (d / k) ** 2
            last = j
        return total

    best = min(product(range(k), repeat=m), key=cost)
    got = route(found, steps, reach, hold, period).astype(int).tolist()
    assert cost(got) == pytest.approx(cost(best))


def test_control_points_stay_near_enough_for_the_tilt_limits():
    machine = load(Files(program=SAMPLES / "crown.nc")).machine
    for ticks in (50, 250, 600):
        h, d = ticks * machine.period, farthest(machine, ticks)
        assert d / h <= TILT_SHARE * machine.tool_tip.tilt_speed * (1 + 1e-12)
        assert 2 * d / h**2 <= TILT_SHARE * machine.tool_tip.tilt_acceleration * (1 + 1e-12)
        assert 4 * d / h**3 <= TILT_SHARE * machine.tool_tip.tilt_jerk * (1 + 1e-12)
