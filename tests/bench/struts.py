"""Struts as they are: the full audit against the bare solve."""

from itertools import repeat

import numpy as np
from audit.jobs import PERIOD, audit, frame, moves
from machine.described import REST, STRUT, described
from turns import seconds

from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel
from hexpost.setpoints.model import Poses
from hexpost.setpoints.solve import Solver

BLOCK, BLOCKS = 8192, 24
"""Blocks as long as those of the pipeline; a job of 197 s at 1 ms."""

NEEDED = ("joint-angle", "thrust", "torque")


def described_job():
    """Return a machine with cones, thrusts and torques, its job, and a block of five-axis samples."""
    keep = (
        "lead",
        "gear",
        "eff",
        "back",
        "inertia",
        "thrust_n",
        "torque_n",
        "base",
        "platform_c",
        "[strut.j",
        "[strut.sc",
    )
    strut = "\n".join(row for row in STRUT.splitlines() if row.startswith(keep))
    machine = described(strut, REST.split("[spindle]", maxsplit=1)[0])
    job = moves(frames=[frame(base_from_work=pose_matrix(machine.pallet.pose, machine.tilt_order))])
    t = np.arange(BLOCK) * PERIOD
    size = np.array([100, 80, 20, 0.2, 0.15, 0.0])[:, None]
    w = 2 * np.pi / (BLOCK * PERIOD) * np.array([1, 2, 3, 2, 1, 1])[:, None]  # a block begins where it ends
    pose = size * np.sin(w * t) + np.array([0, 0, 200, 0, 0, 0])[:, None]
    zero = np.zeros(BLOCK, dtype=np.int64)
    poses = Poses(
        tick=np.arange(BLOCK), move=zero, line=zero.astype(np.int32) + 10, span=zero, frame=0, pose=pose,
        rate=size * w * np.cos(w * t), acceleration=-size * w * w * np.sin(w * t), corner=zero,
    )  # fmt: skip
    return machine, job, poses


def full_audit() -> dict[str, object]:
    """Time of solving and auditing, joints and forces included, over that of the bare solve; no commands: no table."""
    machine, job, poses = described_job()
    struts = StrutModel(machine).in_frame(job.frames[0].base_from_work, job.frames[0].tip)

    def bare():
        for q in repeat([poses.pose, poses.rate, poses.acceleration], BLOCKS):
            struts.derivatives(q)

    def full():
        solver, checks = Solver(machine, job.frames, commands=False), audit(job, machine=machine)
        for p in repeat(poses, BLOCKS):
            checks.add(solver.solve(p))
        return checks.finish()

    assert {w.limit.name for w in full().worst} >= set(NEEDED)
    solve, whole = seconds(bare, full)
    return {"ratio": whole / solve, "solved_per_s": BLOCK * BLOCKS / solve, "audited_per_s": BLOCK * BLOCKS / whole}
