"""The check of how far the tip is off its path because struts are behind their setpoints."""

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import WHOLE, Band, Context
from hexpost.audit.forecast import Forecasting
from hexpost.setpoints.model import Setpoints


class TipError:
    """The check of how far the tip is off its path in feed moves, by the lags of the struts.

    A value belongs to the row at its time: the tip is still where the rows before led it.
    """

    def __init__(self, forecasting: Forecasting, most: float) -> None:
        self._forecasting = forecasting
        one = np.full(1, most)
        self.band = Band(
            limit="contour", struts=WHOLE, low=np.full(1, -np.inf), high=one, centre=np.zeros(1), scale=one,
            slack=np.zeros(1),
        )  # fmt: skip

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the error (1, n) across the path in mm, 0 in rapids."""
        return self._forecasting.off_path(setpoints)[None]


def contour(context: Context) -> TipError | None:
    """Return the check, or none where the machine file sets no limit."""
    most = context.machine.tool_tip.contour
    if most is None or context.forecasting is None:
        return None
    return TipError(context.forecasting, most)
