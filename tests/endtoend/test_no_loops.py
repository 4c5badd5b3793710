"""Nothing in Python runs once a block: what is called how often in a job of 2,000 blocks, and of 12,000.

Calls are counted, not timed: of functions of Python and of those that Python calls in C. Batches and windows may be
more in a longer job; they hold hundreds of rows each. Findings, which people read, are documents one by one: at most
10,000.
"""

import sys
from collections import Counter
from math import sin

import pytest

from hexpost import load_job, write_job

SHARE = 0.2
"""Calls of one function for each block more, at most."""
WALK = "corridor.py"
"""A greedy walk along the vertices of a chain is one addition a vertex: where a chord ends, the next one begins."""


def dense(blocks: int) -> str:
    """Return short moves along rows of a wavy surface, which become smooth curves; they do not reach their feed."""
    x, y = (
        [0.4 * ((k % 500) - 250) * (-1) ** (k // 500) for k in range(blocks)],
        [0.5 * (k // 500) for k in range(blocks)],
    )
    rows = [f"X{p:.3f} Y{q:.1f} Z{60 + 15 * sin(p / 24):.3f} A{8 * sin(p / 30):.3f}" for p, q in zip(x, y, strict=True)]
    return "\n".join(["G21 G90 G54 F12000", f"G00 {rows[0]}", f"G01 {rows[1]}", *rows[2:], "M30", ""])


def eventful(blocks: int) -> str:
    """Return strokes with words of the spindle, coolant and dwells between; the tool stops at each."""
    four = ["G01 X{x}", "M0{c}", "G04 P0.01", "G01 A{a} F{f} S{s}"]
    each = [
        {"x": 5 * (-1) ** k, "c": 8 + k % 2, "a": (-1) ** k, "f": 6000 + k % 7, "s": 900 + k % 5} for k in range(blocks)
    ]
    rows = [four[k % 4].format(**each[k // 4]) for k in range(blocks)]
    return "\n".join(["G21 G90 G54 F6000", "G00 Z80", *rows, "M30", ""])


def calls(program, text, out) -> Counter:
    """Return how often each function is called while a job is made, those of C by who calls them; not within numpy."""
    program.write_text(text)
    found: Counter = Counter()

    def count(frame, event, what):
        code = frame.f_code
        if event in ("call", "c_call") and "numpy" not in code.co_filename:
            found[code.co_filename, code.co_firstlineno, code.co_name, getattr(what, "__qualname__", "")] += 1

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        write_job(load_job(program, period_ms=8.0), out, proof=False)
    finally:
        sys.setprofile(before)
    return found


@pytest.mark.parametrize("kind", [dense, eventful])
def test_no_function_is_called_for_each_block(kind, tmp_path):
    few, many = 2000, 12_000
    program = tmp_path / "p.nc"
    calls(program, kind(100), tmp_path / "first")  # what is imported and looked up once
    counts = [calls(program, kind(n), tmp_path / str(n)) for n in (few, many)]
    more = {f: n - counts[0][f] for f, n in counts[1].items() if n - counts[0][f] > SHARE * (many - few)}
    assert not {f: n for f, n in more.items() if not f[0].endswith(WALK)}
