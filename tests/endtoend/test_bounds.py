"""What a single input can make the tool use is bounded, and beyond the bound it says so at once."""

import os
from itertools import pairwise

import pytest
from click.testing import CliRunner

from hexpost import pipeline
from hexpost.cli import main
from hexpost.errors import InputError
from hexpost.library.baseline import load_baseline
from hexpost.library.policy import load_policy
from hexpost.library.settings import Settings
from hexpost.machine import reading
from hexpost.machine.load import demonstration_machine, load_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.setup import columns
from hexpost.setup.columns import read_columns

MACHINE = demonstration_machine()


def understood(text, machine=MACHINE):
    return pipeline.understand(pipeline.parse(text.encode(), "bounds.nc"), machine, no_tools(), no_setup())


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("G21 G00 X0 Y0 Z80\nG01 X20 F0.000001\nM30\n", 2),
        ("G21 G00 X0 Y0 Z80\nG04 X10000000\nM30\n", 2),
        ("G21 G00 X0 Y0 Z80\nM98 P1 L99999\nM30\nO1\nG04 X10000000\nM99\n", 5),
    ],
)
def test_motion_of_years_is_refused_at_once_and_its_block_named(text, line):
    with pytest.raises(InputError, match=r"at most 720,000,000 \(200 h\) are allowed") as caught:
        pipeline.schedule(understood(text))
    assert (caught.value.faults[0].code, caught.value.faults[0].line) == ("job-too-long", line)
    assert "--most-rows" in caught.value.faults[0].hint


def test_the_bound_of_the_rows_can_be_lowered_and_raised(tmp_path):
    file = tmp_path / "p.nc"
    file.write_text("G21 G00 X10 Z80\nG04 X1\nM30\n")
    job = pipeline.schedule(pipeline.load(pipeline.Files(program=file)))
    rows = job.timing.ticks + 1
    for most, code in ((rows - 1, 2), (rows, 0)):
        for command in (["audit", str(file)], ["convert", str(file), "--out", str(tmp_path / f"job{most}")]):
            done = CliRunner().invoke(main, [*command, "--most-rows", str(most)])
            assert done.exit_code == code, done.output
            assert ("are allowed; this block takes longest" in done.output) == (code == 2)
    assert not (tmp_path / f"job{rows - 1}").exists()


def test_a_program_has_so_many_bytes_and_lines(tmp_path, monkeypatch):
    file = tmp_path / "p.nc"
    file.write_bytes(b"G21\n" * 100)
    monkeypatch.setattr(pipeline, "MOST_LINES", 99)
    with pytest.raises(InputError, match="has 100 lines; at most 99 are read"):
        pipeline.content(file)
    monkeypatch.setattr(pipeline, "MOST_BYTES", 399)
    with pytest.raises(InputError, match="is longer than 399 bytes"):
        pipeline.content(file)


def test_a_file_of_a_terabyte_is_refused_by_its_first_bytes(tmp_path, monkeypatch):
    """The file is sparse; reading stops one byte past the bound."""
    file = tmp_path / "huge.nc"
    with file.open("wb") as opened:
        opened.truncate(1 << 40)
    monkeypatch.setattr(pipeline, "MOST_BYTES", 10_000)
    monkeypatch.setattr(columns, "MOST_BYTES", 10_000)
    readers = (pipeline.content, load_machine, load_tools, load_setup, lambda p: read_columns(p, ("x_mm",)))
    for read in readers:
        with pytest.raises(InputError, match=r"is longer than [\d,]+ bytes"):
            read(file)
    assert reading.MOST_BYTES == 1_000_000


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
@pytest.mark.parametrize(
    "read",
    [
        pipeline.content,
        load_machine,
        load_tools,
        load_setup,
        load_baseline,
        lambda p: load_policy(p, Settings()),
        lambda p: read_columns(p, ("x_mm",)),
    ],
)
def test_a_pipe_or_a_device_is_no_input(read, tmp_path):
    """Opening a pipe that nobody writes to would wait without end; a device may have no end."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, tmp_path):
        with pytest.raises(InputError, match="is a folder, a pipe or a device"):
            read(path)


@pytest.mark.parametrize(
    "kind", ["[" * 100_000, "a = " + "[" * 100_000, "{" * 50_000, "a." * 100_000 + "b = 1", "a = {" + "b." * 100_000]
)
def test_nesting_without_end_is_refused(kind, tmp_path):
    file = tmp_path / "deep.toml"
    file.write_text(kind)
    for load in (load_machine, load_tools, load_setup):
        with pytest.raises(InputError):
            load(file)


def test_labels_cost_no_more_each_when_there_are_many():
    """Calls of the interpreter's inner functions per label, not seconds: a clock would fail on a busy computer."""
    import cProfile
    import pstats

    counts = []
    for labels in (1000, 2000, 4000):
        program = pipeline.parse(
            b"G21 G00 X0 Z80\nM30\n" + b"".join(b"O%d\nM99\n" % i for i in range(1, labels)), "o.nc"
        )
        with cProfile.Profile() as profile:
            pipeline.understand(program, MACHINE, no_tools(), no_setup())
        counts.append(pstats.Stats(profile).total_calls)
    for less, more in pairwise(counts):
        assert more < 2.1 * less
