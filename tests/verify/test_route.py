"""How far a tool is from a move: told where the move is nearest, whatever the platform does about the tool."""

from pathlib import Path

import numpy as np
import pytest
from feed.jobs import lines, machine
from verify.folders import run

from hexpost.verify.route import Route

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize("share", [0.0, 0.03, 0.5, 0.97, 1.0])
@pytest.mark.parametrize("tilt", [0.0, 0.3])
def test_a_free_yaw_does_not_hide_where_on_the_move_the_tool_is(share, tilt):
    """A move of 40 mm in which the platform turns by half a radian about its tool, far more than corners may tilt."""
    ends = np.array([[0.0, 40.0], [0.0, 0.0], [50.0, 50.0], [0.0, 0.0], [tilt, tilt], [0.0, 0.0]])
    turning = ends.copy()
    turning[5] = -0.5, 0.0
    moves = lines(turning, np.inf)
    tolerant = machine(corner_tolerance=0.1, corner_tolerance_tilt=1.7e-4)
    route = Route(moves, tolerant, axis_only=True)
    frame = moves.frames[0]
    pose = turning[:, 0] + share * (turning[:, 1] - turning[:, 0])
    r = route.rotations(pose[3:, None])[0]
    yaw = np.array([[np.cos(0.2), -np.sin(0.2), 0.0], [np.sin(0.2), np.cos(0.2), 0.0], [0.0, 0.0, 1.0]])
    platform = r @ yaw  # the platform may be turned about the axis of its tool by any angle
    t = frame.base_from_work[:3, :3] @ pose[:3] + frame.base_from_work[:3, 3] - platform @ frame.tip
    off, away = route.distance(t[None], platform[None], np.array([0]))
    assert off[0] < 1e-6
    assert away[0] < 1e-9


def test_a_pure_rotation_in_a_poor_pose_has_no_way_for_the_deviation_to_lie_along(tmp_path):
    """The decimals of the table make the resting tip seem to creep, faster than any fixed bound."""
    text = (SAMPLES / "limits.nc").read_text()
    changed = text.replace("N220 G01 X-60. F3000", "N220 G01 B-60. F3000")
    assert changed != text
    (tmp_path / "p.nc").write_text(changed)
    code, output = run(
        "convert", tmp_path / "p.nc", "--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml",
        "--period-ms", "4", "--feed", "strut-limited", "--out", tmp_path / "job",
    )  # fmt: skip
    assert code == 1, output
    code, output = run("verify", tmp_path / "job")
    assert "PROVEN, BROKEN" in output, output
