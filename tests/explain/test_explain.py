"""What a programmer reads: the words of the trade, block by block, as text and as JSON."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from hexpost.cli import main

SAMPLES = Path(__file__).parent.parent.parent / "samples"
FILES = ["--tools", str(SAMPLES / "tools.toml"), "--setup", str(SAMPLES / "setup.toml")]

TEXT = """\
      1  G21 G90 G17
         now: work offset G54; millimetre; feed per minute; plane XY; absolute coordinates; continuous
         tip at X0 Y0 Z620 in G54
      2  N10 G00 X10. Y-5. Z2.
         rapid to X10 Y-5 Z2
      3  N20 G01 Z-1. F300 M08
         now: coolant 1 on
         line to X10 Y-5 Z-1, 300 mm/min
      4  (UP AGAIN)
      5  G04 P250
         G04: the tool rests 0.25 s
      6  G02 I5. J0.
         arc of -360 deg about Z with centre X15 Y-5 Z-1 to X10 Y-5 Z-1, 300 mm/min
      7  G01 A3. F90
         line to X10 Y-5 Z-1 A3 B0 C0, 90 deg/min
      8  G53 G00 Z0.
"""


def run(*words):
    done = CliRunner().invoke(main, ["explain", *map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.output


@pytest.fixture
def program(tmp_path):
    file = tmp_path / "part.nc"
    blocks = [line[9:] for line in TEXT.splitlines() if line[:7].strip()]
    file.write_text("\n".join(blocks) + "\n")
    return file


def test_the_text_says_what_was_understood(program):
    code, said = run(program)
    assert code == 0
    head, _, _ = TEXT.partition("      8  ")
    assert said.startswith(head)
    last = said[len(head) :]
    assert (
        last.splitlines()[1].startswith("         rapid to") and "in machine coordinates" in last and "tip at" in last
    )


def test_a_part_begins_with_all_that_is_in_force(program):
    code, said = run(program, "--lines", "3:3")
    assert code == 0
    assert said.splitlines()[0].split()[:2] == ["3", "N20"]
    assert "millimetre" in said.splitlines()[1]
    assert run(program, "--lines", "3")[1] == said


def test_json_is_one_document_a_line(program):
    code, said = run(program, "--json")
    rows = [json.loads(line) for line in said.splitlines()]
    assert code == 0
    assert [r["line"] for r in rows] == list(range(1, 9))
    assert [r["block"] for r in rows][:4] == ["", "N10", "N20", ""]
    assert rows[2]["tip_mm_deg"] == [10, -5, -1, 0, 0, 0]
    assert rows[2]["moves"][0]["feed"] == pytest.approx(300)
    assert rows[2]["state"]["feed"] == {"written": 300, "mm_per_unit": 1}
    assert rows[4]["events"][0]["pause_s"] == 0.25
    assert rows[5]["moves"][0]["turn_deg"] == -360
    assert rows[6]["moves"][0]["feed_unit"] == "deg/min"
    assert rows[7]["moves"][0]["frame"] == "G53"


@pytest.mark.parametrize("name", ["contour", "pocket", "frustum", "plate_inch", "limits"])
def test_samples_are_explained(name):
    file = SAMPLES / f"{name}.nc"
    code, said = run(file, *FILES, "--json")
    assert code == 0
    lines = file.read_text().splitlines()
    end = next(k for k, line in enumerate(lines, 1) if line.endswith("M30"))
    assert [json.loads(row)["line"] for row in said.splitlines()] == list(range(1, end + 1))


def test_a_program_that_is_not_understood_is_refused(tmp_path):
    (tmp_path / "bad.nc").write_text("G21\nG77 X1\n")
    code, said = run(tmp_path / "bad.nc")
    assert code == 2
    assert "bad.nc:2:1" in said


@pytest.mark.parametrize("lines", ["x", "0:3", "5:2", ":", "-1", "1:2:3", ""])
def test_senseless_lines_are_refused(program, lines):
    code, said = run(program, "--lines", lines)
    assert code == 2
    assert "--lines" in said


def test_a_comment_cannot_act_on_the_terminal(tmp_path):
    (tmp_path / "part.nc").write_bytes(b"G21 G00 X1 (\x1b[31mRED\x07)\n")
    code, said = run(tmp_path / "part.nc")
    assert code == 0
    assert "\x1b" not in said and "\x07" not in said
