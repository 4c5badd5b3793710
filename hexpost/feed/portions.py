"""A long job in portions of whole spans: what planning takes beside its result does not grow."""

from itertools import pairwise
from typing import Any

import numpy as np

from hexpost import shelf
from hexpost.feed.model import Pauses, Timing
from hexpost.feed.ramps import Rests
from hexpost.path.model import Path

PORTION = 100_000
"""Fewest pieces of a portion, but at the end and before a long span."""
LONG = 65_536
"""A span of so many pieces is a portion of its own."""


def portions(path: Path) -> list[tuple[int, int]]:
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
    return Rests(span=rests.span[here] - a, ticks=rests.ticks[here], line=rests.line[here], begin=begin)


def joined(parts: list[Timing]) -> Timing:
    """Return the timing of portions that follow each other as one."""
    if len(parts) == 1:
        return parts[0]

    names = ("t", "s", "v", "u", "cause", "end", "s_end", "window", "programmed")
    columns: dict[str, Any] = {name: shelf.joined([getattr(p, name) for p in parts]) for name in names}
    return Timing(
        **columns,
        period=parts[0].period,
        first=np.concatenate([[0], np.cumsum(np.concatenate([np.diff(p.first) for p in parts]))]),
        start=np.concatenate([*(p.start[:-1] for p in parts), parts[-1].start[-1:]]),
        pauses=Pauses(
            start=np.concatenate([p.pauses.start for p in parts]),
            end=np.concatenate([p.pauses.end for p in parts]),
            line=np.concatenate([p.pauses.line for p in parts]),
        ),
    )
