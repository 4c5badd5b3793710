"""Moves that become several, or none: what that does to the events between them."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Flags, Ints
from hexpost.moves.model import AFTER, WITH, Events


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Where the moves of before went, shape (n,): the first and the last that each has become (none: last < first)."""

    first: Ints
    last: Ints

    def without(self, kept: Flags) -> "Spread":
        """Return where they are once only the ``kept`` (m,) of the moves of now remain."""
        passed = np.concatenate(([0], np.cumsum(kept)))
        return Spread(passed[self.first], passed[self.last + 1] - 1)

    def events(self, found: Events) -> Events:
        """Return events at the moves of now: with the first of a block, or after its last.

        What was to come with a move that is gone comes after the one before it.
        """
        if not len(self.first):
            return found
        known = found.move >= 0
        at = np.maximum(found.move, 0)
        first, last = self.first[at], self.last[at]
        begins = (found.rule == WITH) & (first <= last)
        move = np.where(known, np.where(begins, first, last), found.move)
        rule = np.where(known & ~begins, AFTER, found.rule).astype(np.uint8)
        return replace(found, move=move, rule=rule)
