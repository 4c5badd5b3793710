"""A long job in portions of whole spans: what planning takes beside its result does not grow."""

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hexpost.arrays import Ints
from hexpost.feed.model import Pauses, Timing
from hexpost.feed.ramps import Rests
from hexpost.path.model import ToolPath
from hexpost.shelf import Growing, let_go

PORTION = 32_768
"""Fewest pieces of a portion, but at the end and before a long span."""
LONG = 65_536
"""A span of so many pieces is a portion of its own."""


def portions(path: ToolPath) -> list[tuple[int, int]]:
    """Return the first span of each portion, and the one behind its last."""
    first = path.span_first
    cuts = [0]
    for long in [*np.flatnonzero(np.diff(first) >= LONG).tolist(), len(first) - 1]:
        while int(first[long] - first[cuts[-1]]) >= 2 * PORTION:
            cut = int(np.searchsorted(first, first[cuts[-1]] + PORTION))
            if first[long] - first[cut] < PORTION:
                break
            cuts.append(cut)
        cuts += [long, long + 1]
    return [(a, b) for a, b in pairwise(cuts[:-1]) if b > a] or [(0, 0)]


def rests_of(rests: Rests, a: int, b: int, begin: int) -> Rests:
    """Return the dwells after spans ``a`` to ``b`` (left out), which start at tick ``begin``; a -1 goes with span 0."""
    here = (rests.span >= (a or -1)) & (rests.span < b)
    return rests.take(here, span=rests.span[here] - a, begin=begin)


class Portions:
    """Timings of portions that follow each other, taken in one by one; ``pieces`` in all."""

    def __init__(self, pieces: int) -> None:
        self._period = 0.0
        self._columns = {name: Growing(pieces + pieces // 8) for name in ("t", "s", "v", "u", "cause", "programmed")}
        self._spans: dict[str, list[NDArray[Any]]] = {name: [] for name in ("end", "s_end", "window")}
        self._first: list[Ints] = [np.zeros(1, dtype=np.int64)]
        self._start: list[Ints] = []
        self._pauses: list[Pauses] = []
        self._count = 0
        self._only: Timing | None = None

    def add(self, part: Timing) -> None:
        """Take in the next one; the first is copied when there is a second."""
        self._count += 1
        if self._count == 1:
            self._only = part
            return
        if self._only is not None:
            self._take(self._only)
            self._only = None
        self._take(part)

    def _take(self, part: Timing) -> None:
        self._period = part.period
        for name, column in self._columns.items():
            column.add(getattr(part, name))
        for name, values in self._spans.items():
            values.append(getattr(part, name))
        self._first.append(part.first[1:] + self._first[-1][-1])
        self._start.append(part.start)
        self._pauses.append(part.pauses)
        let_go()

    def whole(self) -> Timing:
        """Return all as one; of one it is that one."""
        if self._only is not None:
            return self._only
        columns: dict[str, Any] = {name: column.whole() for name, column in self._columns.items()}
        spans: dict[str, Any] = {name: np.concatenate(values) for name, values in self._spans.items()}
        return Timing(
            **columns,
            **spans,
            period=self._period,
            first=np.concatenate(self._first),
            start=np.concatenate([*(x[:-1] for x in self._start), self._start[-1][-1:]]),
            pauses=Pauses.joined(self._pauses),
        )
