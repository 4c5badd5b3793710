"""A program on an ordinary machine by its axes: closed forms, ruckig axis by axis, what operations are, refusals."""

import json

import numpy as np
import pytest
from verify.folders import PROGRAM, convert, copied, run, sign

from hexpost.comparison import compared_with
from hexpost.errors import InputError
from hexpost.feed.task import STRUT_LIMITED
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.machine.ordinary import LETTERS, load_ordinary
from hexpost.motion import motion
from hexpost.path.build import build
from hexpost.pipeline import parse, schedule, understand

LIMITS = {
    "X": (500, 3000, 30000), "Y": (450, 2500, 40000), "Z": (300, 5000, 90000),
    "A": (90, 400, 4000), "B": (120, 500, 4000), "C": (60, 300, 9000),
}  # fmt: skip
LONGER = 0.012
"""Accelerations are planned with 98.5 % of the limits, so that corrections have room."""


def described(limits=LIMITS, rest="", scale=1.0):
    """Return the file of an ordinary machine, ``scale`` times as fast."""
    text = 'name = "Portal mill (invented)"\n' + rest
    for letter, (v, a, j) in limits.items():
        unit = "deg" if letter in "ABC" else "mm"
        text += f"[axis.{letter}]\nspeed_{unit}_s = {v * scale}\nacceleration_{unit}_s2 = {a * scale**2}\n"
        text += f"jerk_{unit}_s3 = {j * scale**3}\n"
    return text


@pytest.fixture(scope="module")
def ordinary(tmp_path_factory):
    def make(**given):
        file = tmp_path_factory.mktemp("ordinary") / "portal.toml"
        file.write_text(described(**given))
        return load_ordinary(file)

    return make


@pytest.fixture(scope="module")
def machine():
    return demonstration_machine()


def there(text, machine, other):
    """Return path and timing of a program on the other machine."""
    inputs = understand(parse(text.encode(), "p.nc"), machine, no_tools(), no_setup())
    moves, planned = inputs.meaning.moves, other.planned(machine)
    return motion(build(moves, planned), moves, inputs.meaning.events, planned, STRUT_LIMITED)


def seven(way, v, a, j):
    """Return the least time of a way from rest to rest under limits of speed, acceleration and jerk.

    Closed form of the profile of seven segments (L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic
    Machines and Robots, 2008, section 3.4, from memory).
    """
    ramp = v / a + a / j if v * j >= a * a else 2.0 * np.sqrt(v / j)
    if v * ramp <= way:
        return way / v + ramp
    if way >= 2.0 * a**3 / j**2:
        return a / j + np.sqrt((a / j) ** 2 + 4.0 * way / a)
    return 4.0 * np.cbrt(way / (2.0 * j))


@pytest.mark.parametrize("letter", LETTERS)
@pytest.mark.parametrize("way", [0.05, 1.0, 40.0])
def test_a_single_move_of_one_axis_takes_what_its_closed_form_says(letter, way, machine, ordinary):
    _, timing = there(f"G21 G91 G00 {letter}{way}\nM30\n", machine, ordinary())
    least = seven(way, *LIMITS[letter])
    assert least - 1e-6 <= timing.ticks * 1e-3 <= (1 + LONGER) * least + 1e-3


def test_lines_of_several_axes_are_as_fast_as_the_axis_that_holds_them_most(machine, ordinary):
    """By ruckig: along the line under the least share of any axis; and no axis alone would be slower."""
    ruckig = pytest.importorskip("ruckig", reason="ruckig is not installed")

    def least(way, v, a, j):
        asked = ruckig.InputParameter(1)
        asked.current_position, asked.target_position = [0.0], [float(way)]
        asked.max_velocity, asked.max_acceleration, asked.max_jerk = [float(v)], [float(a)], [float(j)]
        out = ruckig.Trajectory(1)
        ruckig.Ruckig(1).calculate(asked, out)
        return out.duration

    rng, other = np.random.default_rng(5), ordinary()
    limits = np.array([LIMITS[x] for x in LETTERS]).T
    for _ in range(8):
        way = np.round(rng.uniform(-1, 1, 6) * np.array([120, 120, 80, 9, 9, 9]) * rng.choice([0.02, 1.0]), 4)
        words = " ".join(f"{x}{w:.4f}" for x, w in zip(LETTERS, way, strict=True))
        seconds = there(f"G21 G91 G00 {words}\nM30\n", machine, other)[1].ticks * 1e-3
        along = least(1.0, *(limits / np.abs(way)).min(axis=1))
        assert along - 1e-6 <= seconds <= (1 + LONGER) * along + 1e-3
        assert seconds >= max(least(abs(w), *each) for w, each in zip(way, limits.T, strict=True)) - 1e-6


def test_a_program_with_corners_keeps_the_limits_of_every_axis(machine, ordinary):
    """Counted from the poses of every tick by finite differences, which know nothing of the planner."""
    text = "G21 G91 G01 F20000\nX40\nY30 A5\nX-20 Y10 B-3\nG02 X20 I10 F9000\nG01 Z-30 C6\nG00 X-40 Y-40 Z30\nM30\n"
    path, timing = there(text, machine, ordinary())
    tick = np.arange(timing.ticks + 1)
    at = timing.motion(tick)
    place = timing.locate(path, at)
    q = path.evaluate(place.piece, place.u, 0)[0]
    q[3:] = np.degrees(q[3:])
    for order, limit in enumerate(np.array([LIMITS[x] for x in LETTERS]).T, 1):
        worst = np.abs(np.diff(q, order)).max(axis=1) / 1e-3**order
        assert (worst <= limit * 1.001 + 1e-6).all()


