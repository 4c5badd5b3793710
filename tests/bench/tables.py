"""Writing the setpoint table, against general-purpose writers of the same rounded numbers and against raw bytes.

Both sides write rows of the full twenty-column table (smooth struts, signed speeds and accelerations), ours from blocks
that the processor's cache holds, as they come from the solver. Processor time is compared. ``ratio`` is for what all of
them do: quantise, format, and write over a file that is already in the page cache (raw bytes: into a new file, on both
sides). ``ratio_as_job`` is for the writer as jobs use it: a new file, SHA-256 and fsync as well.
"""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from setpoint_samples import smooth
from turns import seconds

from hexpost.door import load_job, write_job
from hexpost.tables.columns import choose
from hexpost.tables.decimals import RowText
from hexpost.tables.quantise import Quantiser
from hexpost.tables.table import CHUNK, open_table
from hexpost.tables.whole import PartFile

BLOCK, BLOCKS, TIMES = 4096, 2, 8
PIECE = 400_000
KINDS = ("parquet", "csv")
SAMPLES = Path(__file__).parents[2] / "samples"
FORMATS = ["%.3f"] + ["%.6f"] * 12 + ["%.3f"] * 6 + ["%d"]


def blocks(count: int, shake: float = 3.0) -> list:
    """Return consecutive blocks of setpoints."""
    return [smooth(BLOCK, first, shake=shake) for first in range(0, BLOCK * count, BLOCK)]


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


def bare(file: BinaryIO, data: list) -> None:
    """Quantise, format and write, and no more."""
    quantiser, rows = Quantiser(choose(), 1e-3, CHUNK), RowText(choose(), 1e-3, CHUNK)
    for block in data:
        file.writelines(rows.text(quantiser.rows(block, first, first + CHUNK)) for first in range(0, BLOCK, CHUNK))


def against(folder: Path, write: Callable[[BinaryIO], object], rows: int, mode: str = "r+b") -> tuple[float, ...]:
    """Return seconds a row: bare, as in a job, and of ``write``, which writes ``rows`` rows; ``folder`` has a table."""
    data = blocks(BLOCKS) * TIMES

    def into(function: Callable[[BinaryIO], object]) -> None:
        with (folder / "t.csv").open(mode) as file:
            function(file)

    n = BLOCK * len(data)
    alone, job, other = seconds(
        lambda: into(lambda file: bare(file, data)), lambda: ours(folder, data), lambda: into(write)
    )
    return alone / n, job / n, other / rows


def figures(alone: float, job: float, other: float, *, inverse: bool = False) -> dict[str, object]:
    """Return the ratios of the other's time to ours, or of ours to the other's."""
    ratios = [(ours / other) if inverse else (other / ours) for ours in (alone, job)]
    return {
        "ratio": round(ratios[0], 2), "ratio_as_job": round(ratios[1], 2), "us_per_row": round(alone * 1e6, 3),
        "us_per_row_other": round(other * 1e6, 3),
    }  # fmt: skip


def csv_vs_savetxt() -> dict[str, object]:
    """Compare with ``numpy.savetxt`` with the same formats."""
    table = columns(blocks(BLOCKS))
    with tempfile.TemporaryDirectory() as name:
        ours(Path(name), blocks(BLOCKS) * TIMES)
        return figures(
            *against(Path(name), lambda file: np.savetxt(file, table, fmt=FORMATS, delimiter=","), len(table))
        )


def csv_vs_pyarrow() -> dict[str, object]:
    """Compare with pyarrow's CSV writer of the same doubles."""
    import pyarrow as pa
    import pyarrow.csv as pc

    pa.set_cpu_count(1)
    numbers = columns(blocks(BLOCKS) * TIMES)
    table = pa.table({name: np.ascontiguousarray(x) for name, x in zip(choose().names, numbers.T, strict=True)})
    with tempfile.TemporaryDirectory() as name:
        ours(Path(name), blocks(BLOCKS) * TIMES)
        return figures(*against(Path(name), lambda file: pc.write_csv(table, file), len(numbers)))


def csv_vs_raw() -> dict[str, object]:
    """Compare with writing the same bytes as they are (time of ours over time of that)."""
    data = blocks(BLOCKS) * TIMES
    with tempfile.TemporaryDirectory() as name:
        ours(Path(name), data)
        text = memoryview((Path(name) / "t.csv").read_bytes())
        pieces = [text[first : first + PIECE] for first in range(0, len(text), PIECE)]
        measured = against(Path(name), lambda file: file.writelines(pieces), BLOCK * len(data), "wb")
    return figures(*measured, inverse=True)


def parquet_size() -> dict[str, object]:
    """Compare the bytes of the Parquet table with those of the CSV table.

    ``ratio`` is that of all sample programs together, real jobs with rests and small moves; ``least`` and ``most`` are
    of one of them. ``ratio_swinging`` and ``ratio_rapids`` are of struts that never rest, up to 400 mm/s: the format
    codes first differences, which such accelerations make wide.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        jobs = [job_sizes(program, folder) for program in sorted(SAMPLES.glob("*.nc"))]
        made = {shake: [ours(folder, blocks(BLOCKS * TIMES, shake), kind) for kind in KINDS] for shake in (0.1, 3.0)}
    each = [parquet / csv for parquet, csv in jobs]
    swinging, rapids = (round(parquet / csv, 4) for parquet, csv in made.values())
    return {
        "ratio": round(sum(p for p, _ in jobs) / sum(c for _, c in jobs), 4), "least": round(min(each), 4),
        "most": round(max(each), 4), "ratio_swinging": swinging, "ratio_rapids": rapids,
    }  # fmt: skip


def job_sizes(program: Path, folder: Path) -> list[int]:
    """Return the bytes of the table of a program's job in each of ``KINDS``."""
    own = program.with_suffix(".toml")
    machine = own if own.exists() else None
    job = load_job(program, machine=machine, tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup.toml")
    sizes = []
    for kind in KINDS:
        out = folder / f"{program.stem}-{kind}"
        write_job(job, out, table=kind)
        sizes += [file.stat().st_size for file in out.glob(f"setpoints*.{kind}")]
    return sizes
