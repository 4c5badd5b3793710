"""All real assembly modes: every pose of the platform that has six given lengths, as a diagnosis.

P. Dietmaier (Advances in Robot Kinematics, 1998) showed that there can be forty. They are sought by Newton's method
from many random poses; the search says whether it may be taken as complete.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.forward import forward
from hexpost.kinematics.frames import angles_of, rotation
from hexpost.kinematics.struts import Struts

MOST_MODES = 40
"""A general platform has forty complex modes (T.-Y. Lee, J.-K. Shim, Mech. Mach. Theory 36 (2001) 1073-1085)."""

STARTS = 1500
"""Random poses from which modes are sought at a time."""

MOST_BATCHES = 20
OFTEN = 3
"""The search is complete when every mode was met so often, and the last two batches met no new one."""

SAME = 1e-5
"""Poses nearer than this, relative to the size of the machine, are one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AssemblyModes:
    """Poses (6, m), how often each was met (m,), from how many starts, and whether the search came to an end."""

    pose: Array
    met: Ints
    starts: int
    complete: bool


def assembly_modes(struts: Struts, lengths: Array, seed: int = 0) -> AssemblyModes:
    """Return the real poses that have the ``lengths`` (6,); ``seed`` makes the search repeatable.

    Not a proof: ``complete`` is false where modes still turned up at the end or were met only once or twice.
    """
    rng = np.random.default_rng(seed)
    middle, reach = struts.base.mean(axis=0), float(lengths.max() + np.linalg.norm(struts.platform, axis=1).max())
    size = float(np.abs(struts.base - middle).max() + lengths.max())
    known: Array = np.empty((12, 0))
    met: Ints = np.empty(0, dtype=np.int64)
    quiet = batches = 0
    while batches < MOST_BATCHES and not (quiet >= 2 and (met >= OFTEN).all()):
        batches += 1
        guess = _random_poses(rng, struts.order, middle, reach)
        found = forward(struts, np.repeat(lengths[:, None], STARTS, axis=1), guess)
        pose = found.pose[:, found.converged]
        flat = np.concatenate([pose[:3] / size, rotation(pose[3], pose[4], pose[5], struts.order).reshape(9, -1)])
        before = len(met)
        known, met = _sorted_in(known, met, flat)
        quiet = quiet + 1 if len(met) == before else 0
    pose = np.concatenate([known[:3] * size, angles_of(known[3:].reshape(3, 3, -1), struts.order)])
    complete = bool(quiet >= 2 and (met >= OFTEN).all() and len(met) <= MOST_MODES)
    return AssemblyModes(pose=pose, met=met, starts=batches * STARTS, complete=complete)


def _random_poses(rng: np.random.Generator, order: str, middle: Array, reach: float) -> Array:
    """Return poses (6, STARTS): places in a ball about the base joints, turns uniform over all rotations."""
    direction = rng.normal(size=(3, STARTS))
    direction *= reach * rng.random(STARTS) ** (1 / 3) / np.linalg.norm(direction, axis=0)
    w, x, y, z = (q := rng.normal(size=(4, STARTS))) / np.linalg.norm(q, axis=0)
    r = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    return np.concatenate([middle[:, None] + direction, angles_of(r, order)])


def _sorted_in(known: Array, met: Ints, flat: Array) -> tuple[Array, Ints]:
    """Return the known modes (12, m) and how often each was met, with the finds ``flat`` (12, k) sorted in."""
    while flat.shape[1]:
        if known.shape[1]:
            apart = np.abs(flat[:, :, None] - known[:, None]).max(axis=0)
            nearest = apart.argmin(axis=1)
            old = apart[np.arange(len(nearest)), nearest] < SAME
            met = met + np.bincount(nearest[old], minlength=len(met))
            flat = flat[:, ~old]
        if flat.shape[1]:
            known = np.concatenate([known, flat[:, :1]], axis=1)
            met = np.append(met, 0)
    return known, met
