"""What a rule about the program finds: moves that break it."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.moves.model import Moves

MACHINE_FRAME = "G53"
"""Name of the frame of machine coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Breaches:
    """Moves that break one rule, shape (b,): the first and the last of each stretch, and what to show of it.

    ``limit`` names the row of the rule in the table of limits.
    """

    limit: str
    first: Ints
    last: Ints
    peak: Array
    allowed: Array
    ratio: Array


def stretches(moves: Moves, wrong: Flags) -> tuple[Ints, Ints]:
    """Return the first and the last of the ``wrong`` moves (n,) of each stretch in one frame that has any."""
    at = np.flatnonzero(wrong)
    stretch = np.cumsum(np.diff(moves.frame, prepend=moves.frame[:1]) != 0)[at]
    edge = np.flatnonzero(np.diff(stretch)) + 1
    if not at.size:
        return at, at
    return at[np.append(0, edge)], at[np.append(edge - 1, len(at) - 1)]
