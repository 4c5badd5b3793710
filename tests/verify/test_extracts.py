"""The table in several files, and a table of every n-th row beside it: the same rows, proven in every format."""

import json

import numpy as np
import pytest
from verify.folders import BROKEN, PROGRAM, convert, proof, run, sign

pytestmark = pytest.mark.usefixtures("untried")


def rows(path):
    return path.read_text().splitlines()[1:]


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return rows(convert(tmp_path_factory.mktemp("whole")) / "setpoints.csv")


@pytest.mark.parametrize("each", [1000, 4096, 8191, 10**6])
def test_files_of_so_many_rows_are_the_table(whole, tmp_path, each):
    job = convert(tmp_path, PROGRAM, "--rows-per-file", each)
    names = sorted(file.name for file in job.glob("setpoints.*.csv"))
    told = json.loads((job / "manifest.json").read_text())["tables"]
    assert list(told) == names
    assert [told[n]["rows"] for n in names] == [len(rows(job / n)) for n in names]
    assert {told[n]["rows"] for n in names[:-1]} <= {each}
    assert [row for n in names for row in rows(job / n)] == whole
    assert proof(job) == (0, {})


def test_a_job_that_breaks_limits_says_so_in_every_name(tmp_path):
    job = convert(tmp_path, BROKEN, "--rows-per-file", 5000, "--table", "npy")
    names = sorted(file.name for file in job.glob("setpoints*"))
    assert names[0] == "setpoints.0001.not-runnable.npy"
    assert all("not-runnable" in name for name in names)
    assert proof(job) == (1, {})


def test_files_out_of_order_are_not_proven(tmp_path):
    job = convert(tmp_path, PROGRAM, "--rows-per-file", 6000)
    a, b = job / "setpoints.0001.csv", job / "setpoints.0002.csv"
    first, second = a.read_bytes(), b.read_bytes()
    a.write_bytes(second)
    b.write_bytes(first)
    sign(job)
    code, faults = proof(job)
    assert code == 2
    assert "time" in faults


def test_parquet_in_several_files(tmp_path):
    pytest.importorskip("pyarrow", reason="the Parquet extra is not installed")
    assert proof(convert(tmp_path, PROGRAM, "--rows-per-file", 7000, "--table", "parquet")) == (0, {})


def test_too_many_files_are_refused_before_anything_is_written(tmp_path):
    (tmp_path / "p.nc").write_text("%\nG21\nG00 X10. Y0. Z100.\nM30\n%\n")
    code, output = run("convert", tmp_path / "p.nc", "--rows-per-file", 1, "--out", tmp_path / "job")
    assert code == 2
    assert "at most 500 are written" in output
    assert not (tmp_path / "job").exists()


@pytest.mark.parametrize("stride", [2, 1000, 8192, 10**7])
def test_every_nth_row_and_the_last(whole, tmp_path, stride):
    job = convert(tmp_path, PROGRAM, "--stride", stride)
    wanted = [row for i, row in enumerate(whole) if i % stride == 0 or i == len(whole) - 1]
    assert rows(job / f"reading-every-{stride}.csv") == wanted
    assert rows(job / "setpoints.csv") == whole
    assert proof(job) == (0, {})


def test_columns_are_those_of_the_table_and_an_old_job_goes_with_all_its_files(tmp_path):
    options = ("--columns", "time,length", "--stride", 50, "--rows-per-file", 3000)
    job = convert(tmp_path, PROGRAM, *options)
    assert np.loadtxt(job / "reading-every-50.csv", delimiter=",", skiprows=1).shape[1] == 7
    job = convert(tmp_path, PROGRAM, "--overwrite")
    assert not list(job.glob("reading*"))
    assert [file.name for file in job.glob("setpoints*")] == ["setpoints.csv"]
