"""The whole job from process start to manifest, against ``numpy.savetxt`` of its table; start-up; memory."""

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np


def raster(moves: int, feed_mm_min: float = 3000.0, step_mm: float = 0.4) -> str:
    """Return a boustrophedon over a free-form surface with tilt that follows; figures rounded as such programs are."""
    per = 500
    rows = moves // (per + 1) + 1
    x0 = np.arange(per + 1) * step_mm - per * step_mm / 2
    x = np.concatenate([x0 if r % 2 == 0 else x0[::-1] for r in range(rows)])[: moves + 1]
    y = np.repeat(np.arange(rows) * 0.5 - rows * 0.25, per + 1)[: moves + 1]
    k = 2 * np.pi / 150
    z = 60 + 15 * np.sin(k * x) * np.cos(0.8 * k * y)
    a = 8 * np.sin(k * y) + 3 * np.cos(k * x)
    b = 9 * np.cos(k * x + 0.3) * np.cos(k * y)
    rows_text = [f"X{p:.3f} Y{q:.3f} Z{r:.3f} A{s:.3f} B{t:.3f}" for p, q, r, s, t in zip(x, y, z, a, b, strict=True)]
    head = f"%\nO1 (RASTER)\nG21 G17 G90 G94 G40 G49 G80 G54\nG00 {rows_text[0]}\nG01 F{feed_mm_min:g}\n"
    return head + "\n".join(rows_text[1:]) + "\nM30\n%\n"


def environment() -> dict[str, str]:
    """Return the environment of a measured process: one thread, and bytecode kept as an installed package has it."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def convert(program: Path, out: Path, *options: str, proof: str = "--no-proof") -> tuple[float, int]:
    """Return wall seconds and peak memory (bytes) of one conversion in a process of its own, without its own proof."""
    script = (  # the peak since the start of the program: ru_maxrss begins with that of the process that started it
        "import sys; from hexpost.cli import main\n"
        "try: main(sys.argv[1:], prog_name='hexpost')\n"
        "except SystemExit as e: code = e.code\n"
        "peak = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
        "print('PEAK', int(peak.split()[1]) * 1024, code)"
    )
    t = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", script, "convert", str(program), "--out", str(out), proof, *options],
        capture_output=True, text=True, env=environment(), check=True,
    )  # fmt: skip
    wall = time.perf_counter() - t
    last = done.stdout.strip().splitlines()[-1].split()
    assert last[0] == "PEAK" and last[2] in ("0", "1"), done.stdout + done.stderr
    return wall, int(last[1])


def savetxt_seconds_per_row(rows: int = 20_000) -> tuple[float, float]:
    """Return the time ``numpy.savetxt`` takes for a row of the same twenty columns, and its seconds of processor."""
    rng = np.random.default_rng(0)
    table = np.column_stack([
        np.arange(rows) * 1e-3, 1300 + 200 * rng.standard_normal((rows, 6)), 300 * rng.standard_normal((rows, 6)),
        4000 * rng.standard_normal((rows, 6)), np.arange(rows) // 8,
    ])  # fmt: skip
    with tempfile.TemporaryFile("w") as file:
        t, spent = time.perf_counter(), time.process_time()
        np.savetxt(file, table, fmt=["%.3f"] + ["%.6f"] * 12 + ["%.3f"] * 6 + ["%d"], delimiter=",")
        return (time.perf_counter() - t) / rows, (time.process_time() - spent) / rows


def whole_job_limited() -> dict[str, object]:
    """Time the same job with the struts' limits kept."""
    return whole_job(options=("--feed", "strut-limited"))


def whole_job(moves: int = 200_000, runs: int = 5, options: tuple[str, ...] = ()) -> dict[str, object]:
    """Time the whole job of a raster at 8 samples a move against ``numpy.savetxt`` of as many rows, in turn.

    With two workers, and with ``one``; ``processor``: seconds of processor of all processes, over those of savetxt.
    """
    figures: dict[str, list[float]] = {"ratio": [], "one": [], "processor": [], "processor_one": [], "wall_s": []}
    rows, peak = 0, 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        for k in range(runs + 1):
            for jobs, kind in (("2", ""), ("1", "_one")):
                before = children_seconds()
                wall, peak = convert(folder / "raster.nc", folder / "job", "--overwrite", "--jobs", jobs, *options)
                spent = children_seconds() - before
                rows = json.loads((folder / "job" / "report.json").read_text())["rows"]
                if k == 0:
                    continue  # warm-up: bytecode and files at hand
                text_wall, text_spent = savetxt_seconds_per_row()
                figures[kind[1:] or "ratio"].append(wall / (rows * text_wall))
                figures[f"processor{kind}"].append(spent / (rows * text_spent))
                figures["wall_s"].append(wall)
    found = {name: statistics.median(values) for name, values in figures.items()}
    return {**found, "rows": rows, "times_real_time": rows * 1e-3 / found["wall_s"], "peak_mb": peak / 2**20}


