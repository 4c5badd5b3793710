"""Ball screws: torque, critical speed and buckling load, after the formulas of machine-design handbooks."""

from math import pi, sqrt

import numpy as np

from hexpost.arrays import Array
from hexpost.units import SECONDS_PER_MINUTE

BEAM = {
    "fixed-free": 1.8751040687,
    "supported-supported": pi,
    "fixed-supported": 3.9266023120,
    "fixed-fixed": 4.7300407449,
}
"""First roots x = k L of a uniform beam that swings.

E I y'''' = rho A w^2 y has the solutions cos, sin, cosh and sinh of k z, with k^4 = rho A w^2 / (E I). Only y = 0 meets
the conditions at both ends (fixed y = y' = 0, supported y = y'' = 0, free y'' = y''' = 0), unless, in the order above,
cos x cosh x = -1, sin x = 0, tan x = tanh x, cos x cosh x = 1.
"""

COLUMN = {"fixed-free": 0.25, "supported-supported": 1.0, "fixed-supported": 2.045748516, "fixed-fixed": 4.0}
"""Euler's factors n of a column, P = n pi^2 E I / L^2.

E I y'''' + P y'' = 0 has the solutions 1, z, cos and sin of k z, with k^2 = P / (E I). With the same ends (free: y'' =
0 and y''' + k^2 y' = 0) x = k L = pi sqrt(n) is the first root but 0 of cos x = 0, sin x = 0, tan x = x, cos x = 1.
"""


def torque(thrust: Array, speed: Array, lead: Array, forward: Array, backward: Array) -> Array:
    """Return the torque (6, n) on each screw [N m] under ``thrust`` [N]; ``lead`` (6, 1) in mm.

    T = F lead / 2 pi eta where the screw drives the load (and at rest), T = F lead eta_b / 2 pi where the load drives
    it; ``forward`` (6, 1) holds 1 / eta, ``backward`` eta_b.
    """
    driving = thrust * speed >= 0.0
    out: Array = np.where(driving, forward, backward)
    out *= thrust
    out *= lead * (1e-3 / (2.0 * pi))
    return out


def critical_speed(root: float, bore: float, elasticity: float, density: float, ends: str) -> float:
    """Return n L^2 [mm2/min]: over the square of the unsupported length it is the first critical speed in 1/min.

    Circular frequency (k l)^2 sqrt(E I / rho A) / L^2 of a uniform round beam, diameters in mm, E in N/mm2, kg/m3.
    """
    radius_of_gyration = sqrt(root**2 + bore**2) / 4.0
    speed_of_sound = sqrt(elasticity * 1e6 / density) * 1e3  # mm/s
    return BEAM[ends] ** 2 * radius_of_gyration * speed_of_sound / (2.0 * pi) * SECONDS_PER_MINUTE


def buckling_load(root: float, bore: float, elasticity: float, ends: str) -> float:
    """Return P L^2 [N mm2]: over the square of the unsupported length it is Euler's load of the screw."""
    return COLUMN[ends] * pi**2 * elasticity * pi * (root**4 - bore**4) / 64.0
