"""Memory and time as functions of input size: ``python tests/bench/law.py [--most-blocks N] [--most-hours H]``.

Each run is a process of its own; its processor time and its peak of resident memory are what the system counted. The
slope is that of a straight line by least squares through all runs of a kind, the last column how far the largest run
is off it.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

RUN = """
import atexit, sys, hexpost.cli
peak = lambda: next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
atexit.register(lambda to=sys.argv.pop(1): open(to, "w").write(peak().split()[1]))
hexpost.cli.main()
"""
"""The peak is that since the start of the program: what the system counts begins with the process that started it."""
BLOCKS = (1_000, 10_000, 100_000, 300_000, 1_000_000, 10_000_000)
HOURS = (1 / 60, 0.1, 1.0, 4.0, 24.0)


def surface(blocks):
    """Return a program of so many short feed moves, to and fro: dense enough to be fast, without findings by size."""
    k = np.arange(blocks)
    x = np.abs((0.05 * k) % 400 - 200) - 100
    lines = [f"X{a:.3f}Z{b:.3f}" for a, b in zip(x, 60 + 0.001 * (k % 7), strict=True)]
    return "G21 G90 G94 G64\nG00 X100 Y0 Z60\nG01 F30000\n" + "\n".join(lines) + "\nM30\n"


def long_motion(hours):
    """Return a program of a few slow blocks that takes so many hours: 100 mm to and fro at F2, and the rest."""
    passes = max(round(hours * 60 / 10), 1)
    rows = "".join(f"X{20 * (i % 2):d}\n" for i in range(1, passes + 1))
    return f"G21 G90 G94\nG00 X0 Y0 Z80\nG01 F{20 * passes / (hours * 60):.6f}\n{rows}M30\n"


def measured(words):
    """Run hexpost; return seconds of the processor, peak of resident memory in MB, exit code."""
    with tempfile.NamedTemporaryFile("r") as peak:
        process = subprocess.Popen(
            [sys.executable, "-c", RUN, peak.name, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        _, status, used = os.wait4(process.pid, 0)
        return used.ru_utime + used.ru_stime, int(peak.read()) / 1024, os.waitstatus_to_exitcode(status)


def law(name, unit, sizes, text_of, words):
    """Print the rows of one kind, and the line through them."""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for size in sizes:
            program = Path(folder, "law.nc")
            program.write_text(text_of(size))
            seconds, memory, code = measured([words[0], str(program), *words[1:]])
            rows.append((size, seconds, memory))
            print(f"{name:<10} {size:>14,.3f} {unit:<7} {seconds:9.2f} s {memory:9.1f} MB   exit {code}", flush=True)
    x, t, m = np.array(rows).T
    for what, y, per in (("time", t, "s"), ("memory", m, "MB")):
        if len(x) > 2:
            slope, base = np.polyfit(x, y, 1)
            off = 100 * (y[-1] - (base + slope * x[-1])) / y[-1]
            power = np.polyfit(np.log(x[-2:]), np.log(y[-2:]), 1)[0]
            print(f"{name:<10} {what}: {base:.3g} {per} + {slope:.3g} {per} per {unit}; largest {off:+.1f} % off; "
                  f"power between the last two {power:.2f}")  # fmt: skip


def main(arguments):
    """Measure both kinds up to the bounds given."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--most-blocks", type=float, default=1e6)
    parser.add_argument("--most-hours", type=float, default=4.0)
    given = parser.parse_args(arguments)
    law("audit", "hours", [h for h in HOURS if h <= given.most_hours], long_motion, ["audit", "--json"])
    law("audit", "blocks", [n for n in BLOCKS if n <= given.most_blocks], surface, ["audit", "--json"])


if __name__ == "__main__":
    main(sys.argv[1:])
