"""Vertices of a dense chain put together in cells: what is fitted does not depend on how finely a curve is written."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints

NEAR, CLOSE = 0.5, 0.3
"""Shares of a cell: vertices nearer to a fixed one are left out; means nearer to each other are one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nodes:
    """Means of cells: parameter (m,), place (d, m), and which of them are fixed vertices."""

    s: Array
    place: Array
    fixed: Flags


def cells(x: Array, s: Array, fixed: Flags, anchor: Flags, size: Array) -> Nodes:
    """Return the means of vertices ``x`` (d, n) at parameters ``s`` (n,) over cells of ``size`` (n,) mm.

    ``fixed`` vertices are nodes of their own; cells are counted from each ``anchor`` on, which fixed ones are, too.
    """
    phi = np.concatenate([[0.0], np.cumsum(np.diff(s) * 2.0 / (size[1:] + size[:-1]))])
    use = _used(phi, fixed)
    phi, own = phi[use], fixed[use]
    origin = np.flatnonzero(anchor)
    origin = origin[np.searchsorted(origin, use, side="right") - 1]
    start = np.concatenate([[0.0], np.cumsum(np.diff(s) * 2.0 / (size[1:] + size[:-1]))])[origin]
    key: Ints = np.floor(phi - start).astype(np.int64)
    new = np.ones(use.size, dtype=np.bool_)
    new[1:] = (key[1:] != key[:-1]) | (origin[1:] != origin[:-1]) | own[1:] | own[:-1]
    for _ in range(2):
        group = np.cumsum(new) - 1
        count = np.bincount(group)
        held = np.bincount(group, own) > 0
        gap = np.concatenate([[True], np.diff(np.bincount(group, phi) / count) > CLOSE])
        gap |= held | np.concatenate([[False], held[:-1]])
        gap[2:] |= ~gap[1:-1]
        new &= gap[group] | ~np.concatenate([[True], group[1:] != group[:-1]])
        if gap.all():
            break
    group = np.cumsum(new) - 1
    count = np.bincount(group)
    place = np.stack([np.bincount(group, row) / count for row in x[:, use]])
    return Nodes(s=np.bincount(group, s[use]) / count, place=place, fixed=np.bincount(group, own) > 0)


def _used(phi: Array, fixed: Flags) -> Ints:
    """Return the vertices (m,) that are fixed or half a cell away from all that are."""
    index, f = np.arange(len(phi)), np.flatnonzero(fixed)
    before = f[np.searchsorted(f, index, side="right") - 1]
    after = f[np.minimum(np.searchsorted(f, index), len(f) - 1)]
    near = ~fixed & ((phi - phi[before] < NEAR) | (phi[after] - phi < NEAR))
    out: Ints = np.flatnonzero(~near)
    return out
