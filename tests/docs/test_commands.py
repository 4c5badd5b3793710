"""What the documents say is true: examples run, commands and options are described."""

import doctest
import re
import shlex
import shutil
from importlib.util import find_spec
from pathlib import Path

import pytest
from click.testing import CliRunner

import hexpost
from hexpost.cli import COMMANDS, MANUALS, main

ROOT = Path(__file__).parent.parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
EXAMPLE = re.compile(r"^```python\n((?!>>>).*?)^```$", re.MULTILINE | re.DOTALL)
CONSOLE = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def sessions():
    """Yield every ``$ hexpost ...`` line of documents and manuals with the output shown below it."""
    shown = [(name, fence) for name in DOCUMENTS for fence in CONSOLE.findall((ROOT / name).read_text())]
    for file in sorted(MANUALS.glob("*.txt")):
        parts = re.findall(r"^  \$ .*\n(?:  .*\n)+", file.read_text(), re.MULTILINE)
        shown += [(file.name, re.sub(r"^  ", "", part, flags=re.MULTILINE)) for part in parts if "\\\n" not in part]
    for name, fence in shown:
        for part in re.split(r"^\$ ", fence, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            if output.strip():
                yield pytest.param(command, output, id=f"{name}: {command[:50]}")


@pytest.mark.parametrize(("command", "output"), list(sessions()))
def test_console_sessions_show_what_the_command_prints(command, output, monkeypatch, tmp_path):
    words = shlex.split(command)
    if words[0] != "hexpost":
        pytest.skip("a shell command of the reader's own")
    (tmp_path / "samples").symlink_to(ROOT / "samples")
    monkeypatch.chdir(tmp_path)
    got = CliRunner().invoke(main, words[1:], prog_name="hexpost").output.rstrip().splitlines()
    want = output.rstrip().splitlines()
    at = 0
    for line in want:  # a line of three dots stands for any lines
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
def test_python_examples_run(name):
    result = doctest.testfile(
        str(ROOT / name), module_relative=False, optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    )
    assert result.failed == 0


def loaders():
    """Yield every Python example that is no dialogue: how a table is loaded; and the packages that it needs."""
    for code in EXAMPLE.findall((ROOT / "README.md").read_text()):
        packages = re.findall(r"^import (.+)$", code, re.MULTILINE)[0].split(", ")
        yield pytest.param(code, packages, id=packages[-1])


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Return a job folder whose table stands there in all three formats."""
    folder = tmp_path_factory.mktemp("job")
    files = [ROOT / "samples" / name for name in ("plate_inch.nc", "tools.toml", "setup.toml")]
    job = hexpost.load_job(files[0], tools=files[1], setup=files[2])
    kinds = ("npy", "parquet", "csv") if find_spec("pyarrow") else ("npy", "csv")
    for kind in kinds:
        hexpost.write_job(job, folder / kind, table=kind)
        shutil.copy(folder / kind / f"setpoints.{kind}", folder)
    shutil.copy(folder / "csv" / "segments.json", folder)
    return folder


@pytest.mark.parametrize(("code", "packages"), list(loaders()))
def test_ways_to_load_the_table_work(code, packages, tables, monkeypatch):
    for package in packages:
        pytest.importorskip(package)
    if "parquet" in code:
        pytest.importorskip("pyarrow")
    monkeypatch.chdir(tables)
    exec(compile(code, "README.md", "exec"), {})


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_described(name):
    assert f"hexpost {name}" in (ROOT / "README.md").read_text()
    shown = CliRunner().invoke(main, [name, "--help"])
    assert shown.exit_code == 0
    assert "Usage" in shown.output
    manual = MANUALS / f"{name}.txt"
    assert not manual.exists() or shown.output.endswith(manual.read_text())


def test_manuals_belong_to_commands_and_fit_a_screen():
    for file in MANUALS.iterdir():
        assert file.stem in COMMANDS
        prose = re.sub(r"^  \$ .*\n(?:  .*\n)*", "", file.read_text(), flags=re.MULTILINE)
        assert max(map(len, prose.splitlines())) <= 100
