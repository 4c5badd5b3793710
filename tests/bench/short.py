"""A job of 60 blocks against importing numpy and scipy; an audit against its conversion: seconds of processor."""

import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from whole import environment, raster


def seconds(*words: object) -> float:
    """Return the processor seconds of a Python process; exit codes 0 and 1 are right."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, *(str(w) for w in words)], env=environment(), capture_output=True, check=False
    )
    assert done.returncode in (0, 1), done.stdout.decode() + done.stderr.decode()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def faces() -> str:
    """Return a program of 60 blocks: lines to and fro at two depths, with half circles between."""
    rows = ["G21 G17 G90 G94 G54 F6000", "G00 X-20 Y-20 Z80"]
    for z in (60, 58):
        rows += ["G00 X-20 Y-20", f"G01 Z{z}"]
        for y in range(-20, 6, 2):
            rows += [f"G01 X{20 if y % 4 == 0 else -20}", f"G0{3 if y % 4 == 0 else 2} Y{y + 2} J1"]
        rows += ["G00 Z80"]
    return "\n".join([*rows, "M30"]) + "\n"


def short_job(runs: int = 9) -> dict[str, object]:
    """Time jobs of 60 blocks from process start to manifest, in turn with ``import numpy, scipy``.

    ``ratio``: of a dense chain, which becomes a smooth curve by ``scipy.linalg``; ``plain``: of ``faces``.
    """
    figures: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as name:
        for kind, text in (("ratio", raster(52)), ("plain", faces())):
            program = Path(name) / f"{kind}.nc"
            program.write_text(text)
            words = ("convert", program, "--no-proof", "--overwrite", "--out", Path(name) / "job")
            pairs = [(seconds("-m", "hexpost", *words), seconds("-c", "import numpy, scipy")) for _ in range(runs + 1)]
            figures[kind] = statistics.median(a / b for a, b in pairs[1:])
            figures[f"{kind}_s"] = statistics.median(a for a, _ in pairs[1:])
    return figures


AUDIT = "import sys; from hexpost import audit_job, load_job; audit_job(load_job(sys.argv[1]))"


def audit_vs_convert(moves: int = 100_000, runs: int = 5) -> dict[str, object]:
    """Time an audit of the raster against its conversion, in turn; one process each, both without a proof."""
    with tempfile.TemporaryDirectory() as name:
        program, out = Path(name) / "raster.nc", Path(name) / "job"
        program.write_text(raster(moves))
        options, pairs = ("--jobs", "1", "--no-proof", "--overwrite", "--out", out), []
        for _ in range(runs + 1):
            audit = seconds("-c", AUDIT, program)
            pairs.append((audit, seconds("-m", "hexpost", "convert", program, *options)))
    audit, convert = (statistics.median(times) for times in zip(*pairs[1:], strict=True))
    return {"ratio": statistics.median(a / b for a, b in pairs[1:]), "audit_s": audit, "convert_s": convert}
