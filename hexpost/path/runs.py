"""Which moves may be joined to smooth curves: runs of short straight moves, and what is beside them."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_TILT, FEED_TIP, Moves
from hexpost.path.arc import TINY
from hexpost.path.bounds import blocks
from hexpost.path.chain import Chain, chain, with_reversals
from hexpost.path.corner import CORNER_SHARE
from hexpost.path.joints import Tolerances, joints
from hexpost.path.model import ToolPath

WINDOW = 65_536
"""Moves that are looked at at once."""
SHORT = 0.5
"""A line no longer than this, mm, may belong to a chain at any rate; longer ones if their corners take them whole."""
SPARE = 0.95
"""... with this share of what would just do."""
FEWEST = 5
"""Fewest such lines in a row that are a chain."""
BESIDE = 0.98
"""Share of what the corner of a line, as programmed, would take that the corner of a chain beside it may take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinesBeside:
    """The ends (6,) of what corners may take of the straight lines before and behind a chain; ``None`` at rest.

    ``first`` and ``last`` (6,): where the chain begins and ends, if the path has moved that from its programmed place.
    """

    before: Array | None
    after: Array | None
    first: Array | None = None
    last: Array | None = None


def runs(moves: Moves, machine: Machine, low: int, high: int) -> list[tuple[int, int]]:
    """Return the chains among moves ``low`` to ``high`` (left out), which end at rest: first and last of each.

    They are runs of at least ``FEWEST`` straight moves at one kind of feed, not beside arcs, each short or taken whole
    by the corners at its ends.
    """
    limits = machine.tool_tip
    tolerances = Tolerances(tip=limits.corner_tolerance, tilt=limits.corner_tolerance_tilt)
    loose, stop = np.zeros(high - low, dtype=np.bool_), np.zeros(high - low, dtype=np.bool_)
    for begin in range(low, high, WINDOW):
        a, b = max(begin - 2, low), min(begin + WINDOW + 2, high)
        own = slice(begin - a, min(begin + WINDOW, high) - a)
        c = with_reversals(chain(moves.part(a, b), tolerances.rho), tolerances, machine.tilt_order)
        part = slice(begin - low, min(begin + WINDOW, high) - low)
        loose[part], stop[part] = _loose(c, tolerances)[own], c.stop[own]
    mode = moves.feed_mode[low:high]
    loose &= (mode == FEED_TIP) | (mode == FEED_TILT)
    loose[1:] &= stop[:-1] | (mode[1:] == mode[:-1])
    new = np.concatenate([[True], stop[:-1] | (loose[1:] != loose[:-1])])
    first = np.flatnonzero(new)
    last = np.append(first[1:], high - low) - 1
    good = loose[first] & (last - first + 1 >= FEWEST)
    return [(low + int(a), low + int(b)) for a, b in zip(first[good], last[good], strict=True)]


def _loose(c: Chain, tolerances: Tolerances) -> Flags:
    """Return which moves (n,) of a chain may belong to a smooth curve."""
    n = c.length.size
    room = np.zeros(n + 1)
    for i in blocks(max(n - 1, 0)):
        j = joints(c.tangent, c.circles, i)
        tip, tilt = np.full(i.size, tolerances.tip), np.full(i.size, tolerances.tilt)
        room[i + 1] = np.where(c.stop[i], 0.0, j.reach(tip, tilt))
    near_arc = c.curved.copy()
    near_arc[1:] |= c.curved[:-1]
    near_arc[:-1] |= c.curved[1:]
    whole = SPARE * np.minimum(room[:-1], room[1:]) > c.length
    out: Flags = ((c.length <= SPARE * SHORT) | whole) & ~near_arc
    return out


def beside(path: ToolPath, moves: Moves, first: int, last: int, machine: Machine) -> LinesBeside:
    """Return what corners may take of the lines beside the chain of moves ``first`` to ``last``."""
    limits = machine.tool_tip
    out: list[Array | None] = []
    ends: list[Array | None] = []
    low = path.span_first[np.searchsorted(path.span_first, np.searchsorted(path.move, first), "right") - 1]
    before = first > path.move[low]
    k = int(np.searchsorted(path.move, last, "right"))
    after = last + 1 < moves.count and k not in path.span_first
    for there, i, line, at_end in ((before, first - 1, first - 1, True), (after, last, last + 1, False)):
        ends.append(path.end[:, i] if there and path.moved[line] else None)
        if not there:
            out.append(None)
            continue
        jump = _tangent(moves, i + 1, path.rho) - _tangent(moves, i, path.rho)
        sizes = np.sqrt((jump[:3] ** 2).sum()), path.rho * np.sqrt((jump[3:] ** 2).sum())
        reach = limits.corner_tolerance / (CORNER_SHARE * max(*sizes, TINY))
        length = float(path.length[line])
        d = BESIDE * min(reach, 0.5 * length)
        if path.moved[line]:
            out.append(path.end[:, i] + (-d if at_end else d) * path.tangent[:, line])
            continue
        share = 1.0 - d / length if at_end else d / length
        out.append(moves.start[:, line] + share * (moves.end[:, line] - moves.start[:, line]))
    return LinesBeside(before=out[0], after=out[1], first=ends[0], last=ends[1])


def _tangent(moves: Moves, move: int, rho: float) -> Array:
    """Return the direction (6,) of a line by the path parameter."""
    d = moves.end[:, move] - moves.start[:, move]
    out: Array = d / max(float(np.sqrt((d[:3] ** 2).sum() + rho**2 * (d[3:] ** 2).sum())), TINY)
    return out
