"""The rules that settle what a program means (DEVELOPERS.md, "Conventions"), each as a run of the whole chain."""

from pathlib import Path

import numpy as np
import pytest

from hexpost.kinematics.frames import pose_matrix, rotation
from hexpost.machine.load import demonstration_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.pipeline import parse, schedule, understand

MACHINE = demonstration_machine()
PERIOD = MACHINE.period
RAD = np.pi / 180


class Run:
    """All samples of a program as arrays."""

    def __init__(self, text, tmp_path, setup="", tools=""):
        files = []
        for name, content, load, none in (("s", setup, load_setup, no_setup), ("t", tools, load_tools, no_tools)):
            path = Path(tmp_path) / f"{name}.toml"
            path.write_text(content)
            files.append(load(path) if content else none())
        self.inputs = understand(parse(text.encode(), "rules.nc"), MACHINE, files[1], files[0])
        job = schedule(self.inputs)
        points = list(job.setpoints())
        poses = [p.poses for p in points]
        self.line = np.concatenate([p.line for p in poses])
        self.pose = np.concatenate([p.pose for p in poses], axis=1)
        self.rate = np.concatenate([p.rate for p in poses], axis=1)
        self.frame = np.concatenate([np.full(len(p.line), p.frame) for p in poses])
        self.length = np.concatenate([p.length for p in points], axis=1)
        self.tip_speed = np.linalg.norm(self.rate[:3], axis=0)

    def base_pose(self, sample):
        """Return the 4x4 pose of the programmed point of a sample in the base frame."""
        frame = self.inputs.meaning.moves.frames[self.frame[sample]]
        return frame.base_from_work @ pose_matrix(self.pose[:, sample], MACHINE.tilt_order)

    def speed_at_end_of(self, line):
        """Return the tip speed where the tool passes from ``line`` to the next."""
        last = np.flatnonzero(self.line == line)[-1]
        return self.tip_speed[last : last + 2].min()

    def end_of(self, line):
        """Return the last sample of a line."""
        return np.flatnonzero(self.line == line)[-1]


@pytest.fixture
def run(tmp_path):
    return lambda text, **files: Run(text, tmp_path, **files)


def test_right_hand_screws():
    """ISO 841: positive A turns +Y to +Z, positive B +Z to +X, positive C +X to +Y."""
    quarter = np.pi / 2
    x, y, z = np.eye(3)
    assert np.allclose(rotation(quarter, 0, 0, "ABC") @ y, z)
    assert np.allclose(rotation(0, quarter, 0, "ABC") @ z, x)
    assert np.allclose(rotation(0, 0, quarter, "ABC") @ x, y)


def test_angles_turn_about_fixed_axes_a_then_b_then_c():
    a, b, c = 0.3, -0.4, 0.7
    expected = rotation(0, 0, c, "ABC") @ rotation(0, b, 0, "ABC") @ rotation(a, 0, 0, "ABC")
    assert np.allclose(rotation(a, b, c, "ABC"), expected)


def test_a_pure_rotation_leaves_the_tip_still(run):
    r = run("G21 G00 X10 Y-20 Z80\nG01 A10 B-5 F600\nM30\n")
    turning = r.line == 2
    assert np.ptp(r.pose[:3, turning], axis=1).max() < 1e-12
    assert np.allclose(r.pose[3:5, r.end_of(2)], [10 * RAD, -5 * RAD])


def test_a_job_starts_at_rest_at_machine_zero(run):
    r = run("G21 G00 X10 Z80\nM30\n")
    assert not r.rate[:, 0].any()
    assert np.allclose(r.base_pose(0), pose_matrix(MACHINE.machine_zero, "ABC"))


def test_a_setup_file_may_start_it_elsewhere(run):
    r = run("G21 G00 X10 Z80\nM30\n", setup="[start]\npose_mm_deg = [5, 6, 900, 0, 3, 0]\n")
    assert np.allclose(r.base_pose(0), pose_matrix(np.array([5, 6, 900, 0, 3 * RAD, 0]), "ABC"))


def test_a_three_axis_program_under_a_tilted_offset_is_cut_square_to_the_part(run):
    """A B C are 0 in the work frame when a program starts; the first motion turns the tool to them."""
    offset = [20, -10, 60, 6, -4, 15]
    r = run("G21 G00 X0 Y0 Z40\nG01 X20 F600\nM30\n", setup=f"[offset.G54]\npose_mm_deg = {offset}\n")
    pallet = pose_matrix(MACHINE.pallet.pose, "ABC")
    work = pallet @ pose_matrix(np.array(offset, dtype=float) * ([1] * 3 + [RAD] * 3), "ABC")
    assert np.allclose(r.base_pose(r.end_of(1))[:3, :3], work[:3, :3])
    assert np.allclose(r.base_pose(r.end_of(2))[:3, 3], (work @ [20, 0, 40, 1])[:3])
    assert not np.allclose(r.base_pose(0)[:3, :3], work[:3, :3])


