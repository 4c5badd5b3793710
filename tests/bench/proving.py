"""The proof of a job against its conversion: processor time of whole processes in turn, one thread; memory."""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from short import seconds
from whole import convert, environment, raster

OPTIONS = ("--jobs", "1", "--no-proof")


def verify_vs_convert(moves: int = 200_000, runs: int = 5) -> dict[str, object]:
    """Prove the raster of the whole job and convert it, in turn; the ratio of the medians, start-up included."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        made, proven = [], []
        for k in range(runs + 1):
            whole = seconds(
                "-m", "hexpost", "convert", folder / "raster.nc", "--out", folder / "job", "--overwrite", *OPTIONS
            )
            verify = seconds("-m", "hexpost", "verify", folder / "job", "--without-remake")
            if k:
                made.append(whole)
                proven.append(verify)
    whole, verify = statistics.median(made), statistics.median(proven)
    return {"ratio": verify / whole, "convert_s": whole, "verify_s": verify}


def convert_with_proof(moves: int = 200_000, runs: int = 5) -> dict[str, object]:
    """Wall time of the whole job with its own proof over that without, in turn, on all cores.

    ``processor``: the same of the seconds of all processes, which a busy computer changes less.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        walls: dict[str, list[float]] = {"--no-proof": [], "--proof": []}
        spent: dict[str, list[float]] = {"--no-proof": [], "--proof": []}
        for k in range(runs + 1):
            for proof, wall in walls.items():
                before = resource.getrusage(resource.RUSAGE_CHILDREN)
                took, _ = convert(folder / "raster.nc", folder / "job", "--overwrite", proof=proof)
                after = resource.getrusage(resource.RUSAGE_CHILDREN)
                if k:
                    wall.append(took)
                    spent[proof].append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    with_, without = (statistics.median(walls[proof]) for proof in ("--proof", "--no-proof"))
    processor = statistics.median(spent["--proof"]) / statistics.median(spent["--no-proof"])
    return {"ratio": with_ / without, "with_s": with_, "without_s": without, "processor": processor}


def equations_vs_convert(moves: int = 60_000, runs: int = 5) -> dict[str, object]:
    """Processor time of the equations alone, their rows at hand, against a conversion in this process."""
    import time

    from click.testing import CliRunner

    from hexpost.cli import main
    from hexpost.verify.columns import layout
    from hexpost.verify.equations import prove_equations
    from hexpost.verify.folder import open_folder
    from hexpost.verify.rows import TableFiles
    from hexpost.verify.settings import read_inputs, settings_of

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        made, proven, rows = [], [], []
        for k in range(runs + 1):
            t = time.process_time()
            words = ["convert", str(folder / "raster.nc"), "--out", str(folder / "job"), "--overwrite", *OPTIONS]
            assert CliRunner().invoke(main, words).exit_code in (0, 1)
            convert = time.process_time() - t
            if not rows:
                job = open_folder(folder / "job")
                files = {role: job.path / f for role, f in job.manifest["inputs"].items()}
                inputs = read_inputs(files, job.path, settings_of(job.manifest["settings"]))
                columns = layout(job.tables, geared=False)
                rows = list(TableFiles(job.path, job.tables, columns, {}).batches())
            t = time.process_time()
            checks = prove_equations(iter(rows), inputs, columns.micros, report=job.report)
            spent = time.process_time() - t
            assert all(c.proven for c in checks)
            if k:
                made.append(convert)
                proven.append(spent)
    convert, equations = statistics.median(made), statistics.median(proven)
    return {"ratio": equations / convert, "convert_s": convert, "equations_s": equations}


def audit_with_proof(moves: int = 60_000, runs: int = 5) -> dict[str, object]:
    """Processor time of an audit with the cheap part of the proof over that without, in turn, in this process."""
    import time

    from hexpost.convert import report_of
    from hexpost.pipeline import Files, load, schedule

    with tempfile.TemporaryDirectory() as name:
        program = Path(name, "raster.nc")
        program.write_text(raster(moves))
        spent: dict[bool, list[float]] = {False: [], True: []}
        for k in range(runs + 1):
            for prove, times in spent.items():
                t = time.process_time()
                report = report_of(schedule(load(Files(program=program))), prove=prove)
                if k:
                    times.append(time.process_time() - t)
    without, with_ = (statistics.median(x) for x in spent.values())
    rows = report.rows
    return {
        "ratio": with_ / without,
        "with_s": with_,
        "without_s": without,
        "us_per_row": 1e6 * (with_ - without) / rows,
    }


def proof_memory() -> dict[str, object]:
    """Peak memory, in MB, of the proof of a raster of 8 hours; ``HEXPOST_BENCH_MOVES`` makes it shorter."""
    moves = int(os.environ.get("HEXPOST_BENCH_MOVES", "3300000"))
    script = (  # as in ``whole.convert``
        "import sys; from hexpost.cli import main\n"
        "try: main(sys.argv[1:], prog_name='hexpost')\n"
        "except SystemExit as e: code = e.code\n"
        "peak = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
        "print('PEAK', int(peak.split()[1]) * 1024, code)"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        seconds("-m", "hexpost", "convert", folder / "raster.nc", "--out", folder / "job", "--no-proof")
        done = subprocess.run(
            [sys.executable, "-c", script, "verify", str(folder / "job")],
            capture_output=True, text=True, env=environment(), check=True,
        )  # fmt: skip
    last = done.stdout.strip().splitlines()[-1].split()
    assert last[2] in ("0", "1"), done.stdout
    return {"ratio": int(last[1]) / 2**20, "moves": moves}
