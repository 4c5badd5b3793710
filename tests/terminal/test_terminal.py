"""What people see at a terminal: within its width, in colour where it can, one place in one line."""

import re
import signal
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from library.shop import CLEAN, FAST, slow_struts
from terminal.typed import COLOUR, plain, typed

from hexpost.cli import COMMANDS, main
from hexpost.cli.progress import ShownProgress, said
from hexpost.cli.terminal import LEAST, MOST, fitted, reflowed

pytestmark = pytest.mark.usefixtures("untried")

SAMPLES = Path(__file__).parent.parent.parent / "samples"
GIVEN = ["--tools", "tools.toml", "--setup", "setup.toml"]
NEAR = ["--x-mm", "0", "50", "--y-mm", "0", "0", "--turn-deg", "0", "0", "--step-mm", "100"]
"""Of place: hardly anywhere else."""
RUNS = {
    "help": ["--help"],
    "manual": ["convert", "--help"],
    "audit": ["audit", "limits.nc", *GIVEN],
    "full": ["audit", "limits.nc", *GIVEN, "--full"],
    "convert": ["convert", "short.nc", *GIVEN, "--out", "new-job"],
    "verify": ["verify", "job", "--without-remake"],
    "refeed": ["refeed", "fast.nc", "-o", "new.nc"],
    "explain": ["explain", "pocket.nc", *GIVEN, "--lines", "1:20"],
    "diff": ["diff", "limits.nc", "pocket.nc", *GIVEN],
    "words": ["words"],
    "align": ["align", "probed_points.csv", "-o", "new.toml"],
    "place": ["place", "short.nc", *NEAR, "--serial"],
    "calibrate": ["calibrate", "--plan", "7", "-o", "plan.csv"],
    "check": ["machine", "check", "described.toml"],
    "show": ["machine", "show"],
    "reach": ["machine", "reach", "--out", "reach", "--step-mm", "250", "--serial"],
    "usage": ["audit", "limits.nc", "--feed", "slow"],
    "fault": ["audit", "bad.nc"],
    "survey": ["survey", "short.nc", "bad.nc", "--serial"],
    "gate": ["gate", "short.nc", "bad.nc", "--no-cache", "--serial"],
}
"""Every command but schema, whose documents are not for people."""
BAD = "G21\n(words that go on and on until nobody wants to read any of them) G01 X1 Y2 Q999 Z3 A4 B5 (and more)\nG999\n"
PLACE = re.compile(r"\S+:(\d+|-)(:\d+)?: ")
WORD = re.compile(r"\s*\S+$")
"""A word of its own, such as a long path, is not broken."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("shop")
    for file in SAMPLES.iterdir():
        if file.suffix in {".nc", ".toml", ".csv"}:
            (made / file.name).write_bytes(file.read_bytes())
    (made / "bad.nc").write_text(BAD)
    (made / "short.nc").write_text(CLEAN)
    (made / "fast.nc").write_text(FAST)
    done = CliRunner().invoke(main, ["convert", str(made / "short.nc"), "--out", str(made / "job")])
    assert done.exit_code == 0, done.output
    return made


def laid_out(folder, place):
    """Put the inputs of a folder into a place of their own: copies of files, links to folders."""
    for file in folder.iterdir():
        if file.is_file():
            (place / file.name).write_bytes(file.read_bytes())
        else:
            (place / file.name).symlink_to(file)


def at(folder, name, width, tmp_path, **environment):
    """Type a command in a folder of its own, beside its inputs."""
    laid_out(folder, tmp_path)
    return typed(RUNS[name], width, tmp_path, **environment)


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
@pytest.mark.parametrize("width", [60, 160])
@pytest.mark.parametrize("name", RUNS)
def test_every_line_fits_the_terminal(folder, name, width, tmp_path):
    code, out = at(folder, name, width, tmp_path)
    assert code in (0, 1) or name in {"usage", "fault", "gate"}, out
    lines = plain(out).splitlines()
    assert lines and "Traceback" not in out
    wide = [line for line in lines if len(line) > width and not PLACE.match(line) and not WORD.match(line)]
    assert not wide or (name == "manual" and all(line.startswith("  $") for line in wide)), wide


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_a_place_and_its_message_stay_in_one_line(folder, tmp_path):
    out = plain(at(folder, "fault", 60, tmp_path)[1])
    assert any(re.match(r"bad\.nc:2:\d+: Q999 .*\b(G83|force)\b", line) for line in out.splitlines()), out
    caret = next(i for i, line in enumerate(out.splitlines()) if line.strip() == "^")
    assert out.splitlines()[caret - 1][out.splitlines()[caret].index("^")] == "Q"


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
@pytest.mark.parametrize(
    ("environment", "coloured"),
    [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False), ({"NO_COLOR": "1", "FORCE_COLOR": "1"}, False)],
)
@pytest.mark.parametrize("name", ["audit", "fault"])
def test_colour_on_a_terminal_that_can(folder, name, environment, coloured, tmp_path):
    assert bool(COLOUR.search(at(folder, name, 100, tmp_path, **environment)[1])) == coloured


@pytest.mark.parametrize(("environment", "coloured"), [({}, False), ({"FORCE_COLOR": "1"}, True)])
def test_colour_elsewhere_only_where_it_is_asked_for(environment, coloured, folder):
    done = CliRunner().invoke(main, ["audit", str(folder / "limits.nc")], env=environment)
    assert bool(COLOUR.search(done.output)) == coloured


@pytest.mark.parametrize(
    "name",
    ["audit", "full", "convert", "verify", "refeed", "diff", "align", "place", "calibrate", "gate", "check", "reach"],
)
def test_a_quiet_run_says_only_what_is_wrong(folder, name, tmp_path, monkeypatch):
    laid_out(folder, tmp_path)
    monkeypatch.chdir(tmp_path)
    loud = CliRunner().invoke(main, RUNS[name])
    again = ["--overwrite"] if {"-o", "--out"} & set(RUNS[name]) else []
    done = CliRunner().invoke(main, [*RUNS[name], "--quiet", *again])
    assert done.exit_code == loud.exit_code and loud.exit_code in ((2,) if name == "gate" else (0, 1)), done.output
    assert (done.output == "") == (done.exit_code == 0), done.output
    assert len(done.output.splitlines()) < len(loud.output.splitlines())


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("", ["audit", "convert", "machine"]),
        ("convert --to", ["--tools"]),
        ("verify ", ["dir"]),
        ("gate ", ["file"]),
        ("convert p.nc --out ", ["dir"]),
        ("convert p.nc --setup ", ["file"]),
        ("machine ch", ["check"]),
        ("words G4", ["G40", "G41", "G43"]),
        ("schema ve", ["verify"]),
    ],
)
def test_a_shell_completes(line, words, capfd):
    given = {"COMP_WORDS": f"hexpost {line}", "COMP_CWORD": str(len(line.split()) + (not line[-1:].strip()))}
    done = CliRunner(env={**given, "_HEXPOST_COMPLETE": "bash_complete"}).invoke(main, [], prog_name="hexpost")
    assert done.exit_code == 0 and done.stderr == ""
    told = {word for row in done.stdout.splitlines() for word in row.split(",")}
    assert set(words) <= told


def test_every_path_of_every_command_is_completed():
    """Whatever names a file or folder asks the shell for files or folders."""
    for name in COMMANDS:
        command = main.get_command(None, name)
        for one in getattr(command, "commands", {"": command}).values():
            for param in one.params:
                if param.metavar in {"FILE", "DIR", "PATH...", "MACHINE", "SETUP", "CSV", "NEW", "NOMINAL"}:
                    (item,) = param.type.shell_complete(None, param, "")
                    assert item.type == ("dir" if param.metavar == "DIR" else "file"), (name, param.name)


def test_long_lines_are_broken_at_blanks_and_no_word_is_lost():
    text = "  a line of some words\nlib/p.nc:12: a message that other programs look for\n" + "x" * 70
    assert (
        fitted(text, 20)
        == f"  a line of some\n    words\nlib/p.nc:12: a message that other programs look for\n{'x' * 70}"
    )
    assert fitted(text, None) == text
    assert reflowed("Title\n  a b\n  c\n\n  $ do this\n", 80) == "Title\n  a b c\n\n  $ do this\n"
    assert (LEAST, MOST) == (60, 160)


def test_the_time_left_is_that_of_the_pace_so_far():
    assert said("rows", 250, 1000, 10.0) == "rows: 250 of 1,000, 30 s left"
    assert said("rows", 1, 1001, 4.0) == "rows: 1 of 1,001, 1 h 06 min left"
    assert said("rows", 1000, 1000, 4.0) == "rows: 1,000 of 1,000"


LONG = {
    "convert": ["convert", "short.nc", "--out", "new-job"],
    "audit": ["audit", "short.nc"],
    "audit both": ["audit", "fast.nc", "--machine", "slow.toml", "--feed", "both"],
    "verify": ["verify", "job"],
    "verify without remake": ["verify", "job", "--without-remake"],
    "refeed": ["refeed", "fast.nc", "--machine", "slow.toml", "-o", "new.nc"],
    "calibrate": ["calibrate", "measured_poses.csv", "--sigma-mm", "0.005", "--sigma-deg", "0.0005", "-o", "new.toml"],
    "plan": ["calibrate", "--plan", "7", "-o", "plan.csv"],
    "diff": ["diff", "short.nc", "pocket.nc", *GIVEN],
    "place": RUNS["place"],
    "reach": ["machine", "reach", "--out", "reach", "--step-mm", "400", "--serial"],
    "survey": RUNS["survey"],
    "gate": RUNS["gate"],
}
"""Every command whose work may be long."""


@pytest.mark.parametrize("name", LONG)
def test_long_work_says_how_far_it_is(folder, name, tmp_path, monkeypatch):
    """Every part is counted up to the last; refeed counts anew in each trial; a plan may be done before its time."""
    monkeypatch.setattr("hexpost.cli.progress.ELSEWHERE_S", 0.0)
    laid_out(folder, tmp_path)
    (tmp_path / "fast.nc").write_text(FAST)
    (tmp_path / "slow.toml").write_text(slow_struts())
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, LONG[name])
    told = [x for x in done.stderr.splitlines() if re.search(r": ([\d,]+) of (\1|[\d,]+, .* left)$", x)]
    assert told, done.output
    some, of = re.search(r": ([\d,]+) of ([\d,]+)", told[-1]).groups()
    assert some == of or name == "plan", told
    assert any("trial 2 of feeds, setpoints: " in x for x in told) == (name == "refeed")
    assert any("trial 2 of one share for all feeds, setpoints: " in x for x in told) == (name == "audit both")
    again = ["--overwrite"] if {"-o", "--out"} & set(LONG[name]) else []
    assert " of " not in CliRunner().invoke(main, [*LONG[name], "--quiet", *again]).stderr


UNCOUNTED = {
    "convert": (["convert", "short.nc", "--out", "new-job"], "reading and planning"),
    "audit": (["audit", "short.nc"], "reading and planning"),
    "yaw": (["audit", "short.nc", "--yaw", "best"], "searching the yaw"),
    "refeed": (["refeed", "short.nc", "-o", "new.nc"], "reading"),
    "explain": (["explain", "short.nc"], "reading"),
}
"""Every command with work whose parts nobody counts."""


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="this system has no alarm clock")
@pytest.mark.parametrize("name", UNCOUNTED)
def test_work_that_nobody_counts_says_how_long_it_takes_already(folder, name, tmp_path, monkeypatch):
    words, work = UNCOUNTED[name]
    for constant, value in (("ELSEWHERE_S", 0.0), ("PATIENCE_S", 1e-4), ("EVERY_S", 1e-3)):
        monkeypatch.setattr(f"hexpost.cli.progress.{constant}", value)
    monkeypatch.chdir(folder)
    words = [str(tmp_path / w) if w.startswith("new") else w for w in words]
    before = signal.getsignal(signal.SIGALRM)
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert f"{work}: 1 s so far" in done.stderr.splitlines()
    assert signal.getsignal(signal.SIGALRM) is before
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)
    again = ["--overwrite"] if name == "convert" else []
    assert "so far" not in CliRunner().invoke(main, [*words, "--quiet", *again]).stderr


def test_a_line_a_minute_where_there_is_no_terminal(capsys, monkeypatch):
    now = [0.0]
    monkeypatch.setattr("hexpost.cli.progress.monotonic", lambda: now[0])
    progress = ShownProgress("rows", 1000)
    for second in range(0, 200, 10):
        now[0] = float(second)
        progress.step(5)
    progress.end()
    told = capsys.readouterr().err.splitlines()
    assert told == [
        "rows: 35 of 1,000, 27 min 34 s left",
        "rows: 65 of 1,000, 28 min 46 s left",
        "rows: 95 of 1,000, 28 min 35 s left",
    ]
