"""Moves that this proof cannot follow: the middle angle of the tilt order near 90 degrees, where two axes are one.

There the first and the last angle turn the tool about the same axis, and a pose tells only their sum or difference
(Craig, Introduction to Robotics, 3rd ed. 2005, section 2.8): what the decimals of a length do to each of them alone
grows as 1 / cos of the middle angle, and between knots a pose is no smooth function of the lengths any more.
"""

from math import degrees, pi, radians

import numpy as np

from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.voice import in_line

NEAREST = radians(2.0)
"""Middle angles nearer to 90 degrees than this cannot be told: from random jobs, which are proven beyond it."""


def locked(machine: Machine, moves: Moves) -> str | None:
    """Return the words for the first move that comes near a middle angle of 90 degrees, if one does."""
    letter = machine.tilt_order[1]
    angle = np.stack([side[3 + "ABC".index(letter)] for side in (moves.start, moves.end)])
    low, high = angle.min(axis=0), angle.max(axis=0)
    turns = np.floor((low - NEAREST - 0.5 * pi) / pi) + 1.0
    near = np.flatnonzero(turns * pi + 0.5 * pi <= high + NEAREST)
    if not len(near):
        return None
    first, last = machine.tilt_order[0], machine.tilt_order[2]
    return (
        f"{in_line(moves.line[near[0]])}: {letter} comes within {degrees(NEAREST):g} degrees of 90, where {first} and "
        f"{last} turn the tool about one axis, so no table can show which of them turned; turn the work offset about "
        f"{letter}, and write the program for it"
    )
