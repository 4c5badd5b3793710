"""The check of how far the tip swings on its elastic struts once it rests."""

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import WHOLE, Band, Context
from hexpost.audit.shaking import Shaking
from hexpost.setpoints.model import Setpoints


class Vibration:
    """The check of how far the tip swings after a rest."""

    def __init__(self, shaking: Shaking, most: float) -> None:
        self._shaking = shaking
        one = np.full(1, most)
        self.band = Band(
            limit="vibration", struts=WHOLE, low=np.full(1, -np.inf), high=one, centre=np.zeros(1), scale=one,
            slack=np.zeros(1),
        )  # fmt: skip

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the swing (1, n) in mm, 0 at samples that are no rest."""
        return self._shaking.of(setpoints)[None]


def vibration(context: Context) -> Vibration | None:
    """Return the check, or none where the machine file sets no limit."""
    most = context.machine.tool_tip.vibration
    if most is None or context.shaking is None:
        return None
    return Vibration(context.shaking, most)
