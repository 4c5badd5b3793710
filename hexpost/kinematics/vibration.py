"""How a platform on six elastic struts vibrates: natural frequencies, and what is left of a motion when it rests.

Struts are springs, the platform with what it carries of them one rigid body. Beside the rigid motion the tip does
M e'' + C e' + K e = -M a with K = J' diag(k) J, the mass matrix M and the acceleration a of the rigid motion: the
body accelerates by a + e'' (Newton), and springs and damping alone pull it on. Every mode has the same damping ratio.
"""

from math import log, tau

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array
from hexpost.kinematics.dynamics import RigidBody, demand
from hexpost.kinematics.elastic import Springs
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import Struts, angle_axes, jacobian

Complex = npt.NDArray[np.complex128]

FADED = 1e-3
"""What is left of a vibration that is forgotten."""
STEPS = 64
"""So many times within a period of the lowest mode the tip is looked at once it rests."""


class ElasticPlatform:
    """The platform on its struts as ``springs``, as seen from one frame and tool."""

    def __init__(self, struts: Struts, body: RigidBody, springs: Springs, damping: float) -> None:
        self._struts, self._springs = struts, springs
        self.damping = damping
        self._mass: Array = demand(body)[:, :6]
        root = np.linalg.inv(np.linalg.cholesky(self._mass)).T
        self._root: Array = np.asarray(root, dtype=np.float64)

    def frequencies(self, pose: Array) -> Array:
        """Return the natural frequencies (6, n) at poses (6, n), rad/s, the lowest first.

        With M = L L', w2 are the squared singular values of diag(k)^1/2 J L^-T, all in the axes of the platform.
        """
        values = np.linalg.svd(self._scaled(pose), compute_uv=False)
        out: Array = np.asarray(values[:, ::-1].T, dtype=np.float64)
        return out

    def modes(self, pose: Array) -> tuple[Array, Array]:
        """Return the natural frequencies (6,) [rad/s] at one pose (6,), and the modes (6, 6) in columns.

        A mode is shift [mm] and turn [rad] of the tip in the axes of the platform, of unit modal mass.
        """
        _, values, rows = np.linalg.svd(self._scaled(pose[:, None])[0])
        return values[::-1].copy(), self._root @ rows[::-1].T

    def left(self, pose: Array, rate: Array, acceleration: Array, period: float) -> float:
        """Return how far the tip swings once it rests at a ``pose`` (6,), mm, by what moved it before.

        ``rate`` and ``acceleration`` (6, n) of its coordinates at the samples before, the last one that of the rest;
        in between it bends as the rates ask for. The modes are those at the rest: how the pose changed before it is
        left out. Looked at within one period of the lowest mode.
        """
        frequency, modes = self.modes(pose)
        turn = rotation(pose[3], pose[4], pose[5], self._struts.order)
        axes = angle_axes(pose[:, None], self._struts.order)[0]
        own = np.zeros((6, 6))
        own[:3, :3], own[3:, 3:] = turn.T, turn.T @ axes
        push = modes.T @ self._mass @ own
        mean = push @ np.diff(rate, axis=1) / period
        swing = swings(frequency, self.damping, push @ acceleration, mean, period)
        time = np.arange(STEPS + 1) / STEPS * (tau / frequency[0])
        moved = np.exp(np.outer(poles(frequency, self.damping), time)) * swing[:, None]
        return float(np.sqrt(((modes[:3] @ moved.imag) ** 2).sum(axis=0).max()))

    def _scaled(self, pose: Array) -> Array:
        """Return diag(k)^1/2 J L^-T (n, 6, 6) at poses (6, n)."""
        rows = jacobian(self._struts, pose)
        turn = np.moveaxis(rotation(pose[3], pose[4], pose[5], self._struts.order), 2, 0)
        own = np.concatenate([rows[:, :, :3] @ turn, rows[:, :, 3:] @ turn], axis=2)
        stiffness = 1.0 / self._springs.compliance(self._struts.lengths(pose))
        out: Array = np.sqrt(stiffness).T[:, :, None] * (own @ self._root)
        return out


def poles(frequency: Array, damping: float) -> Complex:
    """Return the upper poles (k,) of modes with a damping ratio, 1/s."""
    return np.asarray(frequency * complex(-damping, (1.0 - damping**2) ** 0.5), dtype=np.complex128)


def swings(frequency: Array, damping: float, force: Array, mean: Array, period: float) -> Complex:
    """Return the complex amplitudes (k,) of modes at the last of samples of modal forces (k, n).

    In each tick between them the force is a parabola with a ``mean`` (k, n - 1) of its own.

    From rest a mode does e(t) = -Im of the integral of f(x) exp(p (t - x)) dx, over the damped frequency, with the
    upper pole p (Duhamel's integral); straight lines between samples make a sum of hats of it, and arches 6 t (1 - t)
    what is missing in a tick. Of a last hat half is there, so the force must be 0 at the last sample.
    """
    p = poles(frequency, damping)
    half = 0.5 * p * period
    hat = period * (np.sinh(half) / half) ** 2
    back = np.arange(force.shape[1] - 1, -1, -1) * period
    arch = 3.0 * period * (half * np.cosh(half) - np.sinh(half)) / half**3
    grown = np.exp(np.outer(p, back))
    missing = (mean - 0.5 * (force[:, 1:] + force[:, :-1])) * grown[:, 1:]
    whole = hat * (force * grown).sum(axis=1) + arch * np.exp(half) * missing.sum(axis=1)
    return np.asarray(-whole / p.imag, dtype=np.complex128)


def memory(lowest: float, damping: float) -> float:
    """Return after how many seconds a vibration of at least ``lowest`` rad/s is forgotten."""
    return float(-log(FADED) / (damping * lowest))
