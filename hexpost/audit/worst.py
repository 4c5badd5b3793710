"""The worst use of each limit by each strut over a job, clean or broken."""

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import Band
from hexpost.audit.model import Worst
from hexpost.setpoints.model import Poses


class WorstUse:
    """The running worst of one limit, row by row; the first sample of the job wins among equals."""

    def __init__(self, band: Band) -> None:
        rows = len(band.struts)
        self._band = band
        self._rows = np.arange(rows)
        self._use = np.full(rows, -1.0)
        self._least = np.full(rows, np.inf)
        self._most = np.full(rows, -np.inf)
        self._value = np.zeros(rows)
        self._line = np.zeros(rows, dtype=np.int64)
        self._tick = np.zeros(rows, dtype=np.int64)

    def update(self, values: Array, least: Array, most: Array, poses: Poses) -> None:
        """Take a block: ``values`` (k, n), their smallest and largest (k,) by row."""
        if ((least >= self._least) & (most <= self._most)).all():
            return
        np.minimum(self._least, least, out=self._least)
        np.maximum(self._most, most, out=self._most)
        use = np.maximum(self._band.use(least, self._rows), self._band.use(most, self._rows))
        for row in np.flatnonzero(use > self._use):
            at = int(np.abs(values[row] - self._band.centre[row]).argmax())
            self._use[row], self._value[row] = use[row], values[row, at]
            self._line[row], self._tick[row] = poses.line[at], poses.tick[at]

    def rows(self, period: float) -> list[Worst]:
        """Return one entry a row; none where no sample was seen. A value within the band uses at most 1."""
        band = self._band
        inside = ~band.outside(self._value[:, None])[:, 0]
        use = np.where(inside, np.minimum(self._use, 1.0), np.maximum(self._use, np.nextafter(1.0, 2.0)))
        shown, bound = band.shown(self._value), band.bound(self._value, self._rows)
        return [
            Worst(
                limit=band.limit,
                strut=int(band.struts[i]),
                value=float(shown[i]),
                allowed=float(bound[i]),
                ratio=float(use[i]),
                line=int(self._line[i]),
                time=float(self._tick[i]) * period,
            )
            for i in self._rows[self._use >= 0.0]
        ]
