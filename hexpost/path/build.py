"""Moves to a path: lengths, stops, smoothed chains, corners, pieces."""

import numpy as np

from hexpost.arrays import Array, Codes, Lines
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.bounds import blocks
from hexpost.path.chain import Chain, Cuts, chain, cut, with_reversals
from hexpost.path.corner import hermite
from hexpost.path.dense import carried, free_vertices, without_noise
from hexpost.path.joined import Joined
from hexpost.path.joints import Tolerances
from hexpost.path.model import CORNER, QUINTIC, REST, ROUND, ToolPath
from hexpost.shelf import let_go

WINDOW = 65_536
"""Moves that are built at once."""
HALO = 64
"""Moves about them that are looked at, too: a vertex freed of noise is felt 26 moves away, a corner one or two."""


def build(moves: Moves, machine: Machine) -> ToolPath:
    """Return the path of ``moves``: corners of continuous mode rounded within the corner tolerances of ``machine``.

    The tool rests at the ends of moves that say so and where it turns back. Between stops the path is twice
    continuously differentiable; it passes through the end of every span exactly. Long programs are built in windows.
    """
    out = Joined(moves.count)
    for low in range(0, max(moves.count, 1), WINDOW):
        high = min(low + WINDOW, moves.count)
        before = min(low, HALO)
        part = moves.part(low - before, min(high + HALO, moves.count))
        out.add(_window(part, machine), (before, before + high - low))
        let_go()
    return out.whole()


def _window(moves: Moves, machine: Machine) -> ToolPath:
    """Return the path of moves as if there were no others."""
    limits = machine.tool_tip
    tolerances = Tolerances(tip=limits.corner_tolerance, tilt=limits.corner_tolerance_tilt)
    c = with_reversals(chain(moves, tolerances.rho), tolerances, machine.tilt_order)
    cuts = cut(c, tolerances)
    free = free_vertices(c, cuts, tolerances.rho)
    if free.any():
        c = without_noise(c, free, tolerances)
        cuts = cut(c, tolerances)
    return _pieces(c, cuts, carried(c, cuts, tolerances.rho), tolerances.rho, machine.tilt_order)


def _pieces(c: Chain, cuts: Cuts, bend: Array, rho: float, order: str) -> ToolPath:
    """Return the path: the rest of each move and the corner at its end, where there are such."""
    n = c.length.size
    size = np.stack([c.length - cuts.first - cuts.last, cuts.last + np.append(cuts.first[1:], 0.0)[:n]], axis=1)
    offset = np.stack([cuts.first - c.length, -cuts.last], axis=1)
    kind: Codes = np.empty((n, 2), dtype=np.uint8)
    kind[:, 0] = np.where(c.curved, ROUND, REST)
    kind[:, 1] = CORNER
    kind[:-1, 1][c.curved[1:] | c.curved[:-1]] = QUINTIC
    keep = (size > 0.0).ravel()
    move = np.repeat(np.arange(n, dtype=np.int32), 2)[keep]
    pieces = np.concatenate([[0], np.cumsum(keep.reshape(n, 2).sum(1))])
    kept = kind.ravel()[keep]
    sizes = size.ravel()[keep]
    slot: Lines = np.zeros(kept.size, dtype=np.int32)
    at = np.flatnonzero(kept == ROUND)
    slot[at] = np.searchsorted(c.circles.move, move[at])
    at = np.flatnonzero(kept == QUINTIC)
    slot[at] = np.arange(at.size)
    return ToolPath(
        kind=kept,
        move=move,
        offset=offset.ravel()[keep],
        size=sizes,
        s0=np.concatenate([[0.0], np.cumsum(sizes)]),
        slot=slot,
        span_first=np.concatenate([[0], pieces[1:][c.stop]]),
        end=c.end,
        tangent=c.tangent,
        bend=bend,
        length=c.length,
        moved=c.moved,
        circles=c.circles,
        quintics=_quintics(c, cuts, move[at]),
        rho=rho,
        order=order,
    )


def _quintics(c: Chain, cuts: Cuts, move: Lines) -> Array:
    """Return the corners behind moves ``move`` (q,) with an arc on a side: coefficients (6 powers of u/size, 6, q)."""
    out: Array = np.empty((6, 6, move.size))
    for x in blocks(move.size):
        i = move[x]
        d1, d2 = cuts.last[i], cuts.first[i + 1]
        left, right = _side(c, i, -d1, at_end=True), _side(c, i + 1, d2, at_end=False)
        quintic = hermite(left, right, d1 + d2)
        quintic[0] += c.end[:, i]
        out[:, :, x] = quintic
    return out


def _side(c: Chain, i: Lines, w: Array, *, at_end: bool) -> list[Array]:
    """Return q, q', q'' (6, m) of moves ``i`` at ``w`` from their end or start, q counted from there."""
    t = c.tangent.take(i, axis=1)
    q = [t * w, t, np.zeros_like(t)]
    at = np.flatnonzero(c.curved[i])
    k = np.searchsorted(c.circles.move, i[at])
    swing = c.circles.from_end if at_end else c.circles.from_start
    for whole, tip in zip(q, swing.displacement(k, w[at], 2), strict=True):
        whole[:3, at] = tip
    return q