def sample_memory() -> dict[str, object]:
    """Peak memory of the same program at 1 ms over that at 8 ms: eight times the samples, the same blocks."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        program = folder / "raster.nc"
        program.write_text(raster(20_000))
        few = convert(program, folder / "few", "--period-ms", "8")[1]
        many = convert(program, folder / "many", "--period-ms", "1")[1]
    return {"ratio": many / few, "few_mb": few / 2**20, "many_mb": many / 2**20}


def block_memory(few: int = 100_000, many: int = 300_000) -> dict[str, object]:
    """Peak memory that one more block costs, in bytes: of rasters in one span, and of such that retract between."""
    figures: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind, every in (("one_span", 0), ("spans", 5000)):
            peaks = []
            for moves in (few, many):
                lines = raster(moves).split("\n")
                for k in range(every, len(lines) - 5, every or len(lines)):
                    lines[k] += "\nG00 Z200.\nG01" if k else ""
                (folder / "raster.nc").write_text("\n".join(lines))
                peaks.append(convert(folder / "raster.nc", folder / f"{kind}{moves}", "--period-ms", "8")[1])
            figures[kind] = (peaks[1] - peaks[0]) / (many - few)
    return {"ratio": figures["one_span"], **figures}


def whole_memory() -> dict[str, object]:
    """Peak memory, in MB, of a raster of 8 hours at 1 ms: 3.3 million blocks in one span.

    ``HEXPOST_BENCH_MOVES`` makes it shorter: the whole of it takes many minutes and 8 GB of disk.
    """
    moves = int(os.environ.get("HEXPOST_BENCH_MOVES", "3300000"))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        wall, peak = convert(folder / "raster.nc", folder / "job")
        rows = json.loads((folder / "job" / "report.json").read_text())["rows"]
    mb = peak / 2**20
    return {"ratio": mb, "moves": moves, "rows": rows, "bytes_per_block": peak / moves, "wall_s": wall}


def on_cores(moves: int = 100_000, runs: int = 5) -> dict[str, object]:
    """Time the whole job in one process against two workers, in pairs; on a plain machine, and on one fully described.

    ``processor``: seconds of all processes on two workers over those of one process; a busy computer changes it less.
    """
    figures: dict[str, object] = {}
    described = str(Path(__file__).parent.parent.parent / "samples" / "described.toml")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        for kind, options in (("plain", ()), ("described", ("--machine", described))):
            pairs = []
            for k in range(runs + 1):
                pair = []
                for jobs in ("1", "2"):
                    before = children_seconds()
                    wall = convert(folder / "raster.nc", folder / f"{kind}{k}{jobs}", "--jobs", jobs, *options)[0]
                    pair.append((wall, children_seconds() - before))
                pairs += [pair] * (k > 0)  # the first pair is the warm-up
            figures[kind] = statistics.median(one[0] / two[0] for one, two in pairs)
            figures[f"{kind}_processor"] = statistics.median(two[1] / one[1] for one, two in pairs)
    return {"ratio": figures["plain"], **figures}


def tip_cost(moves: int = 50_000, runs: int = 5) -> dict[str, object]:
    """Processor time of a job with all that is said of the tip over that of a plain one, in one process.

    Lags, swings, sag and what makes up for it are described, with limits that are looked at; ``described``: the same
    machine without them, ``tip``: what they add to that.
    """
    sample = (Path(__file__).parent.parent.parent / "samples" / "described.toml").read_text()
    servo = "\n\n[strut.servo]\nposition_gain_1_s = 33\nspeed_feed_forward = 0.5\nbandwidth_hz = 60\n"
    whole = sample.replace("stiffness_n_um = 150\n", f"stiffness_n_um = 150{servo}")
    whole = whole.replace("\ndeviation_mm", "\ncontour_mm = 5\nvibration_mm = 5\ndeviation_mm")
    whole += "\n[compensation]\nsag = true\ninertia = true\n"
    spent: dict[str, list[float]] = {"plain": [], "described": [], "all": []}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "raster.nc").write_text(raster(moves))
        for kind, text in (("described", sample), ("all", whole)):
            (folder / f"{kind}.toml").write_text(text)
        for k in range(runs + 1):
            for kind, figures in spent.items():
                options = () if kind == "plain" else ("--machine", str(folder / f"{kind}.toml"))
                before = children_seconds()
                convert(folder / "raster.nc", folder / "job", "--overwrite", "--jobs", "1", *options)
                if k > 0:  # the first run is the warm-up
                    figures.append(children_seconds() - before)
    plain, described, all_of_it = (statistics.median(x) for x in spent.values())
    return {"ratio": all_of_it / plain, "described": described / plain, "tip": all_of_it / described}


def children_seconds() -> float:
    """Return the processor seconds of all processes that this one started, and of theirs."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def help_ratio(runs: int = 15) -> dict[str, object]:
    """Time ``hexpost --help`` against a bare ``python -c pass``."""

    def seconds(arguments: list[str]) -> float:
        t = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True, env=environment())
        return time.perf_counter() - t

    seconds(["-m", "hexpost", "--help"])
    pairs = [(seconds(["-m", "hexpost", "--help"]), seconds(["-c", "pass"])) for _ in range(runs)]
    return {"ratio": statistics.median(a / b for a, b in pairs), "help_s": statistics.median(a for a, _ in pairs)}


def selfcheck_cost(moves: int = 50_000) -> dict[str, object]:
    """Time of the self-check over that of a whole conversion in one process, in percent."""
    from click.testing import CliRunner

    import hexpost.selfcheck
    from hexpost.cli import main

    spent = 0.0
    honest = hexpost.selfcheck.SelfCheck.add

    def timed(self, setpoints):
        nonlocal spent
        t = time.perf_counter()
        honest(self, setpoints)
        spent += time.perf_counter() - t

    hexpost.selfcheck.SelfCheck.add = timed
    try:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "raster.nc").write_text(raster(moves))
            t = time.perf_counter()
            done = CliRunner().invoke(
                main, ["convert", str(folder / "raster.nc"), "--jobs", "1", "--out", str(folder / "job")]
            )
            whole = time.perf_counter() - t
            assert done.exit_code in (0, 1), done.output
    finally:
        hexpost.selfcheck.SelfCheck.add = honest
    return {"ratio": 100 * spent / whole, "spent_s": spent, "whole_s": whole}
