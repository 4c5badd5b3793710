"""How far the tip is off because struts give way: without what commands make up for, and with it.

What acts is gravity, acceleration and the cutting force as far as it is known. A strut that is d shorter moves the tip
by J^-1 (-d); what commands add is taken off d. Both count from the pose in which commands are lengths.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.spots import WorstBlocks, WorstSpot, worse
from hexpost.kinematics.inverses import SHIFTS, moved
from hexpost.machine.elastic import springs, unbent
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.loads import Loads
from hexpost.setpoints.model import Setpoints

ROUNDED = 1e-9
"""What is left of the same sag worked out in two processes, mm, and no more than rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sag:
    """Of the feed moves of a job: the worst and the root mean square [mm] the tip is off; the same of what is left.

    ``blocks``: the lines in which most is left, or is, where commands make up for nothing.
    """

    worst: WorstSpot
    mean: float
    left: WorstSpot
    left_mean: float
    compensated: bool
    blocks: tuple[WorstSpot, ...]


class Sagging:
    """Keeps the worst of batches that come in order; memory does not grow with the job."""

    def __init__(self, machine: Machine, moves: Moves, poses: Attitudes, loads: Loads) -> None:
        found = springs(machine)
        assert machine.compensation is not None and found is not None  # the loader sees to it
        self._springs, self._home = found, unbent(machine, found)
        self._poses, self._loads, self._compensated = poses, loads, machine.compensation.sag
        self._worst = [WorstSpot(), WorstSpot()]
        self._squares, self._count = np.zeros(2), 0
        self._feeds = np.append(moves.feed_mode != FEED_RAPID, False)  # the last stands for "before the first move"
        self._blocks = WorstBlocks()

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        poses, length = setpoints.poses, setpoints.length
        shorter = self._springs.shorter(self._loads.of(setpoints).thrust, length) - self._home
        added, feeds = setpoints.compensation, self._feeds[poses.move]
        time: Array = np.asarray(poses.tick * setpoints.period, dtype=np.float64)
        left = shorter if added is None else shorter - added
        sides = shorter, np.where(np.abs(left) > ROUNDED, left, 0.0)
        inverse = self._poses.inverses(setpoints)[SHIFTS]
        for i, side in enumerate(sides):
            off = np.sqrt((moved(inverse, side) ** 2).sum(axis=0)) * feeds
            self._worst[i] = worse(self._worst[i], off, poses.line, time)
            self._squares[i] += float(off @ off)
        self._count += int(feeds.sum())
        self._blocks.add(off, poses.line, time)

    def result(self) -> Sag:
        """Return what is told of the whole job."""
        mean, left = np.sqrt(self._squares / max(self._count, 1)).tolist()
        return Sag(
            worst=self._worst[0], mean=mean, left=self._worst[1], left_mean=left, compensated=self._compensated,
            blocks=self._blocks.ranked(),
        )  # fmt: skip
