"""Whether the yaw about the tool is free: the tool is round, and nothing in the program asks for an orientation."""

import numpy as np

from hexpost.pipeline import Inputs
from hexpost.program.model import Program

ORIENTED = {"M19": "stops the spindle at a fixed angle", "G84": "taps", "G33": "cuts a thread"}
"""Words for which the angle between spindle and platform matters."""


def taken(inputs: Inputs) -> str | None:
    """Return why the yaw is not free, or ``None``: the first line that takes it, or a tool that is not round."""
    program, moves = inputs.program, inputs.meaning.moves
    named = np.flatnonzero((program.letter == ord("C")) & (program.value != 0.0))
    if named.size:
        return f"line {program.line[named[0]]} uses C on purpose"
    work = np.array([f.offset != "G53" for f in moves.frames], dtype=np.bool_)
    turned = work[moves.frame] & (moves.end[5] != 0.0)
    if turned.any():
        return f"line {moves.line[np.argmax(turned)]} turns the tool about its axis"
    for word, what in ORIENTED.items():
        line = _line_of(program, word)
        if line is not None:
            return f"line {line} ({word}) {what}"
    used = {n for f in moves.frames for n in (f.tool, f.length_row)}
    for number in sorted(used):
        tool = inputs.tools.tools.get(number)
        if tool is not None and not tool.round:
            return f"tool {number} is not round"
    return None


def _line_of(program: Program, word: str) -> int | None:
    """Return the first line that holds a word such as ``M19``."""
    found = np.flatnonzero((program.letter == ord(word[0])) & (program.value == float(word[1:])))
    return int(program.line[found[0]]) if found.size else None
