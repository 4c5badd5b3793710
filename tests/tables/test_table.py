"""Every format holds the same numbers: read back by numpy, pandas, polars, duckdb and pyarrow (each if installed)."""

import io

import numpy as np
import pytest
from setpoint_samples import smooth

from hexpost.tables.columns import ALL, choose
from hexpost.tables.table import CHUNK, describe, open_table, table_name
from hexpost.tables.whole import PartFile

ROWS = CHUNK + 700
DECIMALS = [6] * 13 + [3] * 6


def write(folder, kind, names=()):
    columns = choose(names)
    with PartFile(folder, "setpoints") as part:
        table = open_table(part, kind, columns, 1e-3)
        table.write(smooth(300))
        table.write(smooth(0, 300))
        table.write(smooth(ROWS - 300, 300))
        assert table.finish() == ROWS
        part.commit(f"setpoints.{kind}")
    return folder / f"setpoints.{kind}"


def truth():
    """Return each column as doubles: an IEEE quotient of two exact numbers is the double nearest to the decimal."""
    s = smooth(ROWS)
    k = [s.poses.tick[None], np.rint(s.length * 1e6), np.rint(s.speed * 1e6), np.rint(s.acceleration * 1e3)]
    scale = np.array([1e3] + [1e6] * 12 + [1e3] * 6)[:, None]
    return np.vstack([np.vstack(k) / scale, s.poses.line[None]])


def same(columns):
    return np.array_equal(np.vstack([np.asarray(c, dtype=np.float64) for c in columns]), truth())


def test_csv_head_and_shape(tmp_path):
    data = write(tmp_path, "csv").read_bytes()
    assert data.startswith(b"time_s,length_1_mm,length_2_mm,")
    assert data.endswith(b"\n")
    assert b" " not in data
    assert b"\r" not in data
    assert data.count(b"\n") == ROWS + 1


def test_numpy_reads_csv(tmp_path):
    assert same(np.loadtxt(write(tmp_path, "csv"), delimiter=",", skiprows=1).T)


def test_numpy_reads_npy(tmp_path):
    data = np.load(write(tmp_path, "npy"), allow_pickle=False, mmap_mode="r")
    assert data.dtype.names == ALL
    assert data.shape == (ROWS,)
    assert same([data[name] for name in ALL])


def test_npy_of_some_columns(tmp_path):
    data = np.load(write(tmp_path, "npy", ["speed_2_mm_s"]))
    assert data.dtype.names == ("speed_2_mm_s",)
    assert np.array_equal(data["speed_2_mm_s"], truth()[8])


def test_pandas_reads_csv(tmp_path):
    pandas = pytest.importorskip("pandas")
    frame = pandas.read_csv(write(tmp_path, "csv"))
    assert tuple(frame.columns) == ALL
    assert same([frame[name] for name in ALL])


@pytest.mark.parametrize("options", [{}, {"dtype_backend": "pyarrow"}], ids=["objects", "arrow"])
def test_pandas_reads_parquet(tmp_path, options):
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    frame = pandas.read_parquet(write(tmp_path, "parquet"), **options)
    assert tuple(frame.columns) == ALL
    assert same([frame[name].astype("float64") for name in ALL])


def test_polars_reads_csv_and_parquet(tmp_path):
    polars = pytest.importorskip("polars")
    pytest.importorskip("pyarrow")
    frame = polars.read_csv(write(tmp_path, "csv"), infer_schema_length=None)
    assert same([frame[name].to_numpy() for name in ALL])
    frame = polars.read_parquet(write(tmp_path, "parquet"))
    assert same([frame[name].cast(polars.Float64).to_numpy() for name in ALL])


def test_duckdb_reads_csv_and_parquet(tmp_path):
    duckdb = pytest.importorskip("duckdb")
    pytest.importorskip("pyarrow")
    for kind in ("csv", "parquet"):
        path = write(tmp_path, kind)
        columns = duckdb.sql(f"select * from '{path}'").fetchnumpy()
        assert same([np.array([float(str(x)) for x in columns[name]]) for name in ALL])
        columns = duckdb.sql(f"select cast(columns(*) as double) from '{path}'").fetchnumpy()
        assert same([columns[name] for name in ALL])


def test_pyarrow_reads_parquet(tmp_path):
    """Whole numbers of the last decimal are exact; pyarrow's own cast of decimals to doubles is off by one bit."""
    pq = pytest.importorskip("pyarrow.parquet")
    table = pq.read_table(write(tmp_path, "parquet"))
    assert tuple(table.column_names) == ALL
    assert [f.type.scale for f in list(table.schema)[:19]] == DECIMALS
    assert table.schema.field("speed_1_mm_s").metadata == {b"unit": b"mm/s"}
    assert same([np.array([float(x) for x in table[name].to_pylist()]) for name in ALL])


def test_pyarrow_reads_csv(tmp_path):
    csv = pytest.importorskip("pyarrow.csv")
    table = csv.read_csv(write(tmp_path, "csv"))
    assert same([table[name].to_numpy() for name in ALL])


def test_the_hash_is_that_of_the_file(tmp_path):
    """The row count is patched into the head of an .npy file after the rows: the hash must be of the final bytes."""
    import hashlib

    for kind in ("csv", "npy"):
        with PartFile(tmp_path, "t") as part:
            table = open_table(part, kind, choose(), 1e-3)
            table.write(smooth(100))
            table.finish()
            written = part.commit(f"t.{kind}")
        data = (tmp_path / f"t.{kind}").read_bytes()
        assert written.sha256 == hashlib.sha256(data).hexdigest()
        assert written.size == len(data)


def test_a_table_without_rows_is_a_table(tmp_path):
    for kind in ("csv", "npy", "parquet"):
        if kind == "parquet":
            pytest.importorskip("pyarrow")
        with PartFile(tmp_path, "t") as part:
            assert open_table(part, kind, choose(), 1e-3).finish() == 0
            part.commit(f"t.{kind}")
    assert (tmp_path / "t.csv").read_bytes().count(b"\n") == 1
    assert np.load(io.BytesIO((tmp_path / "t.npy").read_bytes())).shape == (0,)


def test_a_table_that_breaks_a_limit_says_so_in_its_name():
    assert table_name("csv", runnable=True) == "setpoints.csv"
    assert table_name("npy", runnable=False) == "setpoints.not-runnable.npy"


def test_a_table_that_nobody_proved_says_so_in_its_name():
    assert table_name("csv", runnable=True, proven=False) == "setpoints.not-proven.csv"
    assert table_name("csv", runnable=False, proven=False, number=3) == "setpoints.0003.not-proven.not-runnable.csv"


def test_the_manifest_describes_every_column():
    gone = "NOT FOR DRIVES: the table lacks columns that the drives follow. "
    gone += "Add length to --columns for a job that a machine is to run."
    unproven = "A proof reads line, length, speed, acceleration columns, which the table lacks. "
    unproven += "To prove it, convert and verify make one that has them."
    told = describe(choose(["time", "speed_1_mm_s"]), 1e-3, 7)
    assert told == {
        "rows": 7,
        "period_us": 1000,
        "drives_follow": [],
        "notices": [gone, unproven],
        "columns": [
            {"name": "time_s", "unit": "s", "decimals": 3},
            {"name": "speed_1_mm_s", "unit": "mm/s", "decimals": 6},
        ],
    }
