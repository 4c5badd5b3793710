"""The rules on words as they are written: text in, findings by line out; one sample a move stands for the motion."""

import numpy as np
import pytest
from audit.jobs import MACHINE, TOOL, listed, rest, run

from hexpost.machine.load import no_setup
from hexpost.machine.model import Tool, Tools
from hexpost.moves.interpret import interpret
from hexpost.program.read import read

TOOLS = Tools(
    tools={1: Tool(number=1, length=TOOL, diameter=12.0), 2: Tool(number=2, length=80.0, diameter=6.0)}, given=True
)


def rules_broken(text):
    """Return (limit, line) of the findings of a program, and its warnings but that of a spindle at rest."""
    faults = []
    meaning = interpret(read(text.encode(), "p.nc", faults), MACHINE, TOOLS, no_setup(), faults)
    assert not faults
    result = run(meaning.moves, rest(meaning.moves.count, move=np.arange(meaning.moves.count)), tools=TOOLS)
    return [(f[0], f[2]) for f in listed(result)], tuple(w for w in result.warnings if "spindle has" not in w)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("G21\nT1 M06\nG43 H1\nG00 X0 Y0 Z100\nG01 X50 F600\nG53 G00 Z0\nM30\n", []),
        ("G21\nT1 M06\nG00 X0 Y0 Z200\nG01 X50 F600\nX60\nM30\n", [("tool-length", 4)]),
        ("G21\nT1 M06\nG43 H1\nG01 X50 Z100 F600\nG49\nG01 X0 F600\nM30\n", [("tool-length", 6)]),
        ("G21\nT1 M06\nG43 H2\nG00 X0 Y0 Z100\nG01 X50 F600\nM30\n", [("tool-number", 4)]),
        ("G21\nT1 M06\nG43 H1\nG00 X0 Y0 Z100\nG53 G00 Z-450\nM30\n", [("retract", 5)]),
        ("G21\nT1 M06\nG43 H1\nT2\nG00 X0 Y0 Z100\nG01 X50 F600\nM06\nM30\n", []),
    ],
)
def test_rules_by_line(text, found):
    assert rules_broken(text) == (found, ())


def test_no_tool_called():
    found, warnings = rules_broken("G21\nG01 X10 Y0 Z200 F500\nM30\n")
    assert not found
    assert warnings[0].startswith("Line 2 (")
    assert "the program has called no tool (T, M06)" in warnings[0]
