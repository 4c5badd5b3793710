"""Columns in files are the columns in memory: the same job comes out, with room on the disk and without it."""

import gc
import hashlib
import mmap
import os
from pathlib import Path

import numpy as np
import pytest

from hexpost import shelf
from hexpost.convert import Output, convert
from hexpost.path import build
from hexpost.pipeline import Files, load, schedule, spared

SAMPLES = Path(__file__).parents[2] / "samples"


def job(name, folder):
    """Return the SHA-256 of all files of a job but the manifest, which names versions and none of the columns."""
    inputs = spared(load(Files(program=SAMPLES / name)))
    convert(schedule(inputs), Output(folder=folder))
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


@pytest.mark.parametrize("name", ["contour.nc", "pocket.nc"])
def test_a_job_is_the_same_with_its_columns_in_files(name, tmp_path, monkeypatch):
    usual = job(name, tmp_path / "memory")
    mapped = []
    monkeypatch.setattr(shelf, "LONG", 10)
    monkeypatch.setattr(shelf, "_kept", lambda m, kept=shelf._kept: mapped.append(len(m)) or kept(m))
    assert job(name, tmp_path / "files") == usual
    assert len(mapped) > 30
    mapped.clear()
    monkeypatch.setattr(build, "WINDOW", 20)
    assert job(name, tmp_path / "windows") == usual


def test_without_room_on_the_disk_columns_lie_in_memory(tmp_path, monkeypatch):
    usual = job("contour.nc", tmp_path / "memory")

    def full(*_):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(shelf, "LONG", 10)
    monkeypatch.setattr(os, "posix_fallocate", full)
    monkeypatch.setattr("tempfile.TemporaryFile", full)
    assert job("contour.nc", tmp_path / "full") == usual


def test_columns_in_files_can_be_filled_and_let_go_and_vanish_with_their_arrays(monkeypatch):
    monkeypatch.setattr(shelf, "LONG", 100)
    gc.collect()  # columns of earlier tests
    before = len(shelf._maps)
    column = shelf.column((3, 200), np.float64)
    column[:] = np.arange(200)
    assert isinstance(column.base.base, memoryview | mmap.mmap) or len(shelf._maps) == before + 1
    shelf.let_go()
    assert np.array_equal(column, np.tile(np.arange(200.0), (3, 1)))
    assert shelf.column((3, 99), np.float64).base is None
    del column
    gc.collect()
    assert len(shelf._maps) == before


def test_a_growing_column_keeps_what_it_has_where_it_needs_more_room(monkeypatch):
    monkeypatch.setattr(shelf, "LONG", 50)
    growing = shelf.Growing(10)
    for k in range(30):
        growing.add(np.full((2, 7), float(k)), share=1.0)
    assert growing.count == 210
    assert np.array_equal(growing.whole(), np.repeat(np.arange(30.0), 7)[None].repeat(2, axis=0))


@pytest.mark.parametrize("size", [0, 99, 100, 5000])
def test_a_long_text_is_read_from_a_file_of_its_own_and_never_more_than_is_allowed(size, tmp_path, monkeypatch):
    monkeypatch.setattr(shelf, "LONG", 100)
    data = bytes(range(1, 251)) * 20
    path = tmp_path / "text"
    path.write_bytes(data[:size])
    for most in (10, 100, 150, 10_000):
        with path.open("rb") as file:
            text = shelf.text(file, most)
        assert text[:] == data[:size][:most]
        assert isinstance(text, mmap.mmap) == (min(size, most) >= 100)
        assert shelf.reader(text).read() == data[:size][:most]
        assert shelf.reader(text).read(5) == data[:size][:most][:5]
