"""Findings as they come in: runs go on over the borders of batches, and only so many are kept."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.audit.model import LIMITS, RUN, Findings, Limits, Runs

KEPT = 250_000
"""So many of the worst findings are kept, 60 bytes each; nobody reads on beyond them."""

LOOSE = 256
"""So many small arrays are kept before they are put together."""


@dataclass(slots=True)
class Store:
    """Closed runs, and for each limit and strut the run that may go on in the next batch."""

    kept: int = KEPT
    dropped: int = 0
    _closed: list[Runs] = field(default_factory=list)
    _count: int = 0
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
        self._prune()
        found = self._closed[0] if self._closed else np.zeros(0, dtype=RUN)
        return Findings(runs=found, limits=limits, period=period)

    def _join(self, before: Runs, run: Runs) -> None:
        """Let ``run`` (1,) begin with ``before`` (1,) if it goes on from it, else close ``before``."""
        if before["end"][0] + 1 != run["start"][0] or before["line"][0] != run["line"][0]:
            self._close(before)
            return
        run["start"] = before["start"]
        if before["ratio"][0] >= run["ratio"][0]:
            end = run["end"].copy()
            run[:] = before
            run["end"] = end

    def _close(self, runs: Runs) -> None:
        """Keep whole ``runs``; drop the mildest when there are twice too many."""
        if not len(runs):
            return
        self._closed.append(runs)
        self._count += len(runs)
        if self._count > 2 * self.kept:
            self._prune()
        elif len(self._closed) > LOOSE:
            self._closed = [np.concatenate(self._closed)]

    def _prune(self) -> None:
        """Sort what is kept, worst first, and drop what is too many."""
        if not self._closed:
            return
        runs = np.concatenate(self._closed)
        order = np.lexsort((runs["strut"], runs["limit"], runs["line"], runs["start"], -runs["ratio"]))
        self.dropped += max(len(runs) - self.kept, 0)
        self._closed = [runs[order[: self.kept]]]
        self._count = len(self._closed[0])
