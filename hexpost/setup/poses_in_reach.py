"""Poses within reach of a machine, spread evenly and always the same ones."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import Struts
from hexpost.machine.model import Machine
from hexpost.units import RAD_PER_DEG

SIDE = 0.4
"""Share of the pallet's size to either side of its middle."""
HEIGHT = 0.25
"""Share of the pallet's size above and below the reference pose."""
TILT = 20.0 * RAD_PER_DEG
STROKE_MARGIN = 0.03
"""Share of the stroke that stays free at either end."""


def spread_poses(machine: Machine, count: int) -> Array:
    """Return poses (6, n) of the platform in the base frame within stroke, out of ``count`` spread over a box.

    The box holds gauge points about the reference pose, as wide as the pallet, and turns up to 20 degrees about each
    axis; points of a Halton sequence (J. H. Halton, 1960).
    """
    u = 2.0 * np.stack([_halton(count, base) for base in (2, 3, 5, 7, 11, 13)]) - 1.0
    x, y = machine.pallet.size
    reach = np.array([SIDE * x, SIDE * y, HEIGHT * max(x, y), TILT, TILT, TILT])
    return reachable(machine, machine.reference[:, None] + reach[:, None] * u)


def grid_poses(machine: Machine) -> Array:
    """Return poses (6, n) within stroke on a grid: 5 x 5 x 3 gauge points, upright and tilted to four sides."""
    x, y = machine.pallet.size
    steps = np.linspace(-1.0, 1.0, 5)
    points = np.stack(np.meshgrid(SIDE * x * steps, SIDE * y * steps, HEIGHT * max(x, y) * steps[::2], indexing="ij"))
    places = points.reshape(3, -1)
    tilts = np.array([[0, 0, 0], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0.0]]).T * TILT / 2.0
    n, k = places.shape[1], tilts.shape[1]
    offsets = np.concatenate([np.repeat(places, k, axis=1), np.tile(tilts, (1, n))])
    return reachable(machine, machine.reference[:, None] + offsets)


def reachable(machine: Machine, gauge: Array) -> Array:
    """Return platform poses (6, n) for gauge points and turns (6, m), those within stroke."""
    r = rotation(gauge[3], gauge[4], gauge[5], machine.tilt_order)
    point = machine.platform.gauge_point
    a, b, c = (float(x) for x in machine.reference[3:])
    middle = rotation(a, b, c, machine.tilt_order) @ point
    pose = gauge.copy()
    pose[:3] += middle[:, None] - np.einsum("ijn,j->in", r, point)
    base = np.array([s.base_joint for s in machine.struts])
    platform = np.array([s.platform_joint for s in machine.struts])
    length = Struts(base, platform, machine.tilt_order).lengths(pose)
    low, high = (np.array([s.stroke[i] for s in machine.struts])[:, None] for i in (0, 1))
    margin = STROKE_MARGIN * (high - low)
    inside = ((length >= low + margin) & (length <= high - margin)).all(axis=0)
    out: Array = pose[:, inside]
    return out


def _halton(count: int, base: int) -> Array:
    """Return ``count`` numbers of the van der Corput sequence of a base, between 0 and 1."""
    out: Array = np.zeros(count)
    rest, share = np.arange(1, count + 1), 1.0
    while rest.any():
        share /= base
        out += share * (rest % base)
        rest //= base
    return out
