"""Windows of a path, one after the other, as one path."""

from typing import Any

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.path.arc import Circles
from hexpost.path.model import QUINTIC, ROUND, ToolPath
from hexpost.shelf import Growing, joined

OF_PIECES = ("kind", "move", "offset", "size", "slot")
OF_MOVES = ("end", "tangent", "bend", "length", "moved")


class Joined:
    """Takes in the paths of windows of moves, of which each gives the moves of its middle; ``moves`` in all."""

    def __init__(self, moves: int) -> None:
        self._columns = {name: Growing(2 * moves) for name in OF_PIECES} | {name: Growing(moves) for name in OF_MOVES}
        self._s0 = Growing(2 * moves + 1)
        self._s0.add(np.zeros(1))
        self._spans: list[Ints] = [np.zeros(1, dtype=np.int64)]
        self._circles: list[Circles] = []
        self._quintics: list[Array] = []
        self._moves = self._pieces = self._arcs = self._bends = 0
        self._s, self._rho, self._order = 0.0, 0.0, "ABC"

    def add(self, part: ToolPath, own: tuple[int, int]) -> None:
        """Take in moves ``own`` (first, and one behind the last) of a window."""
        low, high = own
        a, b = (int(k) for k in np.searchsorted(part.move, own))
        kind, slot = part.kind[a:b], part.slot[a:b].copy()
        first, last = (int(k) for k in np.searchsorted(part.circles.move, own))
        bent = np.flatnonzero(kind == QUINTIC)
        ahead = int((part.kind[:a] == QUINTIC).sum())
        slot[kind == ROUND] += self._arcs - first
        slot[bent] += self._bends - ahead
        pieces = {"kind": kind, "move": part.move[a:b] + np.int32(self._moves - low), "slot": slot}
        for name in OF_PIECES:
            self._columns[name].add(pieces.get(name, getattr(part, name)[a:b]))
        for name in OF_MOVES:
            self._columns[name].add(getattr(part, name)[..., low:high])
        s = np.cumsum(np.concatenate([[self._s], part.size[a:b]]))
        self._s0.add(s[1:])
        ends = part.span_first[(part.span_first > a) & (part.span_first <= b)]
        self._spans.append(ends + (self._pieces - a))
        self._circles.append(
            part.circles.take(slice(first, last), move=part.circles.move[first:last] + (self._moves - low))
        )
        self._quintics.append(part.quintics[:, :, ahead : ahead + len(bent)])
        self._moves, self._pieces = self._moves + high - low, self._pieces + b - a
        self._arcs, self._bends = self._arcs + last - first, self._bends + len(bent)
        self._s, self._rho, self._order = float(s[-1]), part.rho, part.order

    def whole(self) -> ToolPath:
        """Return the path."""
        columns: dict[str, Any] = {name: column.whole() for name, column in self._columns.items()}
        return ToolPath(
            **columns,
            s0=self._s0.whole(),
            span_first=np.concatenate(self._spans),
            circles=Circles.joined(self._circles),
            quintics=joined(self._quintics),
            rho=self._rho,
            order=self._order,
        )
