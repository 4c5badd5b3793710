"""Checks of the tip's own limits: how far lagging struts take it off its path, and how far it swings once it rests."""

from collections.abc import Callable

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import WHOLE, Band, Context
from hexpost.setpoints.model import Setpoints


class TipLimit:
    """The check of a value (n,) of each sample against the most of a limit; ``of`` works it out."""

    def __init__(self, limit: str, most: float, of: Callable[[Setpoints], Array]) -> None:
        self._of = of
        one = np.full(1, most)
        self.band = Band(
            limit=limit, struts=WHOLE, low=np.full(1, -np.inf), high=one, centre=np.zeros(1), scale=one,
            slack=np.zeros(1),
        )  # fmt: skip

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the values (1, n)."""
        return self._of(setpoints)[None]


def contour(context: Context) -> TipLimit | None:
    """Return the check of the error across the path in feed moves, mm; none where the machine file sets no limit.

    A value belongs to the row at its time: the tip is still where the rows before led it.
    """
    most, found = context.machine.tool_tip.contour, context.forecasting
    return None if most is None or found is None else TipLimit("contour", most, found.off_path)


def vibration(context: Context) -> TipLimit | None:
    """Return the check of how far the tip swings after a rest, mm; none where the machine file sets no limit."""
    most, found = context.machine.tool_tip.vibration, context.shaking
    return None if most is None or found is None else TipLimit("vibration", most, found.of)
