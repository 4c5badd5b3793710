"""Findings as they come in: runs go on over the borders of batches, and only so many of each limit are kept."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import distinct
from hexpost.audit.model import LIMITS, RUN, Dropped, Findings, Limits, Runs

KEPT = 100_000
"""So many of the worst findings of each limit are kept, 102 bytes each; a flood of one pushes out none of another."""

SPARE = 1.5
"""The mildest are dropped when there are so many times too many."""

LOOSE = 256
"""So many small arrays are kept before they are put together."""


@dataclass(slots=True)
class Store:
    """Closed runs of each limit, and for each limit and strut the run that may go on in the next batch."""

    kept: int = KEPT
    _rooms: dict[int, "_OfLimit"] = field(default_factory=dict)
    _open: dict[tuple[int, int], Runs] = field(default_factory=dict)

    def add(self, runs: Runs, last_tick: int) -> None:
        """Take the ``runs`` of one limit in a batch that ends with ``last_tick``, by strut, then by time."""
        limit, strut = int(runs["limit"][0]), runs["strut"]
        runs = runs.copy()
        for i in np.flatnonzero(np.diff(strut, prepend=255)):
            before = self._open.pop((limit, int(strut[i])), None)
            if before is not None:
                self._join(before, runs[i : i + 1])
        going_on = runs["end"] == last_tick
        for i in np.flatnonzero(going_on):
            self._open[limit, int(strut[i])] = runs[i : i + 1].copy()
        self._close(runs[~going_on])

    def put(self, runs: Runs) -> None:
        """Take ``runs`` that are whole."""
        self._close(runs)

    def findings(self, period: float, limits: Limits = LIMITS) -> Findings:
        """Return the findings, worst first; equal ones by time, line, limit and strut."""
        for run in self._open.values():
            self._close(run)
        self._open.clear()
        for room in self._rooms.values():
            room.prune(self.kept)
        runs = np.concatenate([np.zeros(0, dtype=RUN), *(x for room in self._rooms.values() for x in room.closed)])
        order = np.lexsort((runs["strut"], runs["limit"], runs["line"], runs["start"], -runs["ratio"]))
        return Findings(runs=runs[order], limits=limits, period=period)

    def dropped(self, limits: Limits = LIMITS) -> tuple[Dropped, ...]:
        """Return what did not find room, by limit."""
        return tuple(
            Dropped(limit=limits[code].name, count=room.dropped, most_ratio=room.mildest)
            for code, room in sorted(self._rooms.items())
            if room.dropped
        )

    def _join(self, before: Runs, run: Runs) -> None:
        """Let ``run`` (1,) begin with ``before`` (1,) if it goes on from it, else close ``before``."""
        if before["end"][0] + 1 != run["start"][0] or before["line"][0] != run["line"][0]:
            self._close(before)
            return
        run["start"] = before["start"]
        for name in ("own_feed", "margin_feed"):
            run[name] = before[name] = np.fmin(run[name], before[name])
        if before["ratio"][0] >= run["ratio"][0]:
            end = run["end"].copy()
            run[:] = before
            run["end"] = end

    def _close(self, runs: Runs) -> None:
        """Keep whole ``runs``, each in the room of its limit."""
        codes = runs["limit"]
        for code in distinct(codes):
            of_limit = runs[codes == code]
            self._rooms.setdefault(int(code), _OfLimit()).take(of_limit, self.kept)


@dataclass(slots=True)
class _OfLimit:
    """The findings of one limit: those kept, how many there are, how many are gone, and the mildest of a full room."""

    closed: list[Runs] = field(default_factory=list)
    count: int = 0
    dropped: int = 0
    mildest: float = np.inf

    def take(self, runs: Runs, kept: int) -> None:
        """Keep ``runs``; drop the mildest when there are too many."""
        self.closed.append(runs)
        self.count += len(runs)
        if self.count > SPARE * kept:
            self.prune(kept)
        elif len(self.closed) > LOOSE:
            self.closed = [np.concatenate(self.closed)]

    def prune(self, kept: int) -> None:
        """Drop what is too much, the mildest."""
        if self.count <= kept:
            return
        runs = np.concatenate(self.closed)
        order = np.lexsort((runs["strut"], runs["line"], runs["start"], -runs["ratio"]))
        self.dropped += len(runs) - kept
        self.closed = [runs[order[:kept]]]
        self.count = kept
        self.mildest = float(self.closed[0]["ratio"][-1])
