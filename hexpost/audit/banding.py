"""How far the tip may be off along a job by what is not known of the machine.

That is its geometry and, where commands know of the struts as springs, how stiff they are; and how warm its struts are.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints, Lines, distinct
from hexpost.audit.spots import WorstBlocks, WorstSpot
from hexpost.kinematics.uncertainty import NUMBERS, bands, of_geometry, root_of, tip_slopes, with_compliances
from hexpost.machine.elastic import home_thrust
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.loads import Loads
from hexpost.setpoints.model import Setpoints

EVERY, MOST = 128, 1024
"""Samples from one look to the next, beside the first of each line; looks in a batch at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TipBand:
    """Of the feed moves of a job: the widest 95 % band of the tip, and the root mean square of all looks, mm.

    ``blocks``: the lines in which it is widest.
    """

    worst: WorstSpot
    mean: float
    blocks: tuple[WorstSpot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TipBands:
    """Bands by cause; ``None`` where the machine file does not say how well it is known."""

    geometry: TipBand | None = None
    thermal: TipBand | None = None


class _Warmth:
    """How much six struts may have grown, (6, n) in mm, one standard deviation; each is warm by itself."""

    def __init__(self, machine: Machine) -> None:
        known = [s.thermal for s in machine.struts if s.thermal is not None and s.thermal.spread is not None]
        self.known = len(known) == len(machine.struts)
        self._share = np.array([[t.expansion * (t.spread or 0.0)] for t in known])
        self._heated = np.array([[np.nan if t.heated is None else t.heated] for t in known])

    def of(self, length: Array) -> Array:
        """Return what each may have grown (6, n)."""
        return np.asarray(self._share * np.where(np.isnan(self._heated), length, self._heated))


def spread_known(machine: Machine) -> bool:
    """Return whether the machine file says how well its geometry, or how warm its struts are, is known."""
    return machine.calibration is not None or _Warmth(machine).known


class Banding:
    """Keeps the widest bands of batches that come in order; memory does not grow with the job."""

    def __init__(self, machine: Machine, moves: Moves, poses: Attitudes, loads: Loads) -> None:
        self._poses, self._loads = poses, loads
        known, self._home = machine.calibration, None
        if known is not None and len(known) > NUMBERS and machine.compensation is not None:
            self._home = home_thrust(machine)[0]
        self._root = None if known is None else root_of(of_geometry(known) if self._home is None else known)
        self._warm = _Warmth(machine)
        self._feeds = np.append(moves.feed_mode != FEED_RAPID, False)
        self._geometry, self._thermal = _Kept(), _Kept()

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        poses = setpoints.poses
        first = np.flatnonzero(np.diff(poses.line)) + 1
        at = distinct(np.concatenate([np.arange(0, len(poses.tick), EVERY), first]))
        at = at[self._feeds[poses.move[at]]]
        at = at[:: -(-len(at) // MOST) or 1]
        if not len(at):
            return
        frame = self._poses.frame(setpoints).base_from_work
        lengths, numbers = slopes = tip_slopes(self._poses.struts(setpoints), frame, poses.pose[:, at])
        if self._home is not None:
            numbers = with_compliances(slopes, self._loads.of(setpoints).thrust[:, at] - self._home)
        time = np.asarray(poses.tick[at] * setpoints.period, dtype=np.float64)
        if self._root is not None:
            self._geometry.take(bands(numbers, self._root), poses.line[at], time)
        if self._warm.known:
            grown = self._warm.of(setpoints.length[:, at]).T
            self._thermal.take(bands(lengths * grown[:, None, :], np.eye(6)), poses.line[at], time)

    def result(self) -> TipBands:
        """Return the bands of the whole job."""
        return TipBands(
            geometry=None if self._root is None else self._geometry.result(),
            thermal=self._thermal.result() if self._warm.known else None,
        )


class _Kept:
    """The widest band, the sum of squares and the worst lines so far."""

    def __init__(self) -> None:
        self._squares, self._count = 0.0, 0
        self._blocks = WorstBlocks()

    def take(self, size: Array, line: Lines | Ints, time: Array) -> None:
        """Take bands (n,) at looks that come in order."""
        size = np.nan_to_num(size, nan=0.0)
        self._squares, self._count = self._squares + float(size @ size), self._count + len(size)
        self._blocks.add(size, line, time)

    def result(self) -> TipBand:
        """Return the band of the whole job."""
        blocks = self._blocks.ranked()
        mean = (self._squares / max(self._count, 1)) ** 0.5
        return TipBand(worst=blocks[0] if blocks else WorstSpot(), mean=mean, blocks=blocks)
