"""Memory that a block of a program costs, from its text to its timing: what peaks grow by from one size to another."""

import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest

from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import parse, schedule, spared, understand

FEW, MANY = 11_000, 22_000
SLOW, FAST = 300, 3000
"""Feeds of a raster, mm/min: fast enough that its chains are smoothed, or not."""


def raster(blocks, every, feed):
    """Return a back-and-forth of moves of 0.4 mm over a wavy surface; a retract after ``every`` so many (0: none)."""
    out = ["G21 G90 G94 G00 X0. Y0. Z90.", f"G01 F{feed}"]
    for k in range(blocks):
        row, i = divmod(k, 500)
        x = 0.4 * (i if row % 2 == 0 else 499 - i)
        out.append(f"X{x - 100:.3f} Y{0.5 * row - 10:.3f} Z{60 + 0.01 * (i % 50):.3f}")
        if every and k % every == every - 1:
            out += ["G00 Z90.", "G01"]
    return "\n".join([*out, "M30", ""]).encode()


def peak(source):
    """Return the most memory in use (bytes) while a program is interpreted and planned, with its text."""
    tracemalloc.start()
    try:
        program = parse(source, "p")
        tracemalloc.reset_peak()  # the reader has a work array of fixed size
        inputs = spared(understand(program, demonstration_machine(), no_tools(), no_setup()))
        del program
        schedule(inputs)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


ALONE = """
import sys
sys.path.insert(0, sys.argv[1])
from hexpost import shelf
from hexpost.feed import lookahead, plan, portions
from hexpost.moves import interpret
from hexpost.path import build
from endtoend.test_memory import per_block
for word in sys.argv[4:]:
    name, value = word.split("=")
    module, name = name.split(".")
    setattr(globals()[module], name, int(value))
print(per_block(int(sys.argv[2]), int(sys.argv[3])))
"""


def alone(every, feed, **settings):
    """Return what a block costs in a process of its own: what other tests leave behind does not count."""
    words = [f"{name.replace('_', '.', 1)}={value}" for name, value in settings.items()]
    call = [sys.executable, "-c", ALONE, str(Path(__file__).parent.parent), str(every), str(feed), *words]
    return float(subprocess.run(call, capture_output=True, text=True, check=True).stdout)


@pytest.mark.parametrize(("every", "feed", "most"), [(0, SLOW, 420), (600, SLOW, 420), (0, FAST, 600)])
def test_a_block_costs_no_more_than_so_many_bytes(every, feed, most):
    """A job of many spans is planned portion by portion, a long span in windows; here both are short.

    Where chains are smoothed there are two paths to choose from.
    """
    small = {"plan_LONG": 8000, "portions_LONG": 8000, "lookahead_WINDOW": 4000, "lookahead_AHEAD": 1000}
    assert alone(every, feed, portions_PORTION=4000, **small) < most


@pytest.mark.parametrize("feed", [SLOW, FAST])
def test_a_block_of_a_long_program_costs_next_to_nothing(feed):
    """Its columns lie in files: what is left is its text, 27 bytes held by this test, and flags and line numbers."""
    small = {"lookahead_WINDOW": 2000, "lookahead_AHEAD": 500, "plan_LONG": 4000, "portions_LONG": 4000}
    assert alone(0, feed, shelf_LONG=1000, build_WINDOW=2000, interpret_WINDOW=2000, **small) < 34


def per_block(every, feed):
    """Return what the peaks grow by for each block."""
    peak(raster(5000, every, feed))  # what is made and imported once, for smoothed chains too
    few, many = peak(raster(FEW, every, feed)), peak(raster(MANY, every, feed))
    return (many - few) / (MANY - FEW)


SIDE_BY_SIDE = """
import resource, sys
from pathlib import Path
from hexpost.convert import Output, convert
from hexpost.pipeline import Files, load, schedule
job = schedule(load(Files(program=Path(sys.argv[1]))))
convert(job, Output(folder=Path(sys.argv[2])), workers=2)
own = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(job.timing.ticks, int(own.split()[1]), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="workers are forked on Linux alone")
def test_what_workers_take_does_not_grow_with_the_job(tmp_path):
    """Rooms and look-ahead are bounded: eight times the samples, 80 MB more of text, in the same memory."""
    figures = []
    for name, times in (("few", 5), ("many", 40)):
        program = tmp_path / f"{name}.nc"
        program.write_text("G21 G90 G94\nG00 X0 Y0 Z300\nG01 F1000\n" + "X100\nX0\n" * times + "M30\n")
        words = [sys.executable, "-c", SIDE_BY_SIDE, str(program), str(tmp_path / name)]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
        figures.append([int(x) for x in done.stdout.split()])
    (few, parent, child), (many, parent8, child8) = figures
    assert many - few > 400_000
    assert parent8 - parent < 20_000 and child8 - child < 20_000, figures  # kB