def test_unnamed_words_keep_the_physical_tip_over_a_change_of_frame(run):
    setup = "[offset.G54]\npose_mm_deg = [0, 0, 60, 0, 0, 0]\n[offset.G55]\npose_mm_deg = [30, 40, 60, 0, 0, 90]\n"
    r = run("G21 G54 G00 X10 Y20 Z40\nG55 G01 Z45 F600\nM30\n", setup=setup)
    before, after = r.base_pose(r.end_of(1)), r.base_pose(r.end_of(2))
    assert np.allclose(after[:3, 3] - before[:3, 3], [0, 0, 5])
    assert np.allclose(after[:3, :3], rotation(0, 0, 90 * RAD, "ABC"), atol=1e-12)  # turned to C0 of the new frame


def test_units_must_be_stated():
    from hexpost.errors import InputError

    with pytest.raises(InputError, match="units"):
        understand(parse(b"G00 X1\n", "x.nc"), MACHINE, no_tools(), no_setup())


def test_rapids_begin_and_end_at_rest(run):
    r = run("G21 G00 X0 Z80\nG01 X20 F6000\nG00 X40\nG01 X60\nM30\n")
    assert all(r.speed_at_end_of(line) < 1e-9 for line in (1, 2, 3))


@pytest.mark.parametrize("word", ["M00", "M01", "M06 T0", "M60", "G04 P10"])
def test_stop_words_break_a_span_at_rest(word, run):
    if word.startswith("M06"):
        word = "T1 M06"
    tools = "[[tool]]\nnumber = 1\nlength_mm = 0.001\ndiameter_mm = 1\n"
    r = run(f"G21 G00 X0 Z80\nG01 X20 F3000\n{word}\nX40\nM30\n", tools=tools)
    assert r.speed_at_end_of(2) < 1e-9


@pytest.mark.parametrize("word", ["F2900", "S900 M03", "M08", "(remark)", "N50", "G17"])
def test_blocks_without_motion_do_not(word, run):
    r = run(f"G21 G00 X0 Z80\nG01 X20 F3000\n{word}\nX40\nM30\n")
    assert r.speed_at_end_of(2) > 40


def test_corners_are_rounded_in_continuous_mode_and_reached_in_exact_stop_mode(run):
    text = "G21 {mode} G00 X0 Y0 Z80\nG01 X20 F3000\nY20\nM30\n"
    corner = np.array([20.0, 0, 80])[:, None]

    def nearest(r):
        return np.linalg.norm(r.pose[:3] - corner, axis=0).min()

    continuous, exact = run(text.format(mode="G64")), run(text.format(mode="G61"))
    assert 1e-4 < nearest(continuous) < MACHINE.tool_tip.corner_tolerance + 50 * PERIOD / 2
    assert continuous.speed_at_end_of(2) > 1
    assert nearest(exact) < 1e-12
    assert exact.speed_at_end_of(2) < 1e-9


def test_a_reversal_is_reached(run):
    r = run("G21 G00 X0 Y0 Z80\nG01 Z60 F3000\nZ80\nM30\n")
    assert r.pose[2].min() == 60.0


def test_tip_limits_are_vector_norms(run):
    r = run("G21 G00 X-150 Y-150 Z100\nX150 Y150 Z130\nM30\n")
    assert r.tip_speed.max() <= MACHINE.tool_tip.speed * (1 + 1e-9)
    assert r.tip_speed[r.line == 2].max() > 0.5 * MACHINE.tool_tip.speed


@pytest.mark.parametrize(("p", "ticks"), [("100", 100), ("100.0000001", 100), ("100.5", 101), ("1", 1)])
def test_a_pause_takes_whole_ticks(p, ticks, run):
    with_dwell = run(f"G21 G00 X10 Z80\nG04 P{p}\nX20\nM30\n")
    without = run("G21 G00 X10 Z80\nM00\nX20\nM30\n")
    assert with_dwell.line.size - without.line.size == ticks
    assert (with_dwell.line == 2).sum() == ticks


def test_the_last_sample_of_a_span_is_its_exact_end(run):
    r = run("G21 G61 G00 X0.1 Y0.2 Z80.3\nG01 X33.333 Y-7.77 F3000\nA1.234 F600\nM30\n")
    assert np.array_equal(r.pose[:3, r.end_of(2)], [33.333, -7.77, 80.3])
    assert r.pose[3, r.end_of(3)] == 1.234 * RAD


def test_machine_coordinates_retract_upwards_and_keep_the_rest(run):
    tools = "[[tool]]\nnumber = 1\nlength_mm = 100\ndiameter_mm = 10\n"
    setup = "[offset.G54]\npose_mm_deg = [0, 0, 60, 0, 5, 0]\n"
    r = run("G21 T1 M06\nG43 H1 G00 X10 Y5 Z20\nG53 G00 Z0\nM30\n", tools=tools, setup=setup)
    end, before = r.base_pose(r.end_of(3)), r.base_pose(r.end_of(2))
    assert end[2, 3] == pytest.approx(MACHINE.machine_zero[2])
    assert np.allclose(end[:3, :3], before[:3, :3])
    gauge_before = before[:3, 3] + before[:3, :3] @ [0, 0, 100]
    assert np.allclose(end[:2, 3], gauge_before[:2])
