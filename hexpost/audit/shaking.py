"""The platform on its elastic struts along a job: natural frequencies, and what swings on after each rest."""

from dataclasses import dataclass
from math import ceil, tau

import numpy as np

from hexpost.arrays import Array, Flags, Ints, distinct
from hexpost.audit.spots import WorstBlocks, WorstSpot
from hexpost.kinematics.vibration import ElasticPlatform, memory
from hexpost.last_answer import LastAnswer
from hexpost.machine.elastic import elastic_platform
from hexpost.machine.model import Machine
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.model import Setpoints

EVERY = 128
"""Samples from one look at the frequencies to the next."""
MOST_KEPT = 20_000
"""Samples that are kept at most of what moved the tip before a rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calmed:
    """What longer averages do: seconds and the worst swing in mm, without and with them."""

    time: tuple[float, float]
    swing: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shaken:
    """Least natural frequencies of a job, Hz, and where the lowest is; the worst swing of the tip after a rest, mm.

    ``lowest``: the value is in Hz. ``rests``: the worst of lines, worst first. ``calmed``: what ``--calm-lowest`` did.
    """

    frequencies: tuple[float, ...]
    lowest: WorstSpot
    swing: WorstSpot
    rests: tuple[WorstSpot, ...]
    damping: float
    calmed: Calmed | None = None


class Shaking:
    """Takes batches in order; memory does not grow with the job."""

    def __init__(self, machine: Machine, poses: Attitudes) -> None:
        self._machine, self._poses = machine, poses
        self._elastic: LastAnswer[int, ElasticPlatform] = LastAnswer()
        self._seen: LastAnswer[Setpoints, Array] = LastAnswer()
        self._past: Array = np.zeros((12, 0))
        self._frame, self._moving = -1, False
        self._least, self._lowest = np.full(6, np.inf), WorstSpot(value=np.inf)
        self._blocks = WorstBlocks()

    def of(self, setpoints: Setpoints) -> Array:
        """Return how far the tip swings (n,) after the rests of the next batch, mm; 0 at other samples."""
        return self._seen.of(setpoints, lambda: self._taken(setpoints))

    def result(self) -> Shaken:
        """Return the worst of the whole job."""
        rests = self._blocks.ranked()
        return Shaken(
            frequencies=tuple((self._least / tau).tolist()), lowest=self._lowest,
            swing=rests[0] if rests else WorstSpot(), rests=rests, damping=self._machine.platform.damping,
        )  # fmt: skip

    def _taken(self, setpoints: Setpoints) -> Array:
        poses, out = setpoints.poses, np.zeros(len(setpoints.poses.tick))
        elastic = self._elastic.of(poses.frame, lambda: self._made(setpoints))
        if self._frame != poses.frame:
            self._frame, self._moving = poses.frame, False
            self._past = np.zeros((12, 0))
        moving: Flags = np.asarray(poses.rate.any(axis=0), dtype=np.bool_)
        rests = np.flatnonzero(~moving & np.append(self._moving, moving[:-1]))
        self._moving = bool(moving[-1])
        looked = distinct(np.concatenate([np.arange(0, len(out), EVERY), rests]))
        frequencies = elastic.frequencies(poses.pose[:, looked])
        self._look(frequencies, looked, setpoints)
        known = np.concatenate([self._past, np.concatenate([poses.rate, poses.acceleration])], axis=1)
        before = self._past.shape[1]
        for k in rests.tolist():
            lowest = float(frequencies[0, np.searchsorted(looked, k)])
            first = max(before + k + 1 - self._count(lowest, setpoints.period), 0)
            moved = known[:, first : before + k + 1]
            out[k] = elastic.left(poses.pose[:, k], moved[:6], moved[6:], setpoints.period)
        time: Array = np.asarray(poses.tick[rests] * setpoints.period, dtype=np.float64)
        self._blocks.add(out[rests], poses.line[rests], time)
        most = self._count(float(frequencies[0].min()) / 2.0, setpoints.period)
        self._past = known[:, -most:]
        return out

    def _made(self, setpoints: Setpoints) -> ElasticPlatform:
        """Return the elastic platform as seen from the frame of a batch."""
        found = elastic_platform(self._machine, self._poses.struts(setpoints), self._poses.frame(setpoints).tip)
        assert found is not None  # nobody asks where a stiffness is not known
        return found

    def _count(self, lowest: float, period: float) -> int:
        """Return how many samples before a rest still count, where ``lowest`` [rad/s] is the lowest frequency."""
        return min(ceil(memory(lowest, self._machine.platform.damping) / period) + 1, MOST_KEPT)

    def _look(self, frequencies: Array, at: Ints, setpoints: Setpoints) -> None:
        """Keep the least frequencies."""
        np.minimum(self._least, frequencies.min(axis=1), out=self._least)
        i = int(frequencies[0].argmin())
        if frequencies[0, i] < self._lowest.value * tau:
            k, lowest = int(at[i]), float(frequencies[0, i]) / tau
            time = float(setpoints.poses.tick[k]) * setpoints.period
            self._lowest = WorstSpot(value=lowest, line=int(setpoints.poses.line[k]), time=time)
