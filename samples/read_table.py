"""Read a setpoint table: ``python samples/read_table.py JOB`` prints how fast each strut moves at most, mm/s.

The numbers of all formats are the same, to the last decimal. There is a function for each library, to be copied.
Parquet holds decimals: pyarrow's own cast of them to doubles may miss the last bit, these casts do not.
"""

import hashlib
import json
import sys
from pathlib import Path

import numpy as np


def with_numpy(job: Path) -> list[float]:
    """Read CSV, and check the lengths of every segment as a controller would, before anything moves."""
    rows = np.loadtxt(job / "setpoints.csv", delimiter=",", skiprows=1)  # or numpy.load("setpoints.npy"), by name
    for segment in json.loads((job / "segments.json").read_text())["segments"]:
        lengths = rows[segment["first_row"] : segment["last_row"] + 1, 1:7]
        whole = np.rint(lengths * 1e6).astype("<i8")  # whole numbers of 1e-6 mm make the checksum
        if hashlib.sha256(whole.tobytes()).hexdigest() != segment["sha256"]:
            sys.exit(f"segment from row {segment['first_row']}: these are not the lengths that were written")
    return np.abs(rows[:, 7:13]).max(axis=0).tolist()


def with_pandas(job: Path) -> list[float]:
    """Read CSV or Parquet into a pandas frame."""
    import pandas as pd

    if (job / "setpoints.parquet").exists():
        table = pd.read_parquet(job / "setpoints.parquet", dtype_backend="pyarrow").astype("float64")
    else:
        table = pd.read_csv(job / "setpoints.csv")
    return table.filter(like="speed").abs().max().tolist()


def with_polars(job: Path) -> list[float]:
    """Read CSV or Parquet into a polars frame."""
    import polars as pl

    if (job / "setpoints.parquet").exists():
        table = pl.read_parquet(job / "setpoints.parquet").cast(pl.Float64)
    else:
        table = pl.read_csv(job / "setpoints.csv", infer_schema_length=None)
    return list(table.select(pl.col("^speed_.*$").abs().max()).row(0))


def with_duckdb(job: Path) -> list[float]:
    """Ask the CSV file itself."""
    import duckdb

    asked = ", ".join(f"max(abs(speed_{k}_mm_s))" for k in range(1, 7))
    return list(duckdb.read_csv(str(job / "setpoints.csv")).aggregate(asked).fetchall()[0])


if __name__ == "__main__":
    for strut, speed in enumerate(with_numpy(Path(sys.argv[1])), 1):
        print(f"strut {strut}: {speed:8.2f} mm/s")
