"""A job begun again at a line: same struts from there on, a way to it from machine zero, marked, and proven."""

import json

import numpy as np
import pytest
from attack.jobs import SAMPLES
from verify.folders import PROGRAM, SETUP, convert, proof, run, sign

from hexpost.machine.load import demonstration_machine

pytestmark = pytest.mark.usefixtures("untried")


def contents(job):
    manifest = json.loads((job / "manifest.json").read_text())
    events = [row.split(",") for row in (job / "events.csv").read_text().splitlines()[1:]]
    return manifest["settings"], events, np.loadtxt(job / "setpoints.csv", delimiter=",", skiprows=1)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize("line", [7, 13, 14, 20])
def test_a_job_begun_again_is_proven(tmp_path, line):
    job = convert(tmp_path, PROGRAM, "--from-line", line)
    settings, _, table = contents(job)
    assert settings["from_line"] == line
    assert proof(job) == (0, {})
    assert not table[[0, -1], 7:19].any()


@pytest.mark.parametrize("line", [8, 24])
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


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("26", "nothing moves from line 26 on"),
        ("27", "line 27 never runs"),
        ("999", "write a line from 1 to"),
        ("0", "write a line from 1 to"),
        ("7@2", "line 7 has no run 2: it runs once"),
        ("7@0", "write a line from 1 to"),
        ("N7", "block number N7 is on no line"),
        ("x", "'x' is no line; write a line (23), a block number (N170) or a run of one (N170@2)"),
        ("2.5", "'2.5' is no line; write a line (23), a block number (N170) or a run of one (N170@2)"),
    ],
)
def test_a_line_from_which_nothing_moves_is_refused(asked, said, tmp_path):
    (tmp_path / "p.nc").write_text(PROGRAM)
    code, output = run("convert", tmp_path / "p.nc", "--from-line", asked, "--out", tmp_path / "job")
    assert code == 2
    assert said in output
    assert not (tmp_path / "job").exists()


def test_a_block_number_on_several_lines_is_refused_with_all_of_them(tmp_path):
    (tmp_path / "p.nc").write_text("%\nG21\nN10 G00 X1\nN20 X2\nN10 X3\nM30\n%\n")
    code, output = run("convert", tmp_path / "p.nc", "--from-line", "N10", "--out", tmp_path / "job")
    assert code == 2
    assert "block number N10 is on lines 3, 5: give the line" in output


def test_faults_of_the_program_are_told_beside_that_of_the_line(tmp_path):
    (tmp_path / "p.nc").write_text("%\nG21\nG00 X1 Q\nM30\n%\n")
    code, output = run("convert", tmp_path / "p.nc", "--from-line", "N5", "--out", tmp_path / "job")
    assert code == 2
    assert "block number N5 is on no line" in output
    assert "p.nc:3" in output


FILES = ("--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml")


def sample(name, tmp_path, *options):
    job = tmp_path / "job"
    coarse = ("--period-ms", "4")
    code, output = run("convert", SAMPLES / f"{name}.nc", *FILES, *coarse, "--out", job, "--overwrite", *options)
    assert code == 0, output
    report = json.loads((job / "report.json").read_text())
    events = [row.split(",") for row in (job / "events.csv").read_text().splitlines()[1:]]
    return report, events, (job / "report.txt").read_text(), (job / "report.html").read_text()


@pytest.mark.parametrize("line", ["10", "12", "N60"])
def test_all_holes_are_left_before_the_first_of_them(line, tmp_path):
    """Centring, drilling and counterboring of 16 holes each; the whole flange takes 158.9 s."""
    report, events, _, _ = sample("flange", tmp_path, "--from-line", line)
    assert report["restart"]["left_out"]["holes"] == 0
    assert report["duration_s"] > 158.0
    assert report["restart"]["left_out"]["tools"] == []
    assert len([e for e in events if e[3] == "G4"]) == 16  # counterbores dwell


