"""Writing the setpoint table, against general-purpose writers of the same rounded numbers and against raw bytes.

Both sides write rows of the full twenty-column table (smooth struts, signed speeds and accelerations) over a file that
is already in the page cache, from data that a processor's cache holds, as blocks in a pipeline do. ``ratio`` is for what
all of them do: quantise, format, write. ``ratio_as_job`` is for the writer as jobs use it: a new file, its SHA-256,
and the wait until it is on the disk.
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

BLOCK, BLOCKS, RUNS = 4096, 8, 7
FORMATS = ["%.3f"] + ["%.6f"] * 12 + ["%.3f"] * 6 + ["%d"]


def seconds(function: Callable[[], object], runs: int = RUNS) -> float:
    """Return the median time of a call."""
    out = []
    for _ in range(runs):
        t = time.perf_counter()
        function()
        out.append(time.perf_counter() - t)
    return statistics.median(out)


def blocks() -> list:
    """Return consecutive blocks of setpoints."""
    return [smooth(BLOCK, first) for first in range(0, BLOCK * BLOCKS, BLOCK)]


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


def against(other: Callable[[Path], float], *, inverse: bool = False) -> dict[str, object]:
    """Return the ratio of the seconds a row of ``other`` to ours (or ours to other's)."""
    data = blocks()
    n = BLOCK * BLOCKS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours(folder, data)
        alone = seconds(lambda: bare(folder / "t.csv", data)) / n
        whole = seconds(lambda: ours(folder, data)) / n
        them = other(folder)
    ratios = [them / alone, them / whole]
    if inverse:
        ratios = [1 / r for r in ratios]
    return {
        "ratio": round(ratios[0], 2), "ratio_as_job": round(ratios[1], 2), "us_per_row": round(alone * 1e6, 3),
        "us_per_row_other": round(them * 1e6, 3), "rows": n,
    }  # fmt: skip


def csv_vs_savetxt() -> dict[str, object]:
    """Compare with ``numpy.savetxt`` with the same formats."""
    table = columns(blocks()[:2])
    return against(
        lambda folder: (
            seconds(lambda: over(folder, lambda f: np.savetxt(f, table, fmt=FORMATS, delimiter=","))) / len(table)
        )
    )


def csv_vs_pyarrow() -> dict[str, object]:
    """Compare with pyarrow's CSV writer of the same doubles."""
    import pyarrow as pa
    import pyarrow.csv as pc

    pa.set_cpu_count(1)
    data = columns(blocks())
    table = pa.table({name: np.ascontiguousarray(x) for name, x in zip(choose().names, data.T, strict=True)})
    return against(lambda folder: seconds(lambda: over(folder, lambda f: pc.write_csv(table, f))) / len(data))


def csv_vs_raw() -> dict[str, object]:
    """Compare with writing the same bytes as they are (time of ours over time of that)."""
    n = BLOCK * BLOCKS

    def raw(folder: Path) -> float:
        text = (folder / "t.csv").read_bytes()
        pieces = [text[i : i + 400_000] for i in range(0, len(text), 400_000)]

        def write(file: BinaryIO) -> None:
            file.writelines(pieces)

        return seconds(lambda: over(folder, write)) / n

    return against(raw, inverse=True)


def parquet_size() -> dict[str, object]:
    """Compare the bytes of the Parquet table with those of the CSV table."""
    data = blocks()
    with tempfile.TemporaryDirectory() as name:
        sizes = [ours(Path(name), data, kind) for kind in ("parquet", "csv")]
    return {"ratio": round(sizes[0] / sizes[1], 4), "bytes_per_row": round(sizes[0] / (BLOCK * BLOCKS), 1)}
