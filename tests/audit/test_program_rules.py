"""Rules that save parts: tool length, tool number, retracts that go down, the pallet."""

import numpy as np
import pytest
from audit.jobs import MACHINE, TOOL, frame, listed, moves, rest, run, words

from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Tool, Tools
from hexpost.moves.model import FEED_RAPID, FEED_TIP

TOOLS = Tools(
    tools={1: Tool(number=1, length=TOOL, diameter=12.0), 2: Tool(number=2, length=80.0, diameter=6.0)}, given=True
)
BARE = frame(row=0, length=0.0)
EQUIPPED = frame()


def samples(counts):
    """Return samples, so many on each move."""
    return rest(sum(counts), move=np.repeat(np.arange(len(counts)), counts))


def test_cutting_without_tool_length_is_a_finding_on_the_first_cutting_move():
    m = moves(4, mode=[FEED_RAPID, FEED_TIP, FEED_TIP, FEED_RAPID], frames=[BARE])
    result = run(m, samples([3, 4, 5, 6]), tools=TOOLS)
    assert listed(result) == [("tool-length", 0, 20, 3, 11, TOOL, 0.0)]
    assert result.findings.ratio[0] == 1.0 + TOOL
    assert words(result.findings, 0).startswith("Write G43")


def test_with_the_length_active_or_only_rapids_there_is_no_finding():
    assert not listed(run(moves(2, frames=[EQUIPPED]), samples([3, 4]), tools=TOOLS))
    assert not listed(run(moves(2, frames=[BARE], mode=FEED_RAPID), samples([3, 4]), tools=TOOLS))
    in_machine = frame(offset="G53", row=0, length=0.0, base_from_work=pose_matrix(MACHINE.machine_zero, "ABC"))
    assert not listed(run(moves(2, frames=[in_machine]), samples([3, 4]), tools=TOOLS))


def test_each_stretch_between_changes_of_frame_is_one_finding():
    m = moves(6, frames=[BARE, EQUIPPED], of=[0, 0, 1, 0, 0, 0])
    assert sorted(f[2:5] for f in listed(run(m, samples([2] * 6), tools=TOOLS))) == [(10, 0, 3), (40, 6, 11)]


def test_without_a_tools_file_it_is_a_warning():
    result = run(moves(2, frames=[BARE]), samples([3, 4]))
    assert not listed(result)
    warning, spindle = result.warnings
    assert "the spindle has not been started" in spindle and warning == (
        "Line 10 (G01 X1) cuts with no tool length active, and there is no tools file: the tip is taken to be the "
        "spindle gauge point."
    )


def test_cutting_with_no_tool_called_is_a_warning():
    result = run(moves(1, frames=[frame(tool=0, row=0, length=0.0)]), samples([3]), tools=TOOLS)
    assert not listed(result)
    assert "the program has called no tool (T, M06)" in result.warnings[0]


@pytest.mark.parametrize("mode", [FEED_TIP, FEED_RAPID])
def test_h_that_is_not_the_tool_in_the_spindle(mode):
    m = moves(2, mode=mode, frames=[frame(tool=2, row=1)])
    result = run(m, samples([3, 4]), tools=TOOLS)
    assert listed(result) == [("tool-number", 0, 10, 0, 6, 1.0, 2.0)]
    assert result.findings.ratio[0] == 2.0


def test_h_without_any_tool_called_is_a_warning():
    result = run(moves(1, frames=[frame(tool=0, row=1)]), samples([3]), tools=TOOLS)
    assert not listed(result)
    assert result.warnings[0].startswith("Line 10 (G01 X1) moves with length H1, but the program has called no tool")


def test_a_retract_in_machine_coordinates_that_goes_down_is_a_finding():
    machine = frame(offset="G53", row=0, length=0.0, base_from_work=pose_matrix(MACHINE.machine_zero, "ABC"))
    start, end = np.zeros((6, 4)), np.zeros((6, 4))
    start[2] = [-300.0, 50.0, -10.0, 5.0]
    end[0] = 40.0
    end[2] = [0.0, 0.0, -10.0 - 1e-7, 0.0]
    m = moves(4, mode=FEED_RAPID, frames=[machine, EQUIPPED], of=[0, 0, 0, 1], start=start, end=end)
    result = run(m, samples([3, 4, 5, 6]), tools=TOOLS)
    assert listed(result) == [("retract", 0, 20, 3, 6, 50.0, 0.0)]
    assert result.findings.ratio.tolist() == [51.0]


def test_down_is_down_in_the_base_frame_even_where_machine_coordinates_are_turned_over():
    turned = pose_matrix(np.array([0.0, 0.0, 1000.0, np.pi, 0.0, 0.0]), "ABC")
    machine = frame(offset="G53", row=0, length=0.0, base_from_work=turned)
    end = np.zeros((6, 2))
    end[2] = [30.0, -30.0]
    m = moves(2, mode=FEED_RAPID, frames=[machine], start=np.zeros((6, 2)), end=end)
    (found,) = [f for f in listed(run(m, samples([3, 4]))) if f[0] != "singular-pose"]
    assert found[:3] == ("retract", 0, 10)
    assert found[5] == pytest.approx(30.0)


def test_a_move_too_short_for_a_sample_gets_the_next_one():
    machine = frame(offset="G53", row=0, length=0.0, base_from_work=pose_matrix(MACHINE.machine_zero, "ABC"))
    end = np.zeros((6, 3))
    end[2] = [0.0, -0.01, 0.0]
    m = moves(3, mode=FEED_RAPID, frames=[machine], start=np.zeros((6, 3)), end=end)
    for at in ([], [5]):
        assert listed(run(m, samples([5, 0, 4]), at))[0][:5] == ("retract", 0, 20, 5, 5)


def test_the_tip_below_the_pallet_face_within_its_area():
    s = samples([20, 20])
    s.poses.pose[2, 5:9] = -3.0
    s.poses.pose[2, 7] = -4.0
    s.poses.pose[2, 12] = 0.0
    s.poses.pose[2, 30:34] = -50.0
    s.poses.pose[0, 30:34] = 301.0
    for at in ([], [7]):
        result = run(moves(2), s, at)
        assert listed(result) == [("pallet", 0, 10, 5, 8, -4.0, 0.0)]
        assert result.findings.ratio[0] == 5.0
        assert np.isnan(result.findings.feed[0])
    assert not [w for w in result.worst if w.limit.name == "pallet"]


def test_the_pallet_is_seen_from_any_work_frame():
    place = pose_matrix(MACHINE.pallet.pose, "ABC") @ pose_matrix(np.array([50.0, 0.0, 100.0, 0.3, 0.0, 0.5]), "ABC")
    s = rest(10)
    s.poses.pose[:3] = np.array([0.0, 0.0, 30.0])[:, None]
    assert not listed(run(moves(frames=[frame(base_from_work=place)]), s))
    s.poses.pose[2, 4] = -(100.0 + 2.0) / np.cos(0.3)
    (found,) = listed(run(moves(frames=[frame(base_from_work=place)]), s))
    assert found[0] == "pallet"
    assert found[5] == pytest.approx(-2.0)