def test_a_line_that_calls_runs_what_it_calls(tmp_path):
    """Line 25 sets up the counterbores, line 26 calls them: all 16 are cut, from either and from the call again."""
    for line, left in (("25", 32), ("26", 32), ("N190", 32), ("13", 16), ("34@3", 34)):
        report, events, _, _ = sample("flange", tmp_path, "--from-line", line)
        assert report["restart"]["left_out"]["holes"] == left, line
        assert len([e for e in events if e[3] == "G4"]) == 16 - max(left - 32, 0), line


@pytest.mark.parametrize(
    ("name", "line", "early", "then"),
    [
        ("flange", "20", ["T3", "M6", "S1100", "M3", "M9"], ["T2", "M6", "S1800", "M3"]),
        ("flange", "21", ["T2", "M6", "S1100", "M3", "M9"], ["S1800", "M3", "M8"]),
        ("flange", "22", ["T2", "M6", "S1800", "M3", "M9"], ["M8"]),
        ("plate_inch", "23", ["T5", "M6", "S2800", "M5", "M9"], ["T3", "M6", "S4500", "M3", "M8"]),
        ("plate_inch", "24", ["T3", "M6", "S2800", "M5", "M9"], ["S4500", "M3", "M8"]),
    ],
)
def test_at_a_tool_change_the_tool_is_called_before_it_is_changed(name, line, early, then, tmp_path):
    report, events, _, _ = sample(name, tmp_path, "--from-line", line)
    words = [e[3] for e in events]
    assert words[: len(early)] == early
    assert words[len(early) : len(early) + len(then)] == then
    assert report["findings_total"] == 0
    assert report["restart"]["tool"] == int(early[0][1:])
    assert proof(tmp_path / "job") == (0, {})


def test_every_form_of_the_report_lists_what_is_left_out(tmp_path):
    report, _, text, page = sample("flange", tmp_path, "--from-line", "N190", "--period-ms", "1")
    left = report["restart"]["left_out"]
    whole = sample("flange", tmp_path, "--period-ms", "1")[0]["duration_s"]
    rest = report["duration_s"]
    assert left == {"blocks": 49, "time_s": pytest.approx(133.6, abs=0.1), "tools": [3], "holes": 32}
    assert left["time_s"] + rest == pytest.approx(whole, abs=5.0)  # the approach comes, a way to it goes
    for shown in (text, page):
        assert "left out: 49 blocks, 133.6 s, 32 holes, all that is done with T3" in " ".join(shown.split())


def test_the_second_run_of_a_line_is_the_second(tmp_path):
    for asked, run_of in (("N170", 1), ("41@2", 2)):
        report, *_ = sample("flange", tmp_path, "--from-line", asked)
        assert report["restart"]["run"] == run_of
    assert report["restart"]["runs"] == 3
    assert report["restart"]["left_out"]["holes"] == 16 + 8 + 1


def test_coolant_that_came_with_the_spindle_is_given_again(tmp_path):
    """M13 has put it on; M03 after it changes the spindle alone, M09 takes it off."""
    text = "%\nG21 G90\nT1 M06\nG43 H1 S900 M13\nG00 X0 Y0 Z60.\nM03\nX5.\nM09\nX9.\nM30\n%\n"
    for line, words in ((7, ["T1", "M6", "S900", "M13", "M3"]), (9, ["T1", "M6", "S900", "M3", "M9"])):
        folder = tmp_path / str(line)
        folder.mkdir()
        _, events, _ = contents(convert(folder, text, "--from-line", line))
        assert [e[3] for e in events][: len(words)] == words


def test_a_tool_named_behind_its_change_is_named_before_it(tmp_path):
    text = "%\nG21 G90\nM06 T2\nG43 H2 S900 M03\nG00 X0 Y0 Z60.\nX5.\nM30\n%\n"
    _, events, _ = contents(convert(tmp_path, text, "--from-line", 6))
    assert [e[3] for e in events][:4] == ["T2", "M6", "S900", "M3"]
