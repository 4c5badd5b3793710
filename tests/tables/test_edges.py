"""Rare ways through the writer: empty blocks, full row groups, missing packages, a folder that cannot be claimed."""

import sys
from importlib.metadata import PackageNotFoundError, version
from types import SimpleNamespace

import numpy as np
import pytest
from machine.described import described, text
from setpoint_samples import smooth
from verify.folders import convert

from hexpost.errors import OutputError
from hexpost.tables import formats, job, manifest, whole
from hexpost.tables.columns import choose
from hexpost.tables.partial import EveryNth
from hexpost.tables.segments import Segments
from hexpost.tables.table import open_table
from hexpost.tables.whole import PartFile, sync_folder

EMPTY = slice(0, 0)


def test_an_empty_block_adds_no_row(tmp_path):
    with PartFile(tmp_path, "reading") as part:
        reading = EveryNth(open_table(part, "csv", choose(()), 1e-3), 3)
        reading.write(smooth(7))
        reading.write(smooth(7).take(EMPTY))
        assert reading.finish() == 3  # 0, 3 and 6, the last one
        part.commit("reading.csv")


def test_an_empty_block_changes_no_segment():
    found, same = Segments([], 1e-3), Segments([], 1e-3)
    for block in (smooth(0), smooth(5)):
        found.add(block)
    same.add(smooth(5))
    assert found.document() == same.document()


def test_full_row_groups_go_to_the_file_at_once(tmp_path, monkeypatch):
    parquet = pytest.importorskip("hexpost.tables.parquet", reason="pyarrow is not installed")
    from pyarrow.parquet import ParquetFile

    monkeypatch.setattr(parquet, "GROUP_ROWS", 100)
    with PartFile(tmp_path, "setpoints") as part:
        table = open_table(part, "parquet", choose(("time", "line")), 1e-3)
        for first in range(0, 300, 50):
            table.write(smooth(50, first))
        table.finish()
        part.commit("setpoints.parquet")
    file = ParquetFile(tmp_path / "setpoints.parquet")
    assert [file.metadata.row_group(k).num_rows for k in range(file.num_row_groups)] == [100, 100, 100]


def test_parquet_without_its_package_is_refused_with_the_way_to_get_it(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "hexpost.tables.parquet", None)
    with PartFile(tmp_path, "setpoints") as part, pytest.raises(OutputError, match=r"needs the package pyarrow"):
        formats.encoder("parquet", part, choose(()), 1e-3, 100)


def test_a_folder_that_cannot_be_claimed_is_left_as_it_was(tmp_path, monkeypatch):
    def full(folder):
        raise OSError(28, "No space left on device", str(folder))

    monkeypatch.setattr(job, "sync_folder", full)
    with pytest.raises(OutputError, match="no space left"):
        job.JobFolder(tmp_path / "deep" / "job")
    assert list(tmp_path.iterdir()) == []


def test_a_library_that_does_not_say_its_version_is_named_all_the_same(monkeypatch):
    def none(name):
        raise PackageNotFoundError(name)

    assert manifest._versions(parquet=True)["numpy"] == version("numpy")
    monkeypatch.setattr("sys.path", [""])
    monkeypatch.setattr("importlib.metadata.version", none)
    assert manifest._versions(parquet=True)["numpy"] == "unknown"


def test_folders_are_made_durable_where_the_system_can(tmp_path, monkeypatch):
    sync_folder(tmp_path)
    monkeypatch.setattr(whole, "os", SimpleNamespace(name="nt"))
    sync_folder(tmp_path / "there is no such folder")


def test_turns_and_counts_of_the_motors_are_columns(tmp_path):
    (tmp_path / "m.toml").write_text(text())
    folder = convert(
        tmp_path, "%\nG21 G54 G90 G94\nG00 Z300.\nX10.\nM30\n%\n", "--machine", tmp_path / "m.toml",
        "--columns", "command,turns,counts,line",
    )  # fmt: skip
    screw = described().struts[0].screw
    rows = np.genfromtxt(next(folder.glob("setpoints*.csv")), delimiter=",", names=True)
    assert np.allclose(rows["turns_1"], rows["command_1_mm"] * screw.gear / screw.lead, atol=1e-6)
    assert np.allclose(rows["counts_1"], rows["turns_1"] * screw.counts, atol=1e-2)


def test_a_file_written_without_a_thread_is_settled_at_once(tmp_path):
    with PartFile(tmp_path, "plain") as part:
        part.write(b"some\n")
        part.settle()
        assert (tmp_path / next(tmp_path.iterdir()).name).read_bytes() == b"some\n"
        part.commit("plain.txt")
    assert (tmp_path / "plain.txt").read_bytes() == b"some\n"


def test_an_old_job_stays_where_the_folder_beside_it_cannot_be_made_durable(tmp_path, monkeypatch):
    folder = convert(tmp_path, "%\nG21 G54 G90 G94\nG00 Z300.\nX10.\nM30\n%\n")
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}

    def refuse(_):
        raise OSError(5, "no more")

    monkeypatch.setattr(job, "sync_folder", refuse)
    with pytest.raises(OutputError, match="no more"):
        job.JobFolder(folder, overwrite=True)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before
    assert list(tmp_path.glob(".*")) == []
