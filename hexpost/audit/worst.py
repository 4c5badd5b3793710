"""The worst use of each limit by each strut over a job, clean or broken."""

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import Band, Figures, Shares
from hexpost.audit.model import Worst
from hexpost.audit.runs import JUST_OVER
from hexpost.setpoints.model import Setpoints


class WorstUse:
    """The running worst of one limit, row by row; the first sample of the job wins among equals."""

    def __init__(self, band: Band, shares: Shares | None = None) -> None:
        rows = len(band.struts)
        self._band = band
        self._shares = shares
        self._shown: list[Figures | None] = [None] * rows
        self._rows = np.arange(rows)
        self._use = np.full(rows, -1.0)
        self._least = np.full(rows, np.inf)
        self._most = np.full(rows, -np.inf)
        self._value = np.zeros(rows)
        self._line = np.zeros(rows, dtype=np.int64)
        self._tick = np.zeros(rows, dtype=np.int64)

    def update(self, values: Array, least: Array, most: Array, setpoints: Setpoints) -> None:
        """Take a block: ``values`` (k, n), their smallest and largest (k,) by row."""
        poses = setpoints.poses
        if ((least >= self._least) & (most <= self._most)).all():
            return
        np.minimum(self._least, least, out=self._least)
        np.maximum(self._most, most, out=self._most)
        use = np.maximum(self._band.use(least, self._rows), self._band.use(most, self._rows))
        for row in np.flatnonzero(use > self._use):
            at = int(np.abs(values[row] - self._band.centre[row]).argmax())
            self._use[row], self._value[row] = use[row], values[row, at]
            self._line[row], self._tick[row] = poses.line[at], poses.tick[at]
            if self._shares is not None:
                self._shown[row] = self._shares.figures(np.array([row]), np.array([at]), setpoints)

    def rows(self, period: float) -> list[Worst]:
        """Return one entry a row; none where no sample was seen. A value within the band uses at most 1."""
        band = self._band
        inside = ~band.outside(self._value[:, None])[:, 0]
        use = np.where(inside, np.minimum(self._use, 1.0), np.maximum(self._use, JUST_OVER))
        shown, bound = band.shown(self._value).copy(), band.bound(self._value, self._rows)
        for i, figures in enumerate(self._shown):
            if figures is not None:
                shown[i], bound[i] = figures.value[0], figures.allowed[0]
                use[i] = min(figures.use[0], 1.0) if inside[i] else max(figures.use[0], use[i])
        return [
            Worst(
                limit=band.limit,
                strut=int(band.struts[i]),
                value=float(shown[i]),
                allowed=float(bound[i]),
                ratio=float(use[i]),
                line=int(self._line[i]),
                time=float(self._tick[i]) * period,
                joint=0 if (figures := self._shown[i]) is None else int(figures.joint[0]),
            )
            for i in self._rows[self._use >= 0.0]
        ]
