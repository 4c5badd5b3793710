"""A free yaw: what the axis of the tool says in the program's own angles, whatever the platform does about it."""

import numpy as np

from hexpost.arrays import Array
from hexpost.verify.struts import Angles

_ROUNDS = 30
_CLOSE = 1e-14


class Axis:
    """Finds the two program angles that tilt the axis of the tool; the third, which must stay, is taken as it is."""

    def __init__(self, order: str) -> None:
        self._angles = Angles(order)

    def of(self, q: Array, rate: Array, near: Array) -> tuple[Array, Array]:
        """Return coordinates (6, n) and their rates with C as in ``near`` (3, n): same tip and axis of the tool."""
        axis = self._angles.matrices(q[3:])[:, :, 2]
        spin = np.einsum("nij,jn->ni", self._angles.turning(q[3:]), rate[3:])
        change = np.cross(spin, axis)
        out, rates = q.copy(), rate.copy()
        out[3:] = near
        for _ in range(_ROUNDS):
            here = self._angles.matrices(out[3:])[:, :, 2]
            step = self._solved(out[3:], here, axis - here)
            out[3:5] += step
            if np.abs(step).max(initial=0.0) < _CLOSE:
                break
        here = self._angles.matrices(out[3:])[:, :, 2]
        rates[3:5] = self._solved(out[3:], here, change)
        rates[5] = 0.0
        return out, rates

    def _solved(self, angles: Array, axis: Array, wanted: Array) -> Array:
        """Return the changes (2, n) of A and B that change the axis (n, 3) of the tool as ``wanted``: least squares."""
        turning = self._angles.turning(angles)
        a, b = (np.cross(turning[:, :, k], axis) for k in (0, 1))
        aa, bb, ab = (a * a).sum(axis=1), (b * b).sum(axis=1), (a * b).sum(axis=1)
        wa, wb = (a * wanted).sum(axis=1), (b * wanted).sum(axis=1)
        det = np.maximum(aa * bb - ab * ab, 1e-12)
        return np.stack([(bb * wa - ab * wb) / det, (aa * wb - ab * wa) / det])
