"""The gate over 2,000 small programs: two cores against one, a cached run against the first, overhead per program."""

import hashlib
import os
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hexpost.library.cache import Cache
from hexpost.library.check import check
from hexpost.library.gate import gate, make_tasks
from hexpost.library.model import CheckTask, GateResult, Record
from hexpost.library.policy import Policy
from hexpost.library.programs import find
from hexpost.library.records import to_bytes
from hexpost.library.sarif import to_sarif
from hexpost.workers.engines import Engine, processes, serial

PROGRAMS = 2000
WORKERS = 2


@contextmanager
def library(count: int = PROGRAMS) -> Iterator[list[str]]:
    """Yield the names of small programs, all different, in a folder that is the working directory."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        try:
            for i in range(count):
                Path(f"part{i:05d}.nc").write_text(program(i))
            yield find(["."])
        finally:
            os.chdir(before)


def program(i: int, passes: int = 20) -> str:
    """Return a pocket of some forty blocks and half a minute."""
    rows = [f"G01 X{60 + i % 30} Y{k * 2}\nX0 Y{k * 2 + 1}" for k in range(passes)]
    head = f"%\nO{i + 1}\nG21 G17 G90 G94\nG00 X0 Y0 Z300\nG01 Z250 F6000\n"
    return head + "\n".join(rows) + "\nG53 G00 Z0\nM30\n%\n"


def timed(names: list[str], engine: Engine, cache: Cache | None = None) -> tuple[float, GateResult]:
    """Return the seconds of one gate from the list of files to SARIF, and its result."""
    t = time.perf_counter()
    result = gate(find(["."]), Policy(), engine, cache=cache)
    to_sarif(result)
    assert len(result.cases) == len(names) and result.exit_code == 0
    return time.perf_counter() - t, result


def gate_parallel(rounds: int = 4) -> dict[str, object]:
    """Compare the rate on two cores with the serial one, in rounds of both, so that a busy machine slows both alike."""
    ratios, alone, together = [], [], []
    with library(PROGRAMS // rounds) as names:
        check(make_tasks(names[:1], Policy())[0])  # loads what it needs
        for _ in range(rounds):
            one, first = timed(names, serial())
            two, second = timed(names, processes(WORKERS))
            assert first == second
            ratios.append(one / two)
            alone.append(one / len(names) * 1e3)
            together.append(two / len(names) * 1e3)
    return {
        "ratio": round(statistics.median(ratios), 2), "ratios": [round(r, 2) for r in ratios],
        "serial_ms_per_program": round(statistics.median(alone), 2),
        "parallel_ms_per_program": round(statistics.median(together), 2), "programs": PROGRAMS,
    }  # fmt: skip


def gate_cached() -> dict[str, object]:
    """Compare the first run on two cores with a second one that finds everything in the cache."""
    with library() as names, tempfile.TemporaryDirectory() as folder:
        cache = Cache(Path(folder))
        first, want = timed(names, processes(WORKERS), cache)
        runs = [timed(names, processes(WORKERS), cache) for _ in range(3)]
    assert all(result == want for _, result in runs)
    second = statistics.median(seconds for seconds, _ in runs)
    return {
        "ratio": round(first / second, 1), "first_s": round(first, 2), "second_s": round(second, 3),
        "second_ms_per_program": round(second / PROGRAMS * 1e3, 3), "programs": PROGRAMS,
    }  # fmt: skip


def gate_overhead(count: int = 300) -> dict[str, object]:
    """Return the milliseconds per program that a serial gate with a cache takes beyond the checks themselves."""
    extra = []
    with library(count) as names, tempfile.TemporaryDirectory() as folder:
        tasks = make_tasks(names, Policy())
        for run in range(3):
            t = time.perf_counter()
            for task in tasks:
                check(task)
            own = time.perf_counter() - t
            whole, _ = timed(names, serial(), Cache(Path(folder) / str(run)))
            extra.append((whole - own) / count * 1e3)
    return {"ratio": round(statistics.median(extra), 3), "unit": "ms per program", "programs": count}


def nothing(task: CheckTask) -> tuple[str, bytes]:
    """Return an empty record at once."""
    return hashlib.sha256(task.name.encode()).hexdigest(), to_bytes(Record(duration_s=1.0))


def gate_dispatch() -> dict[str, object]:
    """Return the milliseconds per program that the one gate process needs when workers need none: its ceiling."""
    with library() as names, tempfile.TemporaryDirectory() as folder:
        t = time.process_time()
        result = gate(names, Policy(), processes(WORKERS), cache=Cache(Path(folder)), checker=nothing)
        to_sarif(result)
        own = (time.process_time() - t) / len(names) * 1e3
    return {"ratio": round(own, 3), "unit": "ms per program", "programs": len(names)}
