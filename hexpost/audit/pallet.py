"""The check that the tool tip stays above the pallet."""

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import WHOLE, Band, Context
from hexpost.kinematics.frames import invert, pose_matrix
from hexpost.setpoints.model import Setpoints

FACE = 1e-6
"""The tip may be this far below the top face, mm: a cut along the face itself must not count by rounding."""


class PalletCheck:
    """The programmed tip must not be below the top face, z = 0 of the pallet frame, within the pallet's area.

    The depth is in mm and nothing is allowed, so the use of this limit is 1 plus the depth in mm.
    """

    band = Band(
        limit="pallet", struts=WHOLE, low=np.zeros(1), high=np.full(1, np.inf), centre=np.ones(1), scale=np.ones(1),
        slack=np.full(1, FACE),
    )  # fmt: skip

    def __init__(self, context: Context) -> None:
        pallet = context.machine.pallet
        self._half = (pallet.size[0] / 2.0, pallet.size[1] / 2.0)
        self._pallet_from_base = invert(pose_matrix(pallet.pose, context.machine.tilt_order))
        self._frames = context.moves.frames

    def measure(self, setpoints: Setpoints) -> Array | None:
        """Return the height (1, n) of the tip above the face, mm; 0 where it is lower but beside the pallet."""
        poses = setpoints.poses
        m = self._pallet_from_base @ self._frames[poses.frame].base_from_work
        tip = poses.pose[:3]
        height: Array = m[2, :3] @ tip
        height += m[2, 3]
        if height.min() >= -FACE:
            return None
        beside = np.zeros(height.shape, dtype=bool)
        for axis, half in enumerate(self._half):
            beside |= np.abs(m[axis, :3] @ tip + m[axis, 3]) > half
        np.maximum(height, 0.0, out=height, where=beside)
        return height[None, :]
