"""Forward kinematics: the pose that belongs to six lengths, by Newton's method from a guess."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.kinematics.frames import angles_of, rotation
from hexpost.kinematics.struts import Struts, strut_rows

MOST_ROUNDS = 40
"""Rounds after which a pose counts as not found; from a few centimetres off, five are enough."""

CLOSE = 1e-9
"""A step below this, relative to the size of the machine, is the last: the next one would be its square."""

LARGEST_TURN = 0.5
"""A step turns the platform by no more than this, rad."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forward:
    """Poses (6, n) found for lengths, nan where ``converged`` (n,) is false; the rounds that were needed."""

    pose: Array
    converged: Flags
    rounds: int


def forward(struts: Struts, lengths: Array, guess: Array) -> Forward:
    """Return the poses (6, n) that give ``lengths`` (6, n), each found on its own from ``guess`` (6, n).

    Newton's method on position and rotation: a step turns the platform about a vector, so that no angle can lock.
    Angles come back nearest to those of the guess.
    """
    p = guess[:3].T.copy()
    r = np.moveaxis(rotation(guess[3], guess[4], guess[5], struts.order), 2, 0).copy()
    lever = float(np.sqrt((struts.platform**2).sum(axis=1).mean()))
    close = CLOSE * (lever + float(np.abs(struts.base).max()))
    searching: Flags = np.isfinite(np.concatenate([lengths, guess])).all(axis=0)
    converged: Flags = np.zeros(len(p), dtype=np.bool_)
    rounds = 0
    while rounds < MOST_ROUNDS and searching.any():
        rounds += 1
        at = np.flatnonzero(searching)
        step = _step(struts, p[at], r[at], lengths[:, at].T)
        p[at] += step[:, :3]
        r[at] = turns_about(step[:, 3:]) @ r[at]
        there = np.abs(step[:, :3]).max(axis=1) + lever * np.abs(step[:, 3:]).max(axis=1) < close
        converged[at[there]] = True
        searching[at[there]] = False
    pose = np.concatenate([p.T, angles_of(np.moveaxis(r, 0, 2), struts.order, guess[3:])])
    pose[:, ~converged] = np.nan
    return Forward(pose=pose, converged=converged, rounds=rounds)


def _step(struts: Struts, p: Array, r: Array, lengths: Array) -> Array:
    """Return the Newton steps (n, 6) of position and turn, from poses ``p`` (n, 3), ``r`` (n, 3, 3)."""
    arms = struts.platform @ r.swapaxes(1, 2)
    vectors = p[:, None, :] + arms - struts.base
    rows = strut_rows(vectors, arms)
    missing = (lengths - np.linalg.norm(vectors, axis=2))[:, :, None]
    try:
        step: Array = np.linalg.solve(rows, missing)[:, :, 0]
    except np.linalg.LinAlgError:  # exactly singular: the shortest step that does what can be done
        step = (np.linalg.pinv(rows) @ missing)[:, :, 0]
    turn = np.sqrt((step[:, 3:] ** 2).sum(axis=1, keepdims=True))
    step *= LARGEST_TURN / np.maximum(turn, LARGEST_TURN)
    return step


def turns_about(w: Array) -> Array:
    """Return the rotations (n, 3, 3) about the vectors ``w`` (n, 3) by their length, rad (O. Rodrigues, 1840)."""
    angle = np.sqrt((w**2).sum(axis=1))[:, None, None]
    k = np.zeros((len(w), 3, 3))
    k[:, 2, 1], k[:, 0, 2], k[:, 1, 0] = w.T
    k -= k.swapaxes(1, 2)
    sine = np.sinc(angle / np.pi)
    half = np.sinc(angle / (2.0 * np.pi))
    out: Array = np.eye(3) + sine * k + 0.5 * half**2 * (k @ k)
    return out
