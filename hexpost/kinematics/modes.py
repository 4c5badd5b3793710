"""All real assembly modes: every pose of the platform that has six given lengths, as a diagnosis.

P. Dietmaier (Advances in Robot Kinematics, 1998) showed that there can be forty. They are sought by Newton's method
from many random poses; the search says whether it may be taken as complete.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.forward import forward, turns_about
from hexpost.kinematics.frames import angles_of, rotation
from hexpost.kinematics.struts import Struts, jacobian, strut_rows

MOST_MODES = 40
"""A general platform has forty complex modes (T.-Y. Lee, J.-K. Shim, Mech. Mach. Theory 36 (2001) 1073-1085)."""

STARTS = 1500
"""Random poses from which modes are sought at a time."""

MOST_BATCHES = 20
OFTEN = 3
"""The search is complete when every mode was met so often, and the last two batches met no new one."""

SAME = 1e-5
"""Poses nearer than this, relative to the size of the machine, are one."""


LOOSE = 1e-4
"""Least over largest singular value of the Jacobian, below which a pose counts as singular (Newton's method comes no
nearer to one than the root of its rounding)."""

TRIED = 8
"""So many singular poses of a batch are tried for a motion with all struts fixed."""

CORRECTIONS = 12
STEPS, STRIDE = 4, 1e-2
"""A motion is one if so many steps of this length, relative to the size of the machine, lead on along it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AssemblyModes:
    """Poses (6, m), how often each was met (m,), from how many starts, and whether the search came to an end.

    ``free`` (6, k): poses, not counted among the modes, from which the platform can move with all struts fixed.
    """

    pose: Array
    met: Ints
    starts: int
    complete: bool
    free: Array


def assembly_modes(struts: Struts, lengths: Array, seed: int = 0) -> AssemblyModes:
    """Return the real poses that have the ``lengths`` (6,); ``seed`` makes the search repeatable.

    Not a proof: ``complete`` is false where modes still turned up at the end or were met only once or twice. It ends
    after ``STARTS * MOST_BATCHES`` starts, and sooner where there are more modes than a platform has that cannot move.
    """
    rng = np.random.default_rng(seed)
    middle, reach = struts.base.mean(axis=0), float(lengths.max() + np.linalg.norm(struts.platform, axis=1).max())
    size = float(np.abs(struts.base - middle).max() + lengths.max())
    known: Array = np.empty((12, 0))
    met: Ints = np.empty(0, dtype=np.int64)
    free: Array = np.empty((6, 0))
    quiet = batches = 0
    while batches < MOST_BATCHES and len(met) <= MOST_MODES and not (quiet >= 2 and (met >= OFTEN).all()):
        batches += 1
        guess = _random_poses(rng, struts.order, middle, reach)
        found = forward(struts, np.repeat(lengths[:, None], STARTS, axis=1), guess)
        pose = found.pose[:, found.converged]
        loose = _evenness(struts, pose) < LOOSE
        if not free.size:
            free = _free(struts, lengths, pose[:, loose][:, :TRIED], size)
        if free.size:
            pose = pose[:, ~loose]  # they belong to a motion, each of them to a pose that was not met before
        flat = np.concatenate([pose[:3] / size, rotation(pose[3], pose[4], pose[5], struts.order).reshape(9, -1)])
        before = len(met)
        known, met = _sorted_in(known, met, flat)
        quiet = quiet + 1 if len(met) == before else 0
    pose = np.concatenate([known[:3] * size, angles_of(known[3:].reshape(3, 3, -1), struts.order)])
    complete = bool(quiet >= 2 and (met >= OFTEN).all() and len(met) <= MOST_MODES)
    return AssemblyModes(pose=pose, met=met, starts=batches * STARTS, complete=complete, free=free)


def _evenness(struts: Struts, pose: Array) -> Array:
    """Return the least over the largest singular value (n,) of the Jacobians at poses (6, n), turns at the joints."""
    values = np.linalg.svd(_rows(struts, pose), compute_uv=False)
    out: Array = np.asarray(values[:, -1] / values[:, 0], dtype=np.float64)
    return out


def _rows(struts: Struts, pose: Array) -> Array:
    """Return the Jacobians (n, 6, 6) at poses (6, n), for shifts and for turns times the lever of the joints."""
    out = np.ascontiguousarray(jacobian(struts, pose))
    out[:, :, 3:] /= float(np.sqrt((struts.platform**2).sum(axis=1).mean())) or 1.0
    return out


def _free(struts: Struts, lengths: Array, pose: Array, size: float) -> Array:
    """Return those of singular poses (6, n) from which a motion leads on that keeps the lengths (6,)."""
    lever = float(np.sqrt((struts.platform**2).sum(axis=1).mean()))
    on = [i for i in range(pose.shape[1]) if _moves(struts, lengths, pose[:, i], STRIDE * size, lever)]
    out: Array = pose[:, on]
    return out


def _moves(struts: Struts, lengths: Array, pose: Array, stride: float, lever: float) -> bool:
    """Return whether steps along the motion that the struts leave open, corrected back to the lengths, lead away."""
    p, r = pose[:3].copy(), np.asarray(rotation(pose[3], pose[4], pose[5], struts.order))
    last: Array = np.zeros(6)
    for _ in range(STEPS):
        along = np.linalg.svd(_at(struts, p, r, lever)[0])[2][-1]
        along = along if along @ last >= 0.0 else -along
        q, s = p + stride * along[:3], turns_about(stride / lever * along[None, 3:])[0] @ r
        for _ in range(CORRECTIONS):
            rows, now = _at(struts, q, s, lever)
            step = np.linalg.pinv(rows, rcond=LOOSE) @ (lengths - now)
            q, s = q + step[:3], turns_about(step[None, 3:] / lever)[0] @ s
        if np.abs(lengths - _at(struts, q, s, lever)[1]).max() > SAME * SAME * stride / STRIDE:
            return False
        gone = np.linalg.norm(q - p) + lever * np.linalg.norm(s - r)
        if gone < 0.5 * stride:
            return False
        p, r, last = q, s, along
    return True


def _at(struts: Struts, p: Array, r: Array, lever: float) -> tuple[Array, Array]:
    """Return the Jacobian (6, 6), turns times the lever, and the lengths (6,) at a place and a rotation."""
    arms = struts.platform @ r.T
    vectors = p + arms - struts.base
    rows = strut_rows(vectors[None], arms[None])[0]
    rows[:, 3:] /= lever
    return rows, np.linalg.norm(vectors, axis=1)


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
