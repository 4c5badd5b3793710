"""Interpreting plain blocks against reading them: words to moves should not be what a job waits for."""

import numpy as np
from turns import seconds

from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.moves.interpret import interpret
from hexpost.program.read import read

BLOCKS = 200_000


def program(axes: str, numbered: bool) -> bytes:
    """Return a contouring program of ``BLOCKS`` lines that name all of ``axes``."""
    rng = np.random.default_rng(1)
    columns = [np.cumsum(rng.normal(0, 0.3, BLOCKS)) if x in "XY" else rng.normal(0, 5, BLOCKS) for x in axes]
    head = ["G21 G90 G17 G94", "T1 M06", "G43 H1 G54 G00 X0 Y0 Z50 S9000 M03", "G01 Z5 F2000"]
    rows = (
        (f"N{i} G1 " if numbered else "") + " ".join(f"{x}{v:.3f}" for x, v in zip(axes, values, strict=True))
        for i, values in enumerate(zip(*columns, strict=True), 10)
    )
    return "\n".join([*head, *rows, "M30"]).encode()


def interpret_ratio() -> dict:
    """Return blocks a second of interpreting over those of reading: the worst of three kinds of program."""
    machine, tools, setup = demonstration_machine(), no_tools(), no_setup()
    out = {}
    for name, axes, numbered in (("numbered", "XYZAB", True), ("five", "XYZAB", False), ("three", "XYZ", False)):
        source = program(axes, numbered)
        words = read(source, "part.nc", [])
        reading, meaning = seconds(
            lambda source=source: read(source, "part.nc", []),
            lambda words=words: interpret(words, machine, tools, setup, []),
        )
        out[name] = {"ratio": reading / meaning, "blocks_s": BLOCKS / meaning}
    return {"name": "interpret", "ratio": min(v["ratio"] for v in out.values()), **out}
