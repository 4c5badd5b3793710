"""How far a strut is behind its setpoint under a position loop, exactly from sample to sample.

The loop: the speed that is asked for is K (r - y) + f r' + g (2 d / w) r'', with the setpoint r, the length y, the gain
K, shares f and g that are fed forward. The inner loop makes a speed of it with w2 / (s2 + 2 d w s + w2), or at once.
The lag e = r - y changes by r' less the speed that the inner loop makes of K e + f r' + g (2 d / w) r''. So it follows
the speed r' by

    e / r' = (s2 + 2 d w (1 - g) s + w2 (1 - f)) / (s3 + 2 d w s2 + w2 s + w2 K),   or   (1 - f) / (s + K)

Between samples the speed is the cubic through speeds and accelerations at both ends.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isinf

import numpy as np

from hexpost.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A position loop: ``gain`` [1/s], shares fed forward, ``frequency`` [rad/s] (inf: none) and ``damping`` inside."""

    gain: float
    speed_share: float = 0.0
    acceleration_share: float = 0.0
    frequency: float = inf
    damping: float = 0.7

    @property
    def stable(self) -> bool:
        """Return whether it comes to rest (E. J. Routh, 1877, for a cubic): K < 2 d w."""
        return self.gain < 2.0 * self.damping * self.frequency

    @property
    def delay(self) -> float:
        """Return by how many seconds a strut is late at a steady speed."""
        return (1.0 - self.speed_share) / self.gain


class Lags:
    """The lags of struts, batch by batch of consecutive samples, from rest; it keeps a few numbers for each strut."""

    def __init__(self, loops: Sequence[Loop], period: float) -> None:
        self._filters = [_filters(loop, period) for loop in loops]
        self._past = [np.zeros((3, len(f[2]) - 1)) for f in self._filters]

    def of(self, speed: Array, acceleration: Array) -> Array:
        """Return the lags (struts, n) in mm at the next samples, by speeds and accelerations (struts, n)."""
        from scipy.linalg.blas import dtbsv

        out = np.empty_like(speed)
        for k, (by_speed, by_acceleration, down) in enumerate(self._filters):
            order, (v, a, e) = len(down) - 1, self._past[k]
            v, a = np.concatenate([v, speed[k]]), np.concatenate([a, acceleration[k]])
            driven = np.convolve(v, by_speed)[order : len(v)] + np.convolve(a, by_acceleration)[order : len(a)]
            for i in range(min(order, len(driven))):  # what the samples before still do
                driven[i] -= down[i + 1 :] @ e[::-1][: order - i]
            band = np.repeat(down[:, None], len(driven), axis=1)
            out[k] = dtbsv(order, band, driven, lower=1, diag=1)
            self._past[k] = np.stack([x[-order:] for x in (v, a, np.concatenate([e, out[k]]))])
        return out


def _filters(loop: Loop, period: float) -> tuple[Array, Array, Array]:
    """Return numerators by speed and by acceleration, and their denominator, in falling powers of z."""
    from scipy.linalg import expm

    if isinf(loop.frequency):
        a, b, c = np.array([[-loop.gain]]), np.array([1.0]), np.array([1.0 - loop.speed_share])
    else:  # time counts in 1 / w, so that numbers stay near 1
        w, d = loop.frequency, 2.0 * loop.damping
        a = w * np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [-loop.gain / w, -1.0, -d]])
        b = np.array([0.0, 0.0, w])
        c = np.array([1.0 - loop.speed_share, d * (1.0 - loop.acceleration_share), 1.0]) / w
    n, h = len(b), period
    whole = np.zeros((n + 4, n + 4))  # the loop, driven by the speed, which its own derivatives drive
    whole[:n, :n], whole[:n, n] = a, b
    whole[n : n + 3, n + 1 :] = np.eye(3)
    step = np.asarray(expm(whole * h), dtype=np.float64)
    cubic = np.array([
        [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0],
        [-6.0 / h**2, -4.0 / h, 6.0 / h**2, -2.0 / h], [12.0 / h**3, 6.0 / h**2, -12.0 / h**3, 6.0 / h**2],
    ])  # fmt: skip
    drive = step[:n, n:] @ cubic  # by speed and acceleration at the start and the end of a tick
    down, adjoint = [1.0], [np.eye(n)]
    for k in range(1, n + 1):  # U. Le Verrier 1840, D. K. Faddeev: det(z - A) and its adjoint
        moved = step[:n, :n] @ adjoint[-1]
        down.append(-float(np.trace(moved)) / k)
        adjoint.append(moved + down[-1] * np.eye(n))
    ups = [np.zeros(n + 1), np.zeros(n + 1)]
    for k in range(n):
        for part, up in enumerate(ups):
            up[k] += c @ adjoint[k] @ drive[:, part + 2]
            up[k + 1] += c @ adjoint[k] @ drive[:, part]
    return ups[0], ups[1], np.array(down)
