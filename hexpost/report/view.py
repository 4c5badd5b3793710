"""The part of space that the views of a report show, and the cells of its pictures."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.shelf import windows

WIDE = 420
"""Cells across the wider side of the box."""
_MARGIN = 0.06
_LEAST_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ViewBox:
    """A box in the pallet frame: ``low`` and ``high`` (3,) in mm, and the side of a square cell in mm."""

    low: Array
    high: Array
    cell: float

    @property
    def shapes(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """Return rows and columns of the view from above and of the one from the front."""
        x, y, z = (max(int(np.ceil(s / self.cell)), 1) for s in self.high - self.low)
        return (y, x), (z, x)

    def cells(self, points: Array, up: int, shape: tuple[int, ...]) -> tuple[Flags, Ints]:
        """Return which points (3, n) are in a view (``up`` is the axis that points up in it), and their cells."""
        column = np.floor((points[0] - self.low[0]) / self.cell)
        row = shape[0] - 1 - np.floor((points[up] - self.low[up]) / self.cell)
        inside: Flags = (column >= 0) & (column < shape[1]) & (row >= 0) & (row < shape[0])
        return inside, (row[inside] * shape[1] + column[inside]).astype(np.int64)


def pallet_from_work(moves: Moves, machine: Machine) -> Array:
    """Return the frames of a job (k, 4, 4) seen from the pallet."""
    pallet = np.linalg.inv(pose_matrix(machine.pallet.pose, machine.tilt_order))
    out: Array = np.array([pallet @ f.base_from_work for f in moves.frames]).reshape(-1, 4, 4)
    return out


def cut_box(moves: Moves, frames: Array) -> ViewBox:
    """Return the box around all feed moves (all moves, if there are none), with a margin."""
    cutting: Flags = moves.feed_mode != FEED_RAPID
    if not cutting.any():
        cutting = np.ones(moves.count, dtype=np.bool_)
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    arc = moves.arcs.move
    radius = np.sqrt(((moves.start[:3, arc] - moves.arcs.centre) ** 2).sum(axis=0))
    reach = radius * _square(moves.arcs.axis)
    corners = [(moves.start[:3], cutting, moves.frame), (moves.end[:3], cutting, moves.frame)]
    corners += [(moves.arcs.centre + s * reach, cutting[arc], moves.frame[arc]) for s in (-1.0, 1.0)]
    for points, shown, frame in corners:
        for part in windows(len(frame)):
            for k in np.unique(frame[part][shown[part]]):
                mine = points[:, part][:, shown[part] & (frame[part] == k)]
                seen = frames[k][:3, :3] @ mine + frames[k][:3, 3:]
                low, high = np.minimum(low, seen.min(axis=1)), np.maximum(high, seen.max(axis=1))
    if not np.isfinite(low).all():
        low, high = np.zeros(3), np.ones(3)
    size = np.maximum(high - low, _LEAST_MM)
    room = _MARGIN * float(size.max()) + np.maximum(size - (high - low), 0.0) / 2.0
    low, high = low - room, high + room
    return ViewBox(low=low, high=high, cell=float((high - low).max()) / WIDE)


def _square(axis: Codes) -> Array:
    """Return 1 for the two coordinates square to the axes (k,), else 0, shape (3, k)."""
    out: Array = np.ones((3, len(axis)))
    out[axis.astype(np.int64), np.arange(len(axis))] = 0.0
    return out
