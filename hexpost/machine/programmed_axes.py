"""The table ``[programmed_axes]``: the rotary axes of the machine that programs were posted for."""

import numpy as np

from hexpost.arrays import frozen
from hexpost.machine.table import Table
from hexpost.machine.wording import ProgrammedAxes, RotaryAxis

DIRECTIONS = {"A": (1.0, 0.0, 0.0), "B": (0.0, 1.0, 0.0), "C": (0.0, 0.0, 1.0)}


def programmed_axes(t: Table) -> ProgrammedAxes:
    """Return the axes of the table: one to three of them, each word in one axis."""
    axes: list[RotaryAxis] = []
    for row in t.tables("axis"):
        axis = _axis(row)
        if any(axis.word == other.word for other in axes):
            row.fault("word", f"is {axis.word} again; name each word once", "repeated")
        axes.append(axis)
    out = ProgrammedAxes(
        tip=t.choice("coordinates", ("tip", "machine"), "tip") == "tip",
        axes=tuple(axes),
    )
    t.close()
    return out


def _axis(t: Table) -> RotaryAxis:
    """Return one rotary axis; its direction defaults to that of its letter, its sense to that of ISO 841."""
    word = t.choice("word", tuple(DIRECTIONS), None)
    usual = np.array(DIRECTIONS.get(word, DIRECTIONS["C"]))
    direction = np.array(t.numbers("direction", "x y z", usual))
    size = float(np.linalg.norm(direction))
    if not size > 1e-6:
        t.fault("direction", "has no length; write for example [1, 0, 0]", "bad-value")
        size = 1.0
    out = RotaryAxis(
        word=word,
        carries=t.choice("carries", ("table", "head"), None),
        direction=frozen(direction / size),
        sense=1 if t.choice("sense", ("tool", "part"), "tool") == "tool" else -1,
        centre=t.numbers("centre_mm", "x y z", np.zeros(3)),
    )
    t.close()
    return out
