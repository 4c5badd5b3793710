"""Loads of a moving platform: each worst value against the formulas, written out sample by sample."""

import numpy as np
import pytest
from audit.jobs import PERIOD, audit, frame, listed, moves, rest, run, solved
from machine.described import REST, STRUT, described

from hexpost.audit.load_limits import MOST_PERIODS, Bearing, RunningMean
from hexpost.errors import HexpostError
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel, jacobian

N = 3000
G = 9810.0


def swinging(machine):
    """Return the job and the setpoints of a swing along x and z, 2 Hz, without turning."""
    job = moves(frames=[frame(base_from_work=pose_matrix(machine.pallet.pose, machine.tilt_order))])
    t = np.arange(N) * PERIOD
    w = 4 * np.pi
    zero = np.zeros(N)
    pose = np.stack([60 * np.sin(w * t), zero, 200 + 30 * np.cos(w * t), zero, zero, zero])
    rate = np.stack([60 * w * np.cos(w * t), zero, -30 * w * np.sin(w * t), zero, zero, zero])
    bend = np.stack([-60 * w * w * np.sin(w * t), zero, -30 * w * w * np.cos(w * t), zero, zero, zero])
    return job, solved(pose, rate, bend, job, machine=machine)


def thrusts(machine, job, s):
    """Return the thrusts (6, n) by a plain solve of each sample; force 300, 0, 150 N and 5 N m on the tool."""
    f = job.frames[0]
    rows = jacobian(StrutModel(machine).in_frame(f.base_from_work, f.tip), s.poses.pose)
    joints = np.array([x.platform_joint for x in machine.struts])
    masses = np.array([720.0] + [15.0] * 6)
    points = np.vstack([[0, 0, -40.0], joints]) - f.tip
    pull = (s.poses.acceleration[:3].T + np.array([0, 0, G])) * 1e-3
    out = np.empty((6, N))
    moving = np.linalg.norm(s.poses.rate[:3], axis=0) > 1e-6
    for i in range(N):
        forces = masses[:, None] * pull[i]
        wrench = np.concatenate([forces.sum(axis=0), np.cross(points, forces).sum(axis=0)])
        wrench -= moving[i] * np.array([300, 0, 150, 0, 0, 5000.0])
        out[:, i] = np.linalg.solve(rows[i].T, wrench)
    return out


def test_worst_loads_equal_the_formulas():
    machine = described()
    job, s = swinging(machine)
    result = run(job, s, [700, 1900], machine=machine)
    worst = {(w.limit.name, w.strut): w for w in result.worst}
    thrust = thrusts(machine, job, s)
    screw = machine.struts[0].screw
    driving = thrust * s.speed >= 0
    torque = thrust * 0.020 / (2 * np.pi * 1.5) * np.where(driving, 1 / 0.9, 0.8)
    torque += 0.004 * 2 * np.pi * 1.5 / 20.0 * s.acceleration
    power = torque * s.speed * 2 * np.pi * 1.5 / 20.0
    free = s.length - 600.0
    euler = 0.5 * 2.045748516 * np.pi**2 * 206e3 * np.pi * 60.0**4 / 64 / free**2
    beam = 3.926602312**2 / (2 * np.pi) * np.sqrt(206e9 / 7850) * 0.015 / (free * 1e-3) ** 2 * 60 * 0.8
    assert screw.ends == "fixed-supported"
    for k in range(6):
        for name, values in (("thrust", thrust), ("torque", torque), ("power", power)):
            assert worst[name, k + 1].value == pytest.approx(np.abs(values[k]).max(), rel=1e-9)
        assert worst["buckling", k + 1].ratio == pytest.approx(max((thrust / euler)[k].max(), 0), rel=1e-6, abs=1e-12)
        turns = np.abs(s.speed[k]) / 20.0 * 60.0
        assert worst["critical-speed", k + 1].ratio == pytest.approx((turns / beam[k]).max(), rel=1e-6)
        assert worst["critical-speed", k + 1].value == pytest.approx(turns[(turns / beam[k]).argmax()], rel=1e-9)


def test_continuous_thrust_is_the_root_mean_square_of_the_window_across_blocks():
    machine = described()
    job, s = swinging(machine)
    thrust = thrusts(machine, job, s)
    size = round(2.0 / PERIOD)
    before = np.concatenate([np.repeat(thrust[:, :1], size, axis=1), thrust], axis=1) ** 2
    means = np.array([np.sqrt(before[:, i + 1 : i + 1 + size].mean(axis=1)) for i in range(0, N, 50)]).T
    for at in ([], [1, 500, 501, 2600]):
        worst = {w.strut: w for w in run(job, s, at, machine=machine).worst if w.limit.name == "thrust-continuous"}
        for k in range(6):
            assert worst[k + 1].value >= means[k].max() * (1 - 1e-9)
            assert worst[k + 1].value == pytest.approx(means[k].max(), rel=5e-3)


def test_a_weak_motor_is_a_finding_with_its_strut():
    weak = STRUT.replace("torque_nm = 45", "torque_nm = 9").replace(
        "torque_continuous_nm = 25", "torque_continuous_nm = 9"
    )
    machine = described(weak)
    job, s = swinging(machine)
    found = [f for f in listed(run(job, s, machine=machine)) if f[0] == "torque"]
    assert found
    assert all(f[5] > f[6] == 9.0 for f in found)


def test_forces_without_screws_make_no_check():
    machine = described("", REST)
    job, s = swinging(machine)
    assert {w.limit.name for w in run(job, s, machine=machine).worst}.isdisjoint({"thrust", "torque", "buckling"})


def test_shares_of_limits_by_length_are_value_by_allowed_in_either_sense():
    machine = described()
    job, s = swinging(machine)
    checks = [c for c, _ in audit(job, machine=machine)._checks if isinstance(c, Bearing)]
    assert {c.band.limit for c in checks} == {"buckling", "critical-speed"}
    row, at = np.repeat(np.arange(6), 30), np.tile(np.arange(0, N, 100), 6)
    for check in checks:
        told = check.figures(row, at, s)
        assert check.measure(s)[row, at] == pytest.approx(told.value / told.allowed)
        assert (told.value >= 0.0).all()
        assert told.value.max() > 0.0


def test_a_window_may_have_a_million_periods_and_no_more():
    RunningMean(lambda s: s.speed, MOST_PERIODS * 1.0, 1.0)
    with pytest.raises(HexpostError, match="at most 1,000,000 control periods, found 1,000,001"):
        RunningMean(lambda s: s.speed, MOST_PERIODS + 1.0, 1.0)


def test_no_end_of_a_strut_is_named_for_the_worst_speed():
    s = rest(5)
    s.speed[:, 2] = 1.0
    told = run(moves(), s).worst
    assert {w.joint for w in told if w.limit.name in {"speed", "stroke"}} == {0}
