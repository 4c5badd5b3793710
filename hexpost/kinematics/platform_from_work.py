"""How the axes of the platform see the work frame and the struts: rows from which matrices make all that is asked."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.links import rotations
from hexpost.kinematics.struts import Struts


def looked_back(pose: Array, order: str, out: Array, turned: Array | None = None) -> None:
    """Fill ``out`` (3, 5, n) for poses (6, n): x, y, z of the work frame and the tip in the axes of the platform; 1.

    ``turned`` (11, n): what is known already, see ``Struts.derivatives_and_turned``.
    """
    if turned is None:
        rotations(pose, order, out[:, :3].swapaxes(0, 1))
        turned_back(out, pose[:3], out[:, 3])
    else:
        tip_x, tip_z, tip_y, sin_b, sin_a, cos_b, cos_a, *products = turned
        out[0, 0], out[0, 1], out[0, 3] = cos_b, 0.0, tip_x
        out[1, 0], out[1, 1], out[1, 2], out[1, 3] = products[0], cos_a, products[2], tip_y
        out[2, 0], out[2, 2], out[2, 3] = products[1], products[3], tip_z
        np.negative(sin_b, out=out[0, 2])
        np.negative(sin_a, out=out[2, 1])
    out[:, 4] = 1.0


def turned_back(seen: Array, vector: Array, out: Array) -> Array:
    """Fill ``out`` (3, n) with a ``vector`` (3, n) of the work frame in the axes of the platform; return it."""
    np.multiply(seen[:, 0], vector[0], out=out)
    for i in (1, 2):
        out += seen[:, i] * vector[i]
    return out


def strut_matrix(struts: Struts) -> Array:
    """Return the matrix (3, 6, 5) that makes vectors along the struts, in the axes of the platform, of ``looked_back``.

    The vector is R'p - R'a + b: from base joint a, in the work frame, to platform joint b, seen from the tip p.
    """
    out: Array = np.ones((3, 6, 5))
    out[:, :, :3] = -struts.base
    out[:, :, 4] = struts.platform.T
    return out


class Swings:
    """The angles of six struts from neutral directions of their ends, found from poses and lengths alone.

    ``base`` (6, 3) are unit vectors in the work frame, ``platform`` (6, 3) in the axes of the platform.
    """

    def __init__(self, struts: Struts, base: Array, platform: Array) -> None:
        self._order = struts.order
        self._matrix: Array = np.zeros((12, 18))  # over the rows of ``looked_back``, then the tip
        by_row = np.zeros((6, 3, 5))
        by_row[:, :, :3] = struts.platform[:, :, None] * base[:, None, :]
        by_row[:, 0, 4] = -(base * struts.base).sum(axis=1)
        self._matrix[:6, :15] = by_row.reshape(6, 15)
        self._matrix[:6, 15:] = base
        self._matrix[6:, :15] = np.einsum("ki,ikc->kic", platform, strut_matrix(struts)).reshape(6, 15)

    def cosines(self, pose: Array, length: Array) -> Array:
        """Return the cosines (2, 6, n) of the angles at base and platform, for poses and lengths (6, n)."""
        n = pose.shape[1]
        rows: Array = np.empty((18, n))
        looked_back(pose, self._order, rows[:15].reshape(3, 5, n))
        rows[15:] = pose[:3]
        out: Array = (self._matrix @ rows).reshape(2, 6, n)
        out /= length
        return out
