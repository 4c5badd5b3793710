"""The solver against a moving pose known in closed form, across blocks and frames."""

from dataclasses import replace

import numpy as np

from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Poses
from hexpost.setpoints.solve import Solver

MACHINE = demonstration_machine()


def frame(z, tool):
    tip = MACHINE.platform.gauge_point - np.array([0.0, 0.0, tool])
    at = pose_matrix(np.array([0, 0, z, 0.05, 0, 0]), MACHINE.tilt_order)
    return Frame(base_from_work=at, tip=tip, offset="G54", tool=1, length_row=1, length=tool)


FRAMES = (frame(500.0, 120.0), frame(480.0, 80.0))


def poses(first, count, at=0):
    """Samples of x = 100 sin 3t, z = 50 + 20 cos 2t, a = 0.1 sin 2t."""
    tick = np.arange(first, first + count)
    t = tick * MACHINE.period
    zero = 0 * t
    q = np.stack([100 * np.sin(3 * t), zero, 50 + 20 * np.cos(2 * t), 0.1 * np.sin(2 * t), zero, zero])
    v = np.stack([300 * np.cos(3 * t), zero, -40 * np.sin(2 * t), 0.2 * np.cos(2 * t), zero, zero])
    a = np.stack([-900 * np.sin(3 * t), zero, -80 * np.cos(2 * t), -0.4 * np.sin(2 * t), zero, zero])
    none = np.zeros(count, dtype=np.int64)
    return Poses(
        tick=tick,
        move=none,
        line=none.astype(np.int32),
        span=none,
        frame=at,
        pose=q,
        rate=v,
        acceleration=a,
        corner=none,
    )


def test_columns_are_derivatives_of_each_other():
    out = Solver(MACHINE, FRAMES).solve(poses(0, 1000))
    h = MACHINE.period
    assert out.period == h
    assert out.length.shape == out.jerk.shape == (6, 1000)
    middle = (out.length[:, 2:] - out.length[:, :-2]) / (2 * h)
    assert np.abs(middle - out.speed[:, 1:-1]).max() < 1e-3
    assert np.abs((out.speed[:, 2:] - out.speed[:, :-2]) / (2 * h) - out.acceleration[:, 1:-1]).max() < 1e-2
    assert (out.jerk[:, 0] == 0).all()
    assert np.allclose(out.jerk[:, 1:], np.diff(out.acceleration) / h, atol=1e-9)


def test_jerk_runs_across_blocks():
    whole = Solver(MACHINE, FRAMES).solve(poses(0, 300))
    solver = Solver(MACHINE, FRAMES)
    parts = [solver.solve(poses(first, 100)) for first in (0, 100, 200)]
    for name in ("length", "speed", "acceleration", "jerk"):
        joined = np.concatenate([getattr(p, name) for p in parts], axis=1)
        assert np.abs(joined - getattr(whole, name)).max() < 1e-6, name


def test_each_frame_is_seen_with_its_own_offset_and_tool():
    solver = Solver(MACHINE, FRAMES)
    for at in (0, 1, 0):
        block = poses(0, 10, at)
        seen = FRAMES[at]
        struts = StrutModel(MACHINE).in_frame(seen.base_from_work, seen.tip)
        assert np.array_equal(solver.solve(block).length, struts.lengths(block.pose))
        tip_in_base = seen.base_from_work @ np.append(block.pose[:3, 3], 1.0)
        platform = seen.base_from_work @ pose_matrix(block.pose[:, 3], "ABC")
        joint = tip_in_base[:3] + platform[:3, :3] @ (MACHINE.struts[4].platform_joint - seen.tip)
        assert np.isclose(np.linalg.norm(joint - MACHINE.struts[4].base_joint), struts.lengths(block.pose)[4, 3])


def test_the_period_of_the_machine_counts():
    slow = replace(MACHINE, period=0.002)
    assert Solver(slow, FRAMES).solve(poses(0, 5)).period == 0.002


def test_an_empty_block_stays_empty():
    solver = Solver(MACHINE, FRAMES)
    assert solver.solve(poses(0, 0)).jerk.shape == (6, 0)
    assert (solver.solve(poses(0, 2)).jerk[:, 0] == 0).all()
