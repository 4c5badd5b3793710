"""Writing the setpoint table, against general-purpose writers of the same rounded numbers and against raw bytes.

Both sides write rows of the full twenty-column table (smooth struts, signed speeds and accelerations) over a file that
is already in the page cache, and processor time is compared. ``ratio`` is for what all of them do: quantise, format,
write. ``ratio_as_job`` is for the writer as jobs use it: a new file and its SHA-256 as well.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from setpoint_samples import smooth

from hexpost.tables.columns import choose
from hexpost.tables.decimals import Rows
from hexpost.tables.quantise import Quantiser
from hexpost.tables.table import CHUNK, open_table
from hexpost.tables.whole import PartFile

BLOCK, BLOCKS, RUNS = 4096, 16, 7
PIECE = 400_000
FORMATS = ["%.3f"] + ["%.6f"] * 12 + ["%.3f"] * 6 + ["%d"]


def seconds(*functions: Callable[[], object]) -> list[float]:
    """Return the median processor time of each call, taken in turn so that a busy machine slows all of them alike."""
    out: list[list[float]] = [[] for _ in functions]
    for _ in range(RUNS):
        for times, function in zip(out, functions, strict=True):
            t = time.process_time()
            function()
            times.append(time.process_time() - t)
    return [statistics.median(times) for times in out]


def blocks(shake: float = 3.0) -> list:
    """Return consecutive blocks of setpoints."""
    return [smooth(BLOCK, first, shake=shake) for first in range(0, BLOCK * BLOCKS, BLOCK)]


def columns(data: list) -> np.ndarray:
    """Return the rounded numbers as an array (rows, 20)."""
    return np.vstack([
        np.column_stack([
            s.poses.tick / 1e3, (np.rint(s.length * 1e6) / 1e6).T, (np.rint(s.speed * 1e6) / 1e6).T,
            (np.rint(s.acceleration * 1e3) / 1e3).T, s.poses.line,
        ])
        for s in data
    ])  # fmt: skip


def ours(folder: Path, data: list, kind: str = "csv") -> int:
    """Write the table as jobs do, hash included, and return its size."""
    with PartFile(folder, "t") as part:
        table = open_table(part, kind, choose(), 1e-3)
        for block in data:
            table.write(block)
        table.finish()
        return part.commit(f"t.{kind}").size


def bare(path: Path, data: list) -> None:
    """Quantise, format and write, and no more."""
    quantiser, rows = Quantiser(choose(), 1e-3, CHUNK), Rows(choose(), 1e-3, CHUNK)
    with path.open("r+b") as file:
        for block in data:
            for first in range(0, BLOCK, CHUNK):
                file.write(rows.text(quantiser.rows(block, first, first + CHUNK)))


def over(folder: Path, write: Callable[[BinaryIO], object]) -> None:
    """Let ``write`` write over the table that stands in ``folder``."""
    with (folder / "t.csv").open("r+b") as file:
        write(file)


def against(folder: Path, data: list, write: Callable[[BinaryIO], object], rows: int) -> dict[str, object]:
    """Compare our seconds a row with those of ``write``, which writes ``rows`` rows."""
    alone, job, other = seconds(
        lambda: bare(folder / "t.csv", data),
        lambda: ours(folder, data),
        lambda: over(folder, write),
    )
    n = BLOCK * BLOCKS
    return {
        "ratio": round(other / rows / (alone / n), 2), "ratio_as_job": round(other / rows / (job / n), 2),
        "us_per_row": round(alone / n * 1e6, 3), "us_per_row_other": round(other / rows * 1e6, 3), "rows": n,
    }  # fmt: skip


def csv_vs_savetxt() -> dict[str, object]:
    """Compare with ``numpy.savetxt`` with the same formats."""
    data = blocks()
    table = columns(data[:2])
    with tempfile.TemporaryDirectory() as name:
        ours(Path(name), data)
        return against(Path(name), data, lambda file: np.savetxt(file, table, fmt=FORMATS, delimiter=","), len(table))


def csv_vs_pyarrow() -> dict[str, object]:
    """Compare with pyarrow's CSV writer of the same doubles."""
    import pyarrow as pa
    import pyarrow.csv as pc

    pa.set_cpu_count(1)
    data = blocks()
    numbers = columns(data)
    table = pa.table({name: np.ascontiguousarray(x) for name, x in zip(choose().names, numbers.T, strict=True)})
    with tempfile.TemporaryDirectory() as name:
        ours(Path(name), data)
        return against(Path(name), data, lambda file: pc.write_csv(table, file), len(numbers))


def csv_vs_raw() -> dict[str, object]:
    """Compare with writing the same bytes as they are (time of ours over time of that)."""
    data = blocks()
    with tempfile.TemporaryDirectory() as name:
        ours(Path(name), data)
        text = (Path(name) / "t.csv").read_bytes()

        def write(file: BinaryIO) -> None:
            file.writelines(text[first : first + PIECE] for first in range(0, len(text), PIECE))

        figures = against(Path(name), data, write, BLOCK * BLOCKS)
    return {**figures, "ratio": round(1 / figures["ratio"], 2), "ratio_as_job": round(1 / figures["ratio_as_job"], 2)}


def parquet_size() -> dict[str, object]:
    """Compare the bytes of the Parquet table with those of the CSV table (``ratio``: a finishing cut)."""
    sizes = {}
    with tempfile.TemporaryDirectory() as name:
        for shake in (0.1, 3.0):
            data = blocks(shake)
            sizes[shake] = [ours(Path(name), data, kind) for kind in ("parquet", "csv")]
    calm, rough = (round(a / b, 4) for a, b in sizes.values())
    return {"ratio": calm, "ratio_rapid": rough, "bytes_per_row": round(sizes[0.1][0] / (BLOCK * BLOCKS), 1)}
