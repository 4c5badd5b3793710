"""Advice put into the program: with the advised feeds written in, the same audit finds those blocks clean."""

import re
from dataclasses import replace

import numpy as np
import pytest

from hexpost.audit.audit import Audit
from hexpost.feed.plan import plan
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.moves.interpret import interpret
from hexpost.path.build import build
from hexpost.program.read import read
from hexpost.setpoints.sample import sample
from hexpost.setpoints.solve import Solver

PROGRAM = """G21 G90 G64
G00 X0 Y0 Z300
G01 X100 F30000
G01 Y100 F30000
G02 X80 Y120 I-20 J0 F30000
G01 X0 F30000
G01 Y0 F30000
G02 X0 Y0 I30 J0 F24000
G01 X10 Y50 Z320 A5 F20000
G01 A12 F4000
M30
"""
RAPID_LINE = 2
"""Rapids keep the limits of the struts by themselves."""


def findings_of(text, machine):
    """Return the findings of a program on a machine."""
    faults = []
    program = read(text.encode(), "p.nc", faults)
    meaning = interpret(program, machine, no_tools(), no_setup(), faults)
    assert not faults
    path = build(meaning.moves, machine)
    timing = plan(path, meaning.moves, meaning.events, machine)
    solver = Solver(machine, meaning.moves.frames)
    audit = Audit(machine, no_tools(), meaning, program)
    for poses in sample(timing, path, meaning.moves, 4096):
        audit.add(solver.solve(poses))
    return audit.finish().findings


def with_feeds(text, findings):
    """Return the program with the least advised feed of each line written into it."""
    lines = text.split("\n")
    for line in np.unique(findings.line):
        feed = np.nanmin(np.append(findings.feed[findings.line == line], np.inf))
        if np.isfinite(feed):
            lines[line - 1] = re.sub(r" F\d+", f" F{feed:g}", lines[line - 1])
    return "\n".join(lines)


@pytest.mark.parametrize("limits", [{"speed": 250.0}, {"acceleration": 6000.0}])
def test_the_advised_feeds_mend_every_feed_block_at_once(limits):
    machine = demonstration_machine()
    machine = replace(machine, struts=tuple(replace(s, **limits) for s in machine.struts))
    before = findings_of(PROGRAM, machine)
    assert len(set(before.line)) >= 5
    assert RAPID_LINE not in before.line
    after = findings_of(with_feeds(PROGRAM, before), machine)
    assert not after.count
