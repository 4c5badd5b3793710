"""Where to cut long straight blocks, so that few parts with a feed of their own save most time.

How fast each stretch of a block can be run is read off the strut-limited schedule. A cut costs a block more to look
through and one more change of speed, so it must save ``PAYS_S``; the cheapest choice of cuts is found exactly, by
dynamic programming over the stretches (textbook: segmented fit).
"""

import numpy as np

from hexpost.arrays import Array, Ints, among
from hexpost.moves.model import FEED_TIP, LINE
from hexpost.pipeline import Inputs, schedule
from hexpost.setpoints.sample import sample

STRETCH_MM = 10.0
"""Length of a stretch: cuts lie between them."""
MOST_STRETCHES = 50
PAYS_S = 0.1
"""A cut is made where it saves at least this much time."""


def cuts(inputs: Inputs, lines: list[int]) -> dict[int, Array]:
    """Return where to cut the moves of these ``lines``: shares of the way, rising, by index of the move.

    Only straight feed moves of lines that run once are cut, and only where it pays.
    """
    moves = inputs.meaning.moves
    count = np.bincount(moves.line, minlength=max(lines, default=0) + 1)
    once = among(moves.line, [x for x in lines if count[x] == 1])
    way = np.sqrt(((moves.end - moves.start)[:3] ** 2).sum(axis=0))
    parts = np.minimum(way / STRETCH_MM, MOST_STRETCHES).astype(np.int64)
    chosen = np.flatnonzero(once & (moves.kind == LINE) & (moves.feed_mode == FEED_TIP) & (parts > 1))
    if not len(chosen):
        return {}
    speeds = _speeds(inputs, chosen, parts[chosen])
    out = {}
    for k, speed in zip(chosen.tolist(), speeds, strict=True):
        at = _cheapest(way[k] / len(speed) / np.minimum(speed, moves.feed[k]))
        if len(at):
            out[k] = at / len(speed)
    return out


def _speeds(inputs: Inputs, chosen: Ints, parts: Ints) -> list[Array]:
    """Return the largest tip speed [mm/s] in each stretch of the ``chosen`` moves, in the strut-limited schedule."""
    moves, job = inputs.meaning.moves, schedule(inputs, "strut-limited")
    first = np.concatenate([[0], np.cumsum(parts)])
    out = np.zeros(first[-1])
    way = (moves.end - moves.start)[:3, chosen]
    for poses in sample(job.timing, job.path, moves):
        at = np.minimum(np.searchsorted(chosen, poses.move), len(chosen) - 1)
        here = np.flatnonzero(chosen[at] == poses.move)
        at = at[here]
        gone = poses.pose[:3, here] - moves.start[:3, chosen[at]]
        share = (gone * way[:, at]).sum(axis=0) / (way[:, at] ** 2).sum(axis=0)
        stretch = np.clip((share * parts[at]).astype(np.int64), 0, parts[at] - 1)
        np.maximum.at(out, first[at] + stretch, np.sqrt((poses.rate[:3, here] ** 2).sum(axis=0)))
    out[out <= 0.0] = np.inf  # run through between two samples
    return np.split(out, first[1:-1])


def _cheapest(seconds: Array) -> Ints:
    """Return before which stretches to cut; a part takes, stretch for stretch, as long as its slowest one alone."""
    n = len(seconds)
    cost, begin = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=np.int64)
    cost[0] = 0.0
    for end in range(1, n + 1):
        slowest = np.maximum.accumulate(seconds[:end][::-1])[::-1]  # of the stretches from each up to this end
        whole = cost[:end] + slowest * np.arange(end, 0, -1) + PAYS_S
        begin[end] = int(np.argmin(whole))
        cost[end] = whole[begin[end]]
    out = []
    at = int(begin[n])
    while at > 0:
        out.append(at)
        at = int(begin[at])
    return np.array(out[::-1], dtype=np.int64)
