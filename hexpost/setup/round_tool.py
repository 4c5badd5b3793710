"""Whether the yaw about the tool is free: the tool is round, and nothing in the program asks for an orientation."""

import numpy as np

from hexpost.moves.model import ORIENTED
from hexpost.pipeline import Inputs


def taken(inputs: Inputs) -> str | None:
    """Return why the yaw is not free, or ``None``: the first line that takes it, or a tool that is not round."""
    meaning, moves = inputs.meaning, inputs.meaning.moves
    if meaning.c_line:
        return f"line {meaning.c_line} uses C on purpose"
    work = np.array([f.offset != "G53" for f in moves.frames], dtype=np.bool_)
    turned = work[moves.frame] & (moves.end[5] != 0.0)
    if turned.any():
        return f"line {moves.line[np.argmax(turned)]} turns the tool about its axis"
    oriented = np.flatnonzero(meaning.events.spindle == ORIENTED)
    if oriented.size:
        word = meaning.events.name(oriented[0])
        return f"line {meaning.events.line[oriented[0]]} ({word}) stops the spindle at a fixed angle"
    tapping = meaning.written.tapping
    threads = tapping.first[tapping.value != 0.0]
    if threads.size:
        return f"line {moves.line[threads[0]]} taps"
    used = {n for f in moves.frames for n in (f.tool, f.length_row)}
    for number in sorted(used):
        tool = inputs.tools.tools.get(number)
        if tool is not None and not tool.round:
            return f"tool {number} is not round"
    return None