def test_the_scaling_law(machine, ordinary):
    """Speeds times k, accelerations k², jerks k³: rapids take 1/k of the time, to a tick for each of them."""
    text = "G21 G91 G00 X90 Y20\nZ-15 A8\nX-40 B4\nM30\n"
    one, twice = (there(text, machine, ordinary(scale=k))[1].ticks for k in (1.0, 2.0))
    assert abs(twice - one / 2) <= 3


OPERATIONS = """G21
T1 M06
G00 X0 Y0 Z500
G00 Z450
G01 Z440 F2000
X40
G00 Z500
X80
G01 Z470
G00 Z500
G81 X0 Y0 Z440 R450 F500
X20
G80
G00 Z600
M30
"""


def test_operations_run_from_rapid_to_rapid_and_sum_up(machine, ordinary):
    """Lines read off the program by hand; the times of all are those of the motion, here and there."""
    job = schedule(understand(parse(OPERATIONS.encode(), "p.nc"), machine, no_tools(), no_setup()))
    found = compared_with(job, ordinary())
    o = found.operations
    assert [o.name(i) for i in range(len(o.tool))] == ["5 to 6", "9", "11", "12", "14 (rapid)"]
    assert o.tool.tolist() == [1] * 5
    whole = [job.timing.ticks * 1e-3, found.duration]
    assert o.seconds.sum(axis=1) == pytest.approx(whole, abs=1e-9)
    assert found.blocks.sum(axis=1) == pytest.approx(whole, abs=1e-9)
    assert found.line.tolist() == [3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 14]


def test_dwells_are_of_no_block(machine, ordinary):
    text = "G21\nG00 X10 Z500\nG04 X2\nG01 X30 F3000\nG04 X1\nG00 Z550\nM30\n"
    job = schedule(understand(parse(text.encode(), "p.nc"), machine, no_tools(), no_setup()))
    found = compared_with(job, ordinary())
    assert found.blocks.sum(axis=1) + 3.0 == pytest.approx([job.timing.ticks * 1e-3, found.duration], abs=1e-9)


def test_a_low_feed_takes_the_same_time_on_both(machine, ordinary):
    text = "G21\nG91 G01 X60 F600\nM30\n"
    job = schedule(understand(parse(text.encode(), "p.nc"), machine, no_tools(), no_setup()))
    assert compared_with(job, ordinary()).duration == pytest.approx(job.timing.ticks * 1e-3, rel=2e-2)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    place = tmp_path_factory.mktemp("against")
    (place / "portal.toml").write_text(described(rest="") + "[times]\ntool_change_s = 4\n")
    return convert(place, PROGRAM, "--compare-with", place / "portal.toml")


def test_every_form_tells_it_and_the_job_is_proven(job):
    told = json.loads((job / "report.json").read_text())["compared_with"]
    assert told["name"] == "Portal mill (invented)"
    assert told["beside"]["known_s"] == 8.0
    text, page = (job / "report.txt").read_text(), (job / "report.html").read_text()
    assert "Compared with Portal mill (invented)" in text
    assert f"{told['duration_s']:.1f} s there" in text
    assert "operation, lines" in text
    assert '<h2 id="compared">' in page
    code, output = run("verify", job)
    assert code == 0, output


def test_another_machine_in_the_folder_is_found(job, tmp_path):
    forged = copied(job, tmp_path)
    (forged / "inputs/compared.toml").write_text(described(scale=3.0))
    sign(forged)
    code, output = run("verify", forged)
    assert code == 2
    assert "report.json" in output


@pytest.mark.parametrize(
    ("limits", "rest", "fault"),
    [
        ({"X": (1, 1, 1)}, "", "`axis.Y` is missing"),
        (LIMITS, "corner_tolerance_mm = 50\n", "corner_tolerance_mm is 50; it must be at most 20"),
        (LIMITS | {"U": (1, 1, 1)}, "", "unknown key `axis.U`"),
        (LIMITS | {"X": (0, 1, 1)}, "", "axis.X.speed_mm_s is 0.0; it must be above 0"),
    ],
)
def test_a_file_that_is_not_understood_is_refused(limits, rest, fault, ordinary):
    with pytest.raises(InputError) as caught:
        ordinary(limits=limits, rest=rest)
    assert fault in str(caught.value)


def test_a_program_that_turns_an_axis_that_is_not_there_is_refused_with_its_line(tmp_path):
    (tmp_path / "p.nc").write_text("G21\nG00 X0 Y0 Z200\nG01 X20 F900\nB5\nM30\n")
    (tmp_path / "o.toml").write_text(described({x: LIMITS[x] for x in "XYZ"}))
    code, output = run("audit", tmp_path / "p.nc", "--compare-with", tmp_path / "o.toml")
    assert code == 2
    assert "4: this block turns B" in " ".join(output.split())


def test_faults_of_both_machines_come_in_one_run_and_dry_runs_are_not_compared(tmp_path):
    (tmp_path / "p.nc").write_text("G21\nG999\nM30\n")
    (tmp_path / "o.toml").write_text("speed = 1\n[axis.X]\n")
    _, output = run("audit", tmp_path / "p.nc", "--compare-with", tmp_path / "o.toml")
    assert "G999" in output
    assert "axis.X.speed_mm_s" in output
    code, output = run("convert", tmp_path / "p.nc", "--compare-with", tmp_path / "o.toml", "--override", 20)
    assert code == 2
    assert "--compare-with does not go with" in output
