"""A job begun again at a line: same struts from there on, a way to it from machine zero, marked, and proven."""

import json

import numpy as np
import pytest
from verify.folders import PROGRAM, SETUP, convert, proof, run, sign

from hexpost.machine.load import demonstration_machine


def contents(job):
    manifest = json.loads((job / "manifest.json").read_text())
    events = [row.split(",") for row in (job / "events.csv").read_text().splitlines()[1:]]
    return manifest["settings"], events, np.loadtxt(job / "setpoints.csv", delimiter=",", skiprows=1)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize("line", [7, 8, 11, 13, 14, 17, 20, 24])
def test_a_job_begun_again_is_proven(tmp_path, line):
    job = convert(tmp_path, PROGRAM, "--from-line", line)
    settings, _, table = contents(job)
    assert settings["from_line"] == line
    assert proof(job) == (0, {})
    assert not table[[0, -1], 7:19].any()


@pytest.mark.parametrize("line", [8, 11, 24])
def test_from_the_first_stop_on_the_rows_are_those_of_the_whole_job(whole, tmp_path, line):
    """Ahead of the line the tool now rests; once it rests in both jobs they are one, row by row."""
    _, _, a = contents(whole)
    _, _, b = contents(convert(tmp_path, PROGRAM, "--from-line", line))
    rest = np.flatnonzero((np.abs(a[:, 7:19]).max(axis=1) == 0) & (a[:, -1] > line))[0]
    tail = a[rest:]
    last_decimal = np.array([1e-6] * 12 + [1e-3] * 6 + [0])
    assert (np.abs(tail[:, 1:] - b[-len(tail) :, 1:]) <= 1.01 * last_decimal).all()


def test_what_was_in_force_is_given_again_before_the_tool_moves(tmp_path):
    settings, events, _ = contents(convert(tmp_path, PROGRAM, "--from-line", "11"))
    early = [e[3] for e in events if int(e[1]) == 0]
    assert early == ["T1", "M6", "S1200", "M3", "M8"]
    assert [e[5] for e in events][:2] == ["0", "1"]
    assert settings["restart"]["tool"] == 1
    assert settings["restart"]["offset"] == "G54"
    assert settings["restart"]["tool_length_mm"] == 120
    assert settings["restart"]["pose_mm_deg"] == [20, 40, 30, 0, 0, 0]
    zero = demonstration_machine().machine_zero
    assert settings["restart"]["start_gauge_point_mm_deg"][:3] == zero[:3].tolist()
    report = json.loads((tmp_path / "job" / "report.json").read_text())
    assert "begun again at line 11" in report["warnings"][0]


def test_the_way_is_high_first_and_then_along_the_axis_of_the_tool(tmp_path):
    """Heights and places by hand: with upright tool and pallet-parallel offset the gauge point is tip + length."""
    _, _, table = contents(convert(tmp_path, PROGRAM, "--from-line", "8"))
    from endtoend.test_from_the_table import tool_tips

    way = table[(table[:, -1] == 0) | ((table[:, -1] == 7) & (table[:, 0] < 9.0))]
    tips, axis = tool_tips(way[:, 1:7])
    assert np.abs(axis - [0, 0, 1]).max() < 1e-6
    high = np.abs(tips[:, 2] - tips[0, 2]) < 1e-4
    over = np.hypot(tips[:, 0] + 60, tips[:, 1] + 40) < 1e-4
    assert (high | over).all()
    slow = way[:, -1] == 7
    assert tips[slow][:, 2].max() == pytest.approx(70.0, abs=0.5)
    assert np.abs(np.diff(tips[slow], axis=0)).max() <= 1000 / 60 * 1e-3 + 1e-5
    assert np.abs(tips[-1] - [-60, -40, 20]).max() < 1e-5


def test_it_goes_with_the_other_ways_of_proving_out(tmp_path):
    options = ("--from-line", "10", "--override", "50", "--lift", "20", "--single-block", "--table", "npy")
    job = convert(tmp_path, PROGRAM, *options)
    assert proof(job) == (0, {})


def test_subprograms_cycles_and_compensation(tmp_path):
    text = (
        "%\nO1\nG21\nT1 M06\nG43 H1\nG00 X0 Y0 Z60.\nM98 P7\nX40.\nM98 P7\nG81 X0 Y0 Z30. R50. F500\nX20.\nG80\n"
        "G41 D1 G01 X30. Y10. F900\nX60.\nY40.\nG40 X20.\nG53 G00 Z0\nM30\n"
        "O7\nG91 G01 Z-10. F800\nZ10.\nG90\nG00\nM99\n%\n"
    )
    for line in (8, 11, 14, 21):
        folder = tmp_path / str(line)
        folder.mkdir()
        assert proof(convert(folder, text, "--from-line", line, setup=SETUP)) == (0, {}), line


def test_a_claim_of_another_line_is_not_proven(tmp_path):
    job = convert(tmp_path, PROGRAM, "--from-line", "11")
    manifest = json.loads((job / "manifest.json").read_text())
    manifest["settings"]["from_line"] = 9
    (job / "manifest.json").write_text(json.dumps(manifest))
    sign(job)
    assert proof(job)[0] == 2


def test_a_line_from_which_nothing_moves_is_refused(tmp_path):
    (tmp_path / "p.nc").write_text(PROGRAM)
    for line in ("27", "999"):
        code, output = run("convert", tmp_path / "p.nc", "--from-line", line, "--out", tmp_path / "job")
        assert code == 2
        assert f"from line {line}" in output or f"found line {line}" in output
        assert not (tmp_path / "job").exists()
