"""How far the tip goes: along lines, and along helices."""

import numpy as np

from hexpost.arrays import Array, Codes, Ints


def travel(ends: tuple[Array, Array], arcs: Ints, centre: Array, axis: Codes, turn: Array) -> Array:
    """Return how far the tip goes (n,), mm, from starts to ``ends`` (3, n).

    Moves ``arcs`` (k,) are helices about ``centre`` (3, k) and ``axis`` (k,) with the radius of their start, which turn
    by ``turn`` (k,) rad; the others are straight.
    """
    start, end = ends
    ahead = end - start
    out: Array = np.sqrt((ahead**2).sum(axis=0))
    k = np.arange(len(arcs))
    arm = start[:, arcs] - centre
    arm[axis, k] = 0.0
    out[arcs] = np.hypot(np.sqrt((arm**2).sum(axis=0)) * turn, ahead[axis, arcs])
    return out
