"""What the documents say is true: examples run, commands and options are described."""

import doctest
import re
import runpy
import shlex
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from docs.picture import PICTURE, picture

import hexpost
from hexpost.cli import COMMANDS, MANUALS, main
from hexpost.cli.machine import command as machine

ROOT = Path(__file__).parent.parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
CONSOLE = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def sessions():
    """Yield every dialogue of documents and manuals: what follows ``$ hexpost`` and the output shown below it."""
    shown = [(name, fence) for name in DOCUMENTS for fence in CONSOLE.findall((ROOT / name).read_text())]
    for file in sorted(MANUALS.glob("*.txt")):
        parts = re.findall(r"^  \$ .*\n(?:  .*\n)+", file.read_text(), re.MULTILINE)
        shown += [(file.name, re.sub(r"^  ", "", part, flags=re.MULTILINE)) for part in parts if "\\\n" not in part]
    for name, fence in shown:
        steps = [part.partition("\n")[::2] for part in re.split(r"^\$ ", fence, flags=re.MULTILINE)[1:]]
        if all(output.strip() for _, output in steps):
            yield pytest.param(steps, id=f"{name}: {steps[0][0][:50]}")


@pytest.mark.parametrize("steps", list(sessions()))
def test_console_sessions_show_what_the_commands_print(steps, monkeypatch, tmp_path):
    (tmp_path / "samples").symlink_to(ROOT / "samples")
    monkeypatch.chdir(tmp_path)
    for command, output in steps:
        words = shlex.split(command)
        assert words[0] == "hexpost"
        got = CliRunner().invoke(main, words[1:], prog_name="hexpost").output.rstrip().splitlines()
        follows(got, output.rstrip().splitlines())


def follows(got, want):
    """Check that the lines ``want`` are those of ``got``, where a line of three dots stands for any lines."""
    at = 0
    for line in want:
        if line.strip() == "...":
            at = None
            continue
        if at is None:
            assert line in got, f"{line!r} not printed; got:\n" + "\n".join(got)
            at = got.index(line) + 1
        else:
            assert at < len(got) and got[at] == line, f"expected {line!r}; got:\n" + "\n".join(got)
            at += 1


@pytest.mark.parametrize("name", DOCUMENTS)
def test_documents_stay_short(name):
    assert len((ROOT / name).read_text().splitlines()) <= 250


def test_the_glossary_gives_each_word_one_meaning():
    rows = re.findall(
        r"^\| ([^|]+) \| ([^|]+) \|$", (ROOT / "DEVELOPERS.md").read_text().split("## Glossary")[1], re.MULTILINE
    )[1:]
    assert len(rows) <= 40
    names = [name for words, _ in rows for name in words.split(", ")]
    assert len(names) == len(set(names)) >= 30


@pytest.mark.parametrize("name", DOCUMENTS)
def test_python_examples_run(name):
    result = doctest.testfile(
        str(ROOT / name), module_relative=False, optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    )
    assert result.failed == 0


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    """Return job folders of one program by the format of their table, and the fastest of each strut."""
    folder = tmp_path_factory.mktemp("job")
    files = [ROOT / "samples" / name for name in ("plate_inch.nc", "tools.toml", "setup.toml")]
    job = hexpost.load_job(files[0], tools=files[1], setup=files[2])
    for kind in ("csv", "parquet") if find_spec("pyarrow") else ("csv",):
        hexpost.write_job(job, folder / kind, table=kind)
    fastest = np.max([np.abs(block.speed).max(axis=1) for block in job.setpoints()], axis=0)
    return folder, np.round(fastest, 6).tolist()


@pytest.mark.parametrize(
    ("library", "kind"),
    [("numpy", "csv"), ("pandas", "csv"), ("pandas", "parquet"), ("polars", "csv"), ("polars", "parquet"),
     ("duckdb", "csv")],
)  # fmt: skip
def test_ways_to_read_the_table_work(library, kind, jobs):
    pytest.importorskip(library)
    folder, fastest = jobs
    if not (folder / kind).exists():
        pytest.skip("pyarrow is not installed")
    found = runpy.run_path(str(ROOT / "samples" / "read_table.py"))[f"with_{library}"](folder / kind)
    assert found == fastest


def test_the_script_that_reads_a_table_runs_and_sees_a_changed_one(jobs, tmp_path):
    script = [sys.executable, str(ROOT / "samples" / "read_table.py")]
    done = subprocess.run([*script, str(jobs[0] / "csv")], capture_output=True, text=True, check=False)
    assert done.returncode == 0 and f"strut 1: {jobs[1][0]:8.2f} mm/s" in done.stdout
    shutil.copytree(jobs[0] / "csv", tmp_path / "job")
    rows = (tmp_path / "job" / "setpoints.csv").read_text().splitlines()
    cells = rows[40].split(",")
    rows[40] = ",".join([cells[0], f"{float(cells[1]) + 1e-6:.6f}", *cells[2:]])
    (tmp_path / "job" / "setpoints.csv").write_text("\n".join(rows) + "\n")
    done = subprocess.run([*script, str(tmp_path / "job")], capture_output=True, text=True, check=False)
    assert done.returncode == 1 and "not the lengths" in done.stderr


def test_the_rows_of_the_table_are_those_of_the_story(tmp_path):
    """The lines that the README shows of a table, where three dots stand for any columns."""
    shown = re.search(r"^```text\n(time_s.*?)^```$", (ROOT / "README.md").read_text(), re.MULTILINE | re.DOTALL)[1]
    files = ["--tools", str(ROOT / "samples" / "tools.toml"), "--setup", str(ROOT / "samples" / "setup.toml")]
    for words in (
        ["refeed", str(ROOT / "samples" / "overdriven.nc"), "-o", str(tmp_path / "refed.nc")],
        ["convert", str(tmp_path / "refed.nc"), "--out", str(tmp_path / "job")],
    ):
        assert CliRunner().invoke(main, [*words, *files]).exit_code == 0
    table = (tmp_path / "job" / "setpoints.csv").read_text()
    for line in shown.splitlines():
        pattern = re.escape(line).replace(re.escape(" ... "), ".*")
        assert re.search(f"^{pattern}$", table, re.MULTILINE), line


def test_the_picture_is_what_hexpost_draws():
    assert picture() == PICTURE.read_text(), "run: python tests/docs/picture.py"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_described(name):
    assert f"hexpost {name}" in (ROOT / "README.md").read_text()
    shown = CliRunner().invoke(main, [name, "--help"])
    assert shown.exit_code == 0
    assert "Usage" in shown.output
    manual = MANUALS / f"{name}.txt"
    assert not manual.exists() or " ".join(shown.output.split()).endswith(" ".join(manual.read_text().split()))


def test_manuals_belong_to_commands_and_fit_a_screen():
    for file in MANUALS.iterdir():
        assert file.stem in {**COMMANDS, **machine.commands}
        prose = re.sub(r"^  \$ .*\n(?:  .*\n)*", "", file.read_text(), flags=re.MULTILINE)
        assert max(map(len, prose.splitlines())) <= 100
