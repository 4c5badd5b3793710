"""Where six lengths put the platform: Newton's method along the rows of a table, each from the pose before it.

The residual of a strut is |t + R b - a| - l; its derivatives by a shift v and a turn w of the platform are u.v and
(R b x u).w with u the unit vector along the strut (Merlet, Parallel Robots, 2nd ed. 2006, section 5.5). This is written
for this proof alone; the solver that made the table runs the other way.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine

REACH = 0.1
"""Seconds between two rows that are solved one after the other; those between them start from a straight line."""
_ROUNDS = 25
_CLOSE, _NEARLY = 1e-8, 1e-2
"""The last step of a solution, mm, and that of one which only others start from."""
_TURN = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Poses:
    """Platform origins ``t`` (n, 3) and rotations ``r`` (n, 3, 3) in the base frame.

    ``rows`` (n, 6, 6): strut rates by shift and turn of the platform; ``lost`` (n,) where no pose was found.
    """

    t: Array
    r: Array
    rows: Array
    lost: Array


def turns(w: Array) -> Array:
    """Return the rotations (n, 3, 3) of rotation vectors ``w`` (n, 3) (Rodrigues 1840)."""
    angle = np.sqrt(np.einsum("ni,ni->n", w, w))
    safe = np.where(angle > 1e-12, angle, 1.0)
    k = np.zeros((len(w), 3, 3))
    k[:, 2, 1], k[:, 0, 2], k[:, 1, 0] = w.T
    k -= k.swapaxes(1, 2).copy()
    a = np.where(angle > 1e-12, np.sin(angle) / safe, 1.0)[:, None, None]
    b = np.where(angle > 1e-12, (1.0 - np.cos(angle)) / safe**2, 0.5)[:, None, None]
    out: Array = np.eye(3) + a * k + b * (k @ k)
    return out


def turn_vectors(r: Array) -> Array:
    """Return the rotation vectors (n, 3) of rotations (n, 3, 3) of less than half a turn."""
    skew = np.stack([r[:, 2, 1] - r[:, 1, 2], r[:, 0, 2] - r[:, 2, 0], r[:, 1, 0] - r[:, 0, 1]], axis=1) / 2.0
    sine = np.sqrt(np.einsum("ni,ni->n", skew, skew))
    angle = np.arctan2(sine, (np.einsum("nii->n", r) - 1.0) / 2.0)
    out: Array = skew * np.where(sine > 1e-9, angle / np.where(sine > 1e-9, sine, 1.0), 1.0)[:, None]
    return out


class Tracker:
    """Follows the platform from a start pose, rotation ``r`` (3, 3) and origin ``t`` (3,), along rows of lengths."""

    def __init__(self, machine: Machine, t: Array, r: Array, period: float) -> None:
        self._base = np.array([s.base_joint for s in machine.struts])
        self._platform = np.array([s.platform_joint for s in machine.struts])
        self._lever = float(np.sqrt((self._platform**2).sum(axis=1).mean()))
        self._stride = max(1, int(REACH / period))
        self._t, self._r = t.reshape(1, 3), r.reshape(1, 3, 3)

    def follow(self, lengths: Array) -> Poses:
        """Return the poses of the next rows (6, n)."""
        want = lengths.T
        n = len(want)
        nodes = np.unique(np.append(np.arange(0, n, self._stride), n - 1))
        found = [self._newton(want[:1], self._t, self._r, _NEARLY)]
        for k in nodes[1:]:
            last = found[-1]
            found.append(self._newton(want[k : k + 1], last.t, last.r, _NEARLY))
        t = np.concatenate([f.t for f in found])
        r = np.concatenate([f.r for f in found])
        i = np.minimum(np.searchsorted(nodes, np.arange(n), "right") - 1, max(len(nodes) - 2, 0))
        j = np.minimum(i + 1, len(nodes) - 1)
        share = ((np.arange(n) - nodes[i]) / np.maximum(nodes[j] - nodes[i], 1))[:, None]
        step = turn_vectors(r[j] @ r[i].swapaxes(1, 2))
        out = self._newton(want, t[i] + share * (t[j] - t[i]), turns(share * step) @ r[i])
        if not out.lost[-1]:
            self._t, self._r = out.t[-1:], out.r[-1:]
        return out

    def _newton(self, want: Array, t: Array, r: Array, close: float = _CLOSE) -> Poses:
        """Return the poses of lengths (n, 6), each from its own guess, up to less than a step of ``close`` mm."""
        t, r = t.copy(), r.copy()
        rows = np.empty((len(want), 6, 6))
        open_ = np.arange(len(want))
        for _ in range(_ROUNDS):
            arms = self._platform @ r[open_].swapaxes(1, 2)
            strut = t[open_, None, :] + arms - self._base
            length = np.sqrt(np.einsum("nki,nki->nk", strut, strut))
            unit = strut / np.maximum(length, 1e-9)[:, :, None]
            j = np.concatenate([unit, np.cross(arms, unit)], axis=2)
            rows[open_] = j
            try:
                step = np.linalg.solve(j, (want[open_] - length)[:, :, None])[:, :, 0]
            except np.linalg.LinAlgError:
                break
            size = np.sqrt(np.einsum("ni,ni->n", step[:, 3:], step[:, 3:]))
            step *= (_TURN / np.maximum(size, _TURN))[:, None]
            t[open_] += step[:, :3]
            r[open_] = turns(step[:, 3:]) @ r[open_]
            going = np.abs(step[:, :3]).max(axis=1) + self._lever * np.abs(step[:, 3:]).max(axis=1) > close
            open_ = open_[going | ~np.isfinite(step).all(axis=1)]
            if not len(open_):
                break
        lost = np.zeros(len(want), dtype=bool)
        lost[open_] = True
        return Poses(t=t, r=r, rows=rows, lost=lost)
