"""Where in a job something is worst: line, time, and the worst blocks."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints, Lines

MOST_BLOCKS = 10
"""So many blocks are named, the worst ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstSpot:
    """The worst of something: its value, the line the tip is in, the time."""

    value: float = 0.0
    line: int = 0
    time: float = 0.0


def worse(known: WorstSpot, values: Array, line: Lines | Ints, time: Array) -> WorstSpot:
    """Return the first of the largest of values (n,), if it is above what is ``known``."""
    k = int(values.argmax())
    return (
        WorstSpot(value=float(values[k]), line=int(line[k]), time=float(time[k])) if values[k] > known.value else known
    )


class WorstBlocks:
    """Keeps the worst spot of each of the worst lines; memory does not grow with the job."""

    def __init__(self) -> None:
        self._known: dict[int, WorstSpot] = {}

    def add(self, values: Array, line: Lines | Ints, time: Array) -> None:
        """Take values (n,) that come in order; of a line that runs several times the worst run counts."""
        if not len(values):
            return
        first = np.append(0, np.flatnonzero(np.diff(line)) + 1)
        tops, lines = np.maximum.reduceat(values, first), line[first]
        order = np.lexsort((-tops, lines))
        best = order[np.append(True, np.diff(lines[order]) != 0)]
        for i in best[np.argsort(-tops[best], kind="stable")[:MOST_BLOCKS]].tolist():
            run = slice(int(first[i]), int(first[i + 1]) if i + 1 < len(first) else None)
            known = self._known.get(int(lines[i]), WorstSpot())
            self._known[int(lines[i])] = worse(known, values[run], line[run], time[run])
        self._known = {x.line: x for x in self.ranked()}

    def ranked(self) -> tuple[WorstSpot, ...]:
        """Return the worst spots above 0, the worst first, of equal ones the first line."""
        above = (x for x in self._known.values() if x.value > 0.0)
        return tuple(sorted(above, key=lambda x: (-x.value, x.line))[:MOST_BLOCKS])
