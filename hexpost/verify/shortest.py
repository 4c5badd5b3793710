"""How long a chain of moves is, noise aside: what a tool that stays within the tolerance must travel at least.

Rounded coordinates make a dense chain longer than the curve it stands for. Runs of 2, 4, 8 ... moves count by their
chord where all their ends lie near it and in order; so nothing that leaves a chord by more than that is ever left out.
"""

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.verify.route import Stretch

NEAR, BACK = 0.5, 0.75
"""Shares of the tolerance: how far ends may lie beside the chord of their run, and back along it."""
_LEVELS = 8


def shortest(s: Stretch, loose: Flags, tolerance: float) -> Array:
    """Return the lengths (w,) of the moves of a stretch, of ``loose`` ones as far as they count, mm."""
    out: Array = s.length.copy()
    if not loose.any():
        return out
    place = np.concatenate([s.start, (s.start[-1:] + s.delta[-1:])])
    place = place * np.array([1.0] * 3 + [s.rho] * 3)
    good = loose.copy()
    for level in range(1, _LEVELS + 1):
        size = 1 << level
        begin = np.arange(-s.low % size, s.count - size + 1, size)
        if not len(begin):
            break
        within = np.arange(size)
        whole = good[begin[:, None] + within].all(axis=1)
        begin = begin[whole]
        if not len(begin):
            break
        base = place[begin]
        chord = place[begin + size] - base
        length = np.sqrt((chord**2).sum(axis=1))
        q = place[begin[:, None] + within[1:]] - base[:, None]
        t = np.einsum("kmi,ki->km", q, chord) / np.maximum(length, 1e-300)[:, None]
        off = q - (np.clip(t, 0.0, length[:, None]) / np.maximum(length, 1e-300)[:, None])[:, :, None] * chord[:, None]
        back = np.maximum.accumulate(t, axis=1) - t
        near = (off**2).sum(axis=2).max(axis=1) <= (NEAR * tolerance) ** 2
        near &= (back.max(axis=1) <= BACK * tolerance) & (t[:, 0] >= -BACK * tolerance)
        good = np.zeros_like(good)
        moves = begin[near][:, None] + within
        good[moves] = True
        total = np.maximum(s.length[moves].sum(axis=1), 1e-300)
        out[moves] = s.length[moves] * (length[near] / total)[:, None]
    return out
