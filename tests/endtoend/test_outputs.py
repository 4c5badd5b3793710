"""Outputs are tried before the work, never name an input or another kind of file, and do not take each other along."""

import io
import json
import os
import subprocess
import sys

import click
import pytest
from attack.faults import left_over
from attack.jobs import SAMPLES, SHORT, content
from click.testing import CliRunner

from hexpost.cli import COMMANDS, main
from hexpost.cli.outputs import KINDS, DraftFolder, OutFile, OutFolder, _is_program

LOW = SHORT.replace("Z60", "Z-30")
"""A program that breaks a limit."""
WRITERS = {
    "gate --sarif": ["gate", "p.nc", "--serial", "--no-cache", "--sarif"],
    "gate --junit": ["gate", "p.nc", "--serial", "--no-cache", "--junit"],
    "gate --html": ["gate", "p.nc", "--serial", "--no-cache", "--html"],
    "gate --markdown": ["gate", "p.nc", "--serial", "--no-cache", "--markdown"],
    "gate --baseline": ["gate", "p.nc", "--serial", "--no-cache", "--update-baseline", "--baseline"],
    "machine show --svg": ["machine", "show", "m.toml", "--svg"],
    "refeed": ["refeed", "p.nc", "--overwrite", "-o"],
    "align": ["align", "points.csv", "--setup", "setup.toml", "--machine", "m.toml", "--overwrite", "-o"],
    "calibrate": ["calibrate", "poses.csv", "--machine", "m.toml", "--overwrite", "-o"],
    "calibrate --plan": ["calibrate", "--plan", "8", "--machine", "m.toml", "--overwrite", "-o"],
    "place": ["place", "p.nc", "--setup", "setup.toml", "--serial", "--overwrite", "-o"],
    "place --map": ["place", "p.nc", "--setup", "setup.toml", "--serial", "--overwrite", "--map"],
}


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A folder with inputs of every kind, and a few things that are none of ours."""
    monkeypatch.chdir(tmp_path)
    for name, source in (("points.csv", "probed_points.csv"), ("poses.csv", "measured_poses.csv"),
                         ("tools.toml", "tools.toml"), ("setup.toml", "setup.toml"), ("m.toml", "described.toml"),
                         ("gate.toml", "gate.toml")):  # fmt: skip
        (tmp_path / name).write_bytes((SAMPLES / source).read_bytes())
    (tmp_path / "p.nc").write_text(SHORT)
    (tmp_path / "notes.txt").write_text("Ask Maria about the fixture.\n")
    (tmp_path / "page.html").write_text("<!doctype html><title>Our shop</title>")
    (tmp_path / "data.json").write_text('{"version": 3}')
    (tmp_path / "thesis.docx").write_bytes(b"PK\x03\x04\x00\x00")
    (tmp_path / "events.csv").write_text("time_s,sample\n")
    return tmp_path


def run(*words):
    done = CliRunner().invoke(main, [str(w) for w in words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.output


def everything(command, trail=()):
    """Yield every command with its words."""
    if isinstance(command, click.Group):
        with click.Context(command) as ctx:
            for name in command.list_commands(ctx):
                yield from everything(command.get_command(ctx, name), (*trail, name))
    else:
        yield trail, command


def test_every_option_that_names_an_output_is_known_as_one():
    """An option that says it writes or has files replaced is of a kind that is checked; all kinds are known."""
    seen = set()
    for trail, command in everything(main):
        for option in (p for p in command.params if isinstance(p, click.Option)):
            kind = option.type
            if isinstance(kind, OutFile):
                assert set(kind.kinds) <= set(KINDS)
                seen.add(" ".join(trail))
            elif isinstance(kind, OutFolder):
                assert set(kind.files.values()) <= set(KINDS)
                seen.add(" ".join(trail))
            elif isinstance(kind, DraftFolder):
                assert trail == ("survey",)  # see tests/survey: drafts keep what is there
            elif isinstance(kind, click.Path):
                said = (option.help or "").lower()
                assert "write" not in said, (trail, option.opts)
                assert not set(option.opts) & {"-o", "--output", "--out"}, (trail, option.opts)
    assert seen == {
        "audit", "convert", "gate", "refeed", "align", "place", "calibrate", "survey", "machine show", "machine reach",
        "machine circle",
    }  # fmt: skip
    assert set(COMMANDS) >= {s.split()[0] for s in seen}


@pytest.mark.parametrize("writer", WRITERS)
def test_no_output_replaces_an_input_or_a_file_of_another_kind(shop, writer):
    """All files there, each in its turn: what a command may replace is a file of the kind that it writes."""
    before = content(shop)
    kinds = {"place --map": (), "calibrate": ("m.toml",), "calibrate --plan": ("m.toml",),
             "refeed": ("p.nc",), "align": ("setup.toml",), "place": ("setup.toml",)}  # fmt: skip
    for name in before:
        if (writer, name) == ("calibrate --plan", "poses.csv"):
            continue  # a plan is a list of poses that waits for its measurements: --overwrite says it
        code, said = run(*WRITERS[writer], name)
        assert code == 2, (name, said)
        if name in WRITERS[writer]:
            assert "is an input, too" in said, said
        else:
            assert name not in kinds.get(writer, ()), name
            told = ("is a file of another kind", "not a baseline", "not JSON")
            assert any(t in said for t in told), (name, said)
        assert content(shop) == before, name
    assert left_over(shop) == []


def test_an_input_by_another_name_is_still_one(shop):
    os.link(shop / "p.nc", shop / "same.nc")
    (shop / "below").mkdir()
    for name in ("./p.nc", "same.nc", "below/../p.nc", str(shop / "p.nc")):
        code, said = run("refeed", "p.nc", "--overwrite", "-o", name)
        assert (code, "is an input, too" in said) == (2, True), said
    (shop / "link.nc").symlink_to("p.nc")
    assert run("refeed", "link.nc", "--overwrite", "-o", "p.nc")[0] == 2
    assert (shop / "p.nc").read_text() == SHORT


def test_two_outputs_are_two_files(shop):
    code, said = run("gate", "p.nc", "--serial", "--no-cache", "--sarif", "x", "--html", "./x")
    assert code == 2
    assert "--html x: is written by --sarif, too" in said
    assert not (shop / "x").exists()


def test_a_second_run_replaces_what_the_first_wrote(shop):
    words = ["gate", "p.nc", "--serial", "--no-cache", "--sarif", "g.sarif", "--junit", "g.xml", "--html", "g.html",
             "--policy", "gate.toml", "--baseline", "b.json", "--update-baseline"]  # fmt: skip
    assert run(*words)[0] == 0
    first = content(shop)
    assert run(*words)[0] == 0
    assert content(shop) == first
    pairs = (
        ["machine", "show", "--svg", "m.svg"],
        ["align", "points.csv", "-o", "a.toml"],
        ["refeed", "p.nc", "-o", "q.nc"],
    )
    for pair in pairs:
        assert run(*pair)[0] == 0
        if "-o" in pair:
            code, said = run(*pair)
            assert (code, "--overwrite replaces it" in said) == (2, True), said
            assert run(*pair, "--overwrite")[0] == 0
        else:
            assert run(*pair)[0] == 0
    (shop / "empty").touch()
    assert run("machine", "show", "--svg", "empty")[0] == 0


def test_a_job_folder_holds_no_input(shop):
    assert run("convert", "p.nc", "--out", "job")[0] == 0
    before = content(shop)
    code, said = run("convert", "job/inputs/program.nc", "--out", "job", "--overwrite")
    assert (code, "holds the input" in said) == (2, True), said
    code, said = run("convert", "p.nc", "--machine", "job/inputs/machine.toml", "--out", "job", "--overwrite")
    assert code == 2
    assert content(shop) == before


@pytest.mark.parametrize("place", ["none/x", "p.nc/x", "/proc/x"])
@pytest.mark.parametrize("writer", WRITERS)
def test_a_place_that_cannot_be_written_is_named_with_its_option_before_the_work(shop, monkeypatch, writer, place):
    from hexpost import pipeline

    monkeypatch.setattr(pipeline, "load", None)  # no work begins
    before = content(shop)
    code, said = run(*WRITERS[writer], place)
    option = WRITERS[writer][-1].replace("-o", "--output").replace("---", "--")
    assert code == 2
    assert place in said or "cannot be written: " in said
    assert option.split("utput")[0].rstrip("o") in said
    assert "internal fault" not in said
    assert content(shop) == before


def test_convert_refuses_its_folder_before_the_work(shop, monkeypatch):
    from hexpost.cli import run as runs

    assert run("convert", "p.nc")[0] == 0
    monkeypatch.setattr(runs, "inputs_of", None)
    refused = {"p.nc/job": "p.nc", ".": "holds the input p.nc", "/proc/job": "--out /proc"}
    for words, text in (([], "already holds a job"), *((["--out", o], t) for o, t in refused.items())):
        code, said = run("convert", "p.nc", *words)
        assert (code, text in said) == (2, True), said


def test_an_output_that_fails_takes_no_other_along(shop, monkeypatch):
    """A disk that breaks during the work: all other files are written, the table is shown, and the code is 2."""
    from hexpost.errors import OutputError
    from hexpost.tables import whole

    plain = whole.write_whole

    def breaks(path, data):
        if path.name in ("g.sarif", "placed.toml", "reach.csv"):
            raise OutputError(f"{path}: cannot be written: no space left on device")
        return plain(path, data)

    monkeypatch.setattr(whole, "write_whole", breaks)
    words = ["--sarif", "g.sarif", "--junit", "g.xml", "--html", "g.html", "--baseline", "b.json", "--update-baseline"]
    (shop / "q.nc").write_text(LOW)
    code, said = run("gate", "p.nc", "q.nc", "--serial", "--no-cache", "--policy", "gate.toml", *words)
    assert code == 2
    assert "g.sarif: cannot be written: no space left on device" in said
    assert "2 programs" in said
    assert not (shop / "g.sarif").exists()
    assert all((shop / n).stat().st_size for n in ("g.xml", "g.html", "b.json"))
    code, said = run("machine", "reach", "--out", "r", "--step-mm", 900, "--serial")
    assert (code, (shop / "r" / "reach.html").exists(), (shop / "r" / "reach.csv").exists()) == (2, True, False)
    assert "written: r/reach.html" in said
    assert "written: r/reach.csv" not in said


def test_a_file_that_came_during_the_work_is_kept(shop, monkeypatch):
    from hexpost.setup import align as aligning

    plain = aligning.align

    def slow(*given):
        (shop / "a.toml").write_text("mine")
        return plain(*given)

    monkeypatch.setattr(aligning, "align", slow)
    code, said = run("align", "points.csv", "-o", "a.toml")
    assert (code, "a.toml: exists already: somebody wrote it meanwhile" in said) == (2, True)
    assert "pose_mm_deg" in said  # what was found is shown all the same
    assert (shop / "a.toml").read_text() == "mine"


def test_what_is_a_part_program():
    for sample in SAMPLES.glob("*.nc"):
        assert _is_program(sample.read_text()), sample
    for text in ("Dear Maria,\n", "[[tool]]\nnumber = 1\n", '{"a": 1}', "<svg>", "x,y\n1,2\n", "PK\0\0"):
        assert not _is_program(text), text
    assert _is_program("")
    assert _is_program("%\nO1 (any ; text [here])\n/N10 g0x1.y-.5 ;: end\n:5 M30\n%")


UMLAUTS = "G21 (träger \N{DIAMETER SIGN} \N{GREEK CAPITAL LETTER OMEGA})\nG00 X0 Y0 Z80\nG77\nM30\n"


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
@pytest.mark.parametrize("words", [["audit", "--full"], ["explain"], ["gate", "--serial", "--no-cache"], ["refeed"]])
def test_what_the_encoding_of_the_output_does_not_hold_is_escaped(tmp_path, encoding, words):
    name = "tr\u00e4ger_\N{GREEK CAPITAL LETTER OMEGA}.nc"
    (tmp_path / name).write_text(UMLAUTS.replace("G77\n", ""), encoding="utf-8")
    (tmp_path / "bad.nc").write_text(UMLAUTS, encoding="utf-8")
    env = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    for program, code in ((name, 0), ("bad.nc", 2)):
        given = [words[0], program, *words[1:], *(["-o", f"{code}.nc"] if words == ["refeed"] else [])]
        done = subprocess.run(
            [sys.executable, "-m", "hexpost", *given], cwd=tmp_path, env=env, capture_output=True, check=False
        )
        said = (done.stdout + done.stderr).decode(encoding)
        assert done.returncode == code, said
        assert "internal fault" not in said
        if encoding == "ascii" and words[0] in ("explain", "gate") and code == 0:
            assert "\\u03a9" in said


def test_a_machine_file_is_printed_byte_for_byte(tmp_path):
    text = (SAMPLES / "described.toml").read_bytes() + "# \N{GREEK CAPITAL LETTER OMEGA}\n".encode()
    (tmp_path / "m.toml").write_bytes(text)
    words = [sys.executable, "-m", "hexpost", "machine", "show", str(tmp_path / "m.toml"), "--toml"]
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    assert subprocess.run(words, env=env, capture_output=True, check=True).stdout == text


def test_json_is_ascii_and_whole_in_every_encoding(tmp_path):
    (tmp_path / "p.nc").write_text(UMLAUTS, encoding="utf-8")
    for words in (["audit", "p.nc", "--json"], ["gate", "p.nc", "--serial", "--no-cache", "--json"]):
        env = {**os.environ, "PYTHONIOENCODING": "ascii"}
        done = subprocess.run([sys.executable, "-m", "hexpost", *words], cwd=tmp_path, env=env, capture_output=True,
                              check=False)  # fmt: skip
        assert json.load(io.BytesIO(done.stdout))


@pytest.mark.parametrize("words", [
    ["convert", "{}/p.nc"], ["gate", "{}/p.nc", "--no-cache", "--jobs", "2"], ["refeed", "{}/p.nc", "-o", "x.nc"],
    ["align", "{}/points.csv", "-o", "a.toml"], ["machine", "show", "--svg", "x.svg"], ["gate", "lib"],
    ["machine", "reach", "--out", "r"], ["place", "{}/p.nc", "-o", "s.toml"],
])  # fmt: skip
def test_a_folder_that_is_gone_is_a_sentence_and_2(shop, words):
    gone = shop / "gone"
    gone.mkdir()
    script = f"cd {gone} && rmdir {gone} && exec {sys.executable} -m hexpost {' '.join(w.format(shop) for w in words)}"
    done = subprocess.run(["sh", "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "hexpost: the folder that it was started in is gone" in done.stderr
    assert "internal fault" not in done.stderr


def test_a_long_temporary_folder_is_no_hindrance(shop):
    """Sockets have names of 107 bytes at most (unix(7)); the workers of the gate used to need one there."""
    long = shop / ("t" * 120)
    long.mkdir()
    words = [sys.executable, "-m", "hexpost", "gate", "p.nc", "notes.nc", "--no-cache", "--jobs", "2"]
    (shop / "notes.nc").write_text(SHORT)
    done = subprocess.run(words, env={**os.environ, "TMPDIR": str(long)}, capture_output=True, text=True, check=False)
    assert (done.returncode, "2 programs" in done.stdout) == (0, True), done.stderr
