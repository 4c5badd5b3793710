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


def worst_blocks(known: dict[int, WorstSpot], values: Array, line: Lines | Ints, time: Array) -> dict[int, WorstSpot]:
    """Return the worst spot of each of the worst lines, by line: those that are ``known``, and values (n,) in turn."""
    out = dict(known)
    first = np.append(0, np.flatnonzero(np.diff(line)) + 1)
    tops = np.maximum.reduceat(values, first)
    for i in np.argsort(-tops, kind="stable")[:MOST_BLOCKS].tolist():
        end = first[i + 1] if i + 1 < len(first) else len(values)
        k = int(first[i]) + int(values[first[i] : end].argmax())
        spot = WorstSpot(value=float(values[k]), line=int(line[k]), time=float(time[k]))
        if spot.value > out.get(spot.line, WorstSpot()).value:
            out[spot.line] = spot
    return {x.line: x for x in sorted(out.values(), key=lambda x: -x.value)[:MOST_BLOCKS]}
