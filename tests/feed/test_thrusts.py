"""Thrust limits in the strut-limited schedule: kept at every sample, named as the cause, left where no feed helps."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from feed.jobs import FRAME, along_x, circle, lines
from feed.test_strut_limited import planned

from hexpost.feed.model import cause_text
from hexpost.feed.reasons import reasons
from hexpost.kinematics.struts import StrutModel, jacobian
from hexpost.machine.load import load_machine
from hexpost.setpoints.sample import sample

DESCRIBED = load_machine(Path(__file__).parents[2] / "samples" / "described.toml")
"""720 kg with its centre 40 mm below the platform, 15 kg at each joint; a force of 300, 0, 150 N and 5 N m."""


def bearing(newton):
    """Return the described machine with struts that bear so much thrust."""
    struts = tuple(replace(s, screw=replace(s.screw, thrust=newton)) for s in DESCRIBED.struts)
    return replace(DESCRIBED, struts=struts)


def worst_thrust(moves, on, plans=planned):
    """Return the largest thrust of each strut at the samples of a job that does not tilt, by a plain solve of each."""
    path, timing = plans(moves, on)
    struts = StrutModel(on).in_frame(FRAME.base_from_work, FRAME.tip)
    masses = np.array([720.0] + [15.0] * 6)
    points = np.vstack([[0, 0, -40.0], [s.platform_joint for s in on.struts]]) - FRAME.tip
    most = np.zeros(6)
    for poses in sample(timing, path, moves):
        pull = (poses.acceleration[:3].T + np.array([0, 0, 9810.0])) * 1e-3
        forces = masses[:, None] * pull[:, None]
        wrench = np.concatenate([forces.sum(axis=1), np.cross(points, forces).sum(axis=1)], axis=1)
        moving = np.linalg.norm(poses.rate[:3], axis=0) > 1e-6
        wrench -= moving[:, None] * np.array([300, 0, 150, 0, 0, 5000.0])
        rows = jacobian(struts, poses.pose).transpose(0, 2, 1)
        most = np.maximum(most, np.abs(np.linalg.solve(rows, wrench[:, :, None])[:, :, 0]).max(axis=0))
    return most


def corners():
    """Return a zigzag."""
    q = np.zeros((6, 13))
    q[0], q[1] = np.arange(13) // 2 * 10.0, (np.arange(13) + 1) // 2 * 10.0
    return lines(q, 300.0)


@pytest.mark.parametrize("newton", [5000.0, 3500.0])
@pytest.mark.parametrize("moves", [circle(60.0, 3 * np.pi, 400.0), along_x(150.0, 800.0), corners()])
def test_every_sample_keeps_the_thrust_limits_and_comes_near_them(moves, newton):
    most = worst_thrust(moves, bearing(newton)).max()
    assert 0.9 * newton < most <= newton


def test_less_thrust_never_shortens_a_job_and_is_named_as_the_cause():
    moves = circle(60.0, 4 * np.pi, 400.0)
    ticks = []
    for newton in (1e6, 5000.0, 4000.0, 3200.0):
        path, timing = planned(moves, bearing(newton))
        ticks.append(timing.ticks)
    assert ticks == sorted(ticks)
    assert cause_text(next(iter(reasons(timing, path, moves).total))).endswith("thrust")


def test_where_standing_still_breaks_a_limit_already_the_job_runs_all_the_same():
    moves = circle(60.0, np.pi, 400.0)
    _, timing = planned(moves, bearing(500.0))
    assert timing.ticks == planned(moves, bearing(1e6))[1].ticks
