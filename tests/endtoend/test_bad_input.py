"""Bad input of every kind: one clear message, exit code 2, no traceback, nothing half-written."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from hexpost.cli import main

GOOD = "%\nO1 (GOOD)\nG21 G90 G94\nG00 X0 Y0 Z60\nG01 X10 F600\nM30\n%\n"
DEMONSTRATION = (Path(__file__).parent.parent.parent / "hexpost/machine/demonstration.toml").read_text()

# what: (program, words that the message must hold)
PROGRAMS = {
    "empty": (b"", ["no block"]),
    "binary": (bytes(range(256)) * 40, ["NUL"]),
    "one endless line": (b"G21 G01 " + b"X1 " * 3_500_000, ["at most"]),
    "unknown words": (b"G21\nG77 X1\nM77\n", [":2:1:", "G77", ":3:1:", "M77"]),
    "two points": (b"G21\nG01 X1.2.3 F100\n", [":2:", "one decimal point"]),
    "no number": (b"G21\nG01 X F100\n", [":2:", "number"]),
    "exponent": (b"G21\nG01 X1e999 F100\n", [":2:", "exponent"]),
    "repeated address": (b"G21\nG01 X1 X2 F100\n", [":2:8:", "X"]),
    "arc without centre": (b"G21\nG01 X1 F100\nG02 X5\n", [":3:"]),
    "impossible radius": (b"G21\nG01 X1 F100\nG02 X50 R1\n", [":3:", "R"]),
    "zero feed": (b"G21\nG01 X1 F0\n", [":2:", "F"]),
    "missing feed": (b"G21\nG01 X1\n", [":2:", "F"]),
    "no motion": (b"G21 G90 G54\nM30\n", ["the program moves nothing"]),
    "no units": (b"G01 X1 F100\n", ["units"]),
}


def run(folder, *words):
    """Run the command in ``folder``; return its exit code and everything it printed."""
    done = CliRunner().invoke(main, [*words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.output


@pytest.mark.parametrize("name", PROGRAMS)
def test_bad_programs_are_refused(name, tmp_path):
    source, words = PROGRAMS[name]
    program = tmp_path / "bad.nc"
    program.write_bytes(source)
    code, said = run(tmp_path, "convert", str(program), "--out", str(tmp_path / "job"))
    assert code == 2
    assert "Traceback" not in said
    assert "internal fault" not in said
    assert all(w in said for w in words), said
    assert len(said) < 3000, "one clear message, not a page of them"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad.nc"]


def test_faults_come_as_json_too(tmp_path):
    (tmp_path / "bad.nc").write_text("G21\nG77 X1\nG01 X1.2.3 F1\n")
    done = subprocess.run(
        [sys.executable, "-m", "hexpost", "audit", str(tmp_path / "bad.nc"), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    document = json.loads(done.stdout)
    assert document["verdict"] == "error"
    assert [(f["line"], f["column"]) for f in document["faults"]] == [(2, 1), (3, 9)]


@pytest.mark.parametrize("option", ["--machine", "--tools", "--setup"])
def test_missing_files_are_named_together(option, tmp_path):
    code, said = run(tmp_path, "audit", str(tmp_path / "none.nc"), option, str(tmp_path / "none.toml"))
    assert code == 2
    assert "none.nc" in said
    assert "none.toml" in said


def test_missing_machine_keys_are_named_with_their_path(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    broken = DEMONSTRATION.replace("jerk_mm_s3 = 500000", "").replace("size_mm = [600, 600]", "size_mm = [600]")
    (tmp_path / "m.toml").write_text(broken)
    code, said = run(tmp_path, "audit", str(tmp_path / "good.nc"), "--machine", str(tmp_path / "m.toml"))
    assert code == 2
    assert "tool_tip.jerk_mm_s3" in said
    assert "pallet.size_mm" in said


def test_a_folder_that_holds_a_job_is_refused_unless_overwrite(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    words = ("convert", str(tmp_path / "good.nc"), "--out", str(tmp_path / "job"))
    assert run(tmp_path, *words)[0] == 0
    before = (tmp_path / "job" / "manifest.json").read_bytes()
    code, said = run(tmp_path, *words)
    assert code == 2
    assert "--overwrite" in said
    assert (tmp_path / "job" / "manifest.json").read_bytes() == before
    assert run(tmp_path, *words, "--overwrite")[0] == 0


def test_a_folder_of_other_files_is_never_touched(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "dog.png").write_bytes(b"dog")
    words = ("convert", str(tmp_path / "good.nc"), "--out", str(tmp_path / "photos"), "--overwrite")
    assert run(tmp_path, *words)[0] == 2
    assert [p.name for p in (tmp_path / "photos").iterdir()] == ["dog.png"]


def test_an_unwritable_folder_is_said(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    (tmp_path / "file").write_text("")
    code, said = run(tmp_path, "convert", str(tmp_path / "good.nc"), "--out", str(tmp_path / "file" / "job"))
    assert code == 2
    assert "Traceback" not in said
    if os.geteuid() != 0:
        (tmp_path / "locked").mkdir(mode=0o500)
        assert run(tmp_path, "convert", str(tmp_path / "good.nc"), "--out", str(tmp_path / "locked" / "job"))[0] == 2


@pytest.mark.parametrize("period", ["0", "-1", "nan", "0.0001", "5000", "1.00005"])
def test_senseless_periods_are_refused(period, tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    code, said = run(tmp_path, "audit", str(tmp_path / "good.nc"), "--period-ms", period)
    assert code == 2
    assert "--period-ms" in said


def test_unknown_columns_are_refused_before_anything_is_written(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    out = tmp_path / "job"
    code, said = run(tmp_path, "convert", str(tmp_path / "good.nc"), "--out", str(out), "--columns", "time,lenght")
    assert code == 2
    assert "lenght" in said
    assert not out.exists()


def test_special_files_are_no_programs(tmp_path):
    code, said = run(tmp_path, "audit", "/dev/zero")
    assert code == 2
    assert said == "/dev/zero: is a folder, a pipe or a device; give a file\n"
    assert run(tmp_path, "audit", str(tmp_path))[0] == 2


def test_explaining_lines_that_hold_no_block_says_so(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    code, said = run(tmp_path, "explain", str(tmp_path / "good.nc"), "--lines", "300:400")
    assert code == 2
    assert "no blocks in these lines; the program has 7" in said


def test_convert_makes_one_schedule(tmp_path):
    (tmp_path / "good.nc").write_text(GOOD)
    code, said = run(tmp_path, "convert", str(tmp_path / "good.nc"), "--feed", "both")
    assert code == 2
    assert "strut-limited" in said
    code, said = run(tmp_path, "convert", str(tmp_path / "good.nc"), "--effort", "best")
    assert code == 2
    assert "add --feed strut-limited" in said


def test_a_command_that_does_not_exist_names_the_nearest(tmp_path):
    code, out = run(tmp_path, "audti", "part.nc")
    assert code == 2 and "Did you mean 'audit'?" in out
    assert "Did you mean" not in run(tmp_path, "zzz")[1]
