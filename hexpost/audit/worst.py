"""The worst use of each limit by each strut over a job, clean or broken."""

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import Band, Shares
from hexpost.audit.model import Limit, Worst
from hexpost.audit.runs import just_over
from hexpost.setpoints.model import Setpoints


class WorstUse:
    """The running worst of one limit, row by row; the first sample of the job wins among equals.

    ``least`` and ``most`` (k,) are the extreme values so far.
    """

    def __init__(self, band: Band, shares: Shares | None = None) -> None:
        rows = len(band.struts)
        self._band = band
        self._shares = shares
        self._shown: Array = np.zeros((3, rows))
        self._joint = np.zeros(rows, dtype=np.uint8)
        self._rows = np.arange(rows)
        self._use = np.full(rows, -1.0)
        self.least = np.full(rows, np.inf)
        self.most = np.full(rows, -np.inf)
        self._value = np.zeros(rows)
        self._line = np.zeros(rows, dtype=np.int64)
        self._tick = np.zeros(rows, dtype=np.int64)

    def update(self, values: Array, least: Array, most: Array, setpoints: Setpoints) -> None:
        """Take a batch: ``values`` (k, n), their smallest and largest (k,) by row."""
        poses = setpoints.poses
        if ((least >= self.least) & (most <= self.most)).all():
            return
        np.minimum(self.least, least, out=self.least)
        np.maximum(self.most, most, out=self.most)
        use = np.maximum(self._band.use(least, self._rows), self._band.use(most, self._rows))
        worse = np.flatnonzero(use > self._use)
        at = np.array([np.abs(values[row] - self._band.centre[row]).argmax() for row in worse], dtype=np.int64)
        self._use[worse], self._value[worse] = use[worse], values[worse, at]
        self._line[worse], self._tick[worse] = poses.line[at], poses.tick[at]
        if self._shares is not None and len(worse):
            shown = self._shares.figures(worse, at, setpoints)
            self._shown[:, worse] = shown.value, shown.allowed, shown.use
            self._joint[worse] = shown.joint

    def rows(self, limit: Limit, period: float) -> list[Worst]:
        """Return one entry a row; none where no sample was seen. A value within the band uses at most 1."""
        band = self._band
        inside = ~band.outside(self._value[:, None])[:, 0]
        use = np.where(inside, np.minimum(self._use, 1.0), np.maximum(self._use, just_over()))
        shown, bound = band.shown(self._value), band.bound(self._value, self._rows)
        if self._shares is not None:
            shown, bound, own = self._shown
            use = np.where(inside, np.minimum(own, 1.0), np.maximum(own, use))
        return [
            Worst(
                limit=limit,
                strut=int(band.struts[i]),
                value=float(shown[i]),
                allowed=float(bound[i]),
                ratio=float(use[i]),
                line=int(self._line[i]),
                time=float(self._tick[i]) * period,
                joint=int(self._joint[i]),
            )
            for i in self._rows[self._use >= 0.0]
        ]
