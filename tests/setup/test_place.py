"""Placement: against brute force, on any number of cores, and the sample that fails until it is placed."""

import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.load import load_setup
from hexpost.pipeline import Files, examine, load, schedule, understand
from hexpost.setup.model import Spot
from hexpost.setup.place import Search, footprint, on_pallet, place
from hexpost.setup.trial import moved, spot_of
from hexpost.workers.engines import processes, serial

SAMPLES = Path(__file__).parent.parent.parent / "samples"
FILES = Files(program=SAMPLES / "frustum.nc", tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup_corner.toml")
SMALL = """%
G21 G17 G90 G94 G40 G49 G64
T1 M06
G54
G43 H1
G00 X0. Y0. Z20. A-16.
G01 X40. F9000
A16. Z25.
X0. B18.
G53 G00 Z0.
M30
%
"""
SETUP = "[offset.G54]\npose_mm_deg = [200, 180, 60, 0, 0, 10]\n[offset.G55]\npose_mm_deg = [0, 0, 9, 0, 0, 0]\n"
TOOL = "[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 16\n"
DEG = np.pi / 180


@pytest.fixture
def small(tmp_path):
    for name, text in (("p.nc", SMALL), ("s.toml", SETUP), ("t.toml", TOOL)):
        (tmp_path / name).write_text(text)
    return Files(program=tmp_path / "p.nc", tools=tmp_path / "t.toml", setup=tmp_path / "s.toml")


@pytest.mark.long
@pytest.mark.parametrize("objective", ["margin", "time"])
def test_at_least_as_good_as_brute_force(small, objective):
    """Authority: every node of the grid run on its own, offsets written by hand."""
    axis = (-150.0, 0.0, 150.0)
    found = place(
        small,
        "as-programmed",
        Search(x=(-150, 150), y=(-150, 150), turn=(0, 0), step=150, objective=objective),
        serial(),
    )
    inputs = load(small)
    scores = {}
    for x, y in product(axis, axis):
        pose = np.array([x, y, 60, 0, 0, 10 * DEG])
        setup = replace(inputs.setup, offsets={**inputs.setup.offsets, "G54": pose})
        result = examine(schedule(understand(inputs.program, inputs.machine, inputs.tools, setup)))
        assert result.findings.count == 0
        scores[x, y] = max(w.ratio for w in result.worst) if objective == "margin" else result.duration
    best = found.best.worst if objective == "margin" else found.best.duration
    assert best <= min(scores.values()) + 1e-9
    for node, o in zip(found.nodes, found.sweep, strict=True):
        if objective == "margin":  # coarse runs see nearly what exact ones see
            assert o.worst == pytest.approx(scores[node.x, node.y], rel=0.1)


@pytest.mark.long
def test_the_nearest_clean_place_is_near_and_nothing_much_nearer_is_clean():
    """Authority: the same job run at places all around the present one, at 70 % of the way that was found."""
    search = Search(turn=(0, 0), step=150, objective="nearest")
    found = place(FILES, "as-programmed", search, serial())
    now, there = np.array([found.present.x, found.present.y]), np.array([found.spot.x, found.spot.y])
    way = float(np.hypot(*(there - now)))
    assert found.best.clean and not found.now.clean and 0 < way < 200
    inputs = load(FILES)
    for angle in np.arange(0, 360, 45) * DEG:
        x, y = now + 0.7 * way * np.array([np.cos(angle), np.sin(angle)])
        setup = moved(inputs, Spot(x=float(x), y=float(y), z=found.present.z))
        result = examine(schedule(understand(inputs.program, inputs.machine, inputs.tools, setup)))
        assert result.findings.count > 0, f"clean already at {x:.0f} {y:.0f}"


def test_a_clean_job_stays_where_it_is(small):
    small.setup.write_text(SETUP.replace("200, 180", "0, 0"))
    found = place(small, "as-programmed", Search(turn=(0, 0), step=300, objective="nearest"), serial())
    assert found.now.clean and found.spot == found.present


def test_same_result_on_one_and_two_processes(small):
    search = Search(x=(-100, 0), y=(50, 50), turn=(0, 0), step=100)
    one, two = (place(small, "as-programmed", search, engine) for engine in (serial(), processes(2)))
    assert two.spot == one.spot
    assert two.best.key("margin") == one.best.key("margin")
    assert [o and o.worst for o in two.sweep] == [o and o.worst for o in one.sweep]


def test_all_offsets_of_the_program_move_as_one_body():
    files = replace(FILES, program=SAMPLES / "plate_inch.nc", setup=SAMPLES / "setup.toml")
    inputs = load(files)
    now = spot_of(inputs)
    then = Spot(x=now.x + 30, y=now.y - 20, z=now.z, turn=40 * DEG)
    setup = moved(inputs, then)
    used = {f.offset for f in inputs.meaning.moves.frames} - {"G53"}
    assert used == {"G57"}
    for name, pose in inputs.setup.offsets.items():
        if name in used:
            shift = pose_matrix(setup.offsets[name], "ABC") @ np.linalg.inv(pose_matrix(pose, "ABC"))
            assert shift[2] == pytest.approx([0, 0, 1, 0], abs=1e-12)
            assert np.arctan2(shift[1, 0], shift[0, 0]) == pytest.approx(40 * DEG)
            assert setup.offsets[name][:2] == pytest.approx([then.x, then.y])
        else:
            assert setup.offsets[name] == pytest.approx(pose)


def test_cuts_stay_on_the_pallet():
    """The tip runs round the frustum on a radius of 61.398 mm: its program says so; the pallet ends at 300 mm."""
    job = schedule(load(FILES))
    machine, now = job.inputs.machine, spot_of(job.inputs)
    cuts = footprint(job)
    assert cuts.shape[1] <= 256
    for y, inside in ((-238.55, True), (-238.65, False)):
        assert on_pallet(cuts, now, Spot(x=0, y=y, z=60), machine) == inside


def test_a_job_that_fails_where_it_stands_passes_where_place_puts_it(tmp_path):
    inputs = ["--tools", str(SAMPLES / "tools.toml")]
    program, out = str(SAMPLES / "frustum.nc"), tmp_path / "placed.toml"
    before = CliRunner().invoke(main, ["audit", program, *inputs, "--setup", str(FILES.setup), "--json"])
    assert before.exit_code == 1
    done = CliRunner().invoke(
        main,
        ["place", program, *inputs, "--setup", str(FILES.setup), "-o", str(out), "--step-mm", "50", "--turn-deg",
         "-45", "-45", "--x-mm", "-50", "50", "--y-mm", "0", "0", "--serial",
         "--map", str(tmp_path / "map.csv"), "--json"],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["present"]["findings"] > 0 == said["best"]["findings"]
    assert said["present"]["worst_use"] > 1 > said["best"]["worst_use"]
    after = CliRunner().invoke(main, ["audit", program, *inputs, "--setup", str(out), "--json"])
    assert after.exit_code == 0
    report = json.loads(after.stdout)
    assert report["verdict"] == "clean"
    assert report["duration_s"] == pytest.approx(said["best"]["duration_s"])
    assert load_setup(out).offsets["G56"][:3] == pytest.approx([said["best"][k] for k in ("x_mm", "y_mm", "z_mm")])
    rows = (tmp_path / "map.csv").read_text().splitlines()
    assert len(rows) == 1 + len(said["map"])


def test_the_search_stays_in_its_ranges(small):
    """Ranges that are not given are the pallet in x and y, and the height as it is, also where cuts may overhang."""
    found = place(small, "as-programmed", Search(y=(0, 0), turn=(0, 0), step=300, overhang=True), serial())
    assert abs(found.spot.x) <= 300 and found.spot.y == 0
    assert found.spot.z == found.present.z == 60


def test_what_cannot_be_searched_is_refused(small, tmp_path):
    words = ["place", str(small.program), "--tools", str(small.tools), "--setup", str(small.setup)]
    for extra, said in (
        (["--step-mm", "0.1"], "places; at most"),
        (["--x-mm", "100", "-100"], "write LOW, then HIGH"),
        (["--turn-deg", "nan", "0"], "write LOW, then HIGH"),
        (["-o", str(small.setup)], "is an input, too"),
    ):
        done = CliRunner().invoke(main, words + extra)
        assert done.exit_code == 2
        assert said in done.output


def test_a_program_without_motion_is_refused(small):
    small.program.write_text("%\nG21 G90\nM30\n%\n")
    done = CliRunner().invoke(main, ["place", str(small.program)])
    assert done.exit_code == 2
    assert "moves in no work offset" in done.output


def test_no_place_on_the_pallet_is_said(small, tmp_path):
    small.program.write_text(SMALL.replace("G01 X40.", "G01 X900."))
    words = ["place", str(small.program), "--tools", str(small.tools), "--setup", str(small.setup)]
    done = CliRunner().invoke(main, [*words, "--serial"])
    assert "no place of the sweep keeps the cuts on the pallet" in done.output
    assert done.exit_code == 1
