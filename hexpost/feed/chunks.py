"""A grid cut into chunks that are computed side by side: which node stands where."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints

LEAST_ROWS = 8
"""Fewest nodes of a chunk."""
CHUNKS, MANY = 512, 300_000
"""Chunks of a grid; twice as many where it has many steps. Measured."""
TINY = 1e-300
"""Keeps a division of nothing by nothing in range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkLayout:
    """``nodes`` of a grid as ``chunks`` columns of ``rows`` + 1: the last of a column is the first of the next."""

    nodes: int
    chunks: int
    rows: int

    @classmethod
    def of(cls, nodes: int, chunks: int | None = None) -> "ChunkLayout":
        """Return the layout of a grid of at least two nodes; ``chunks`` by a rule of thumb if not given."""
        steps = nodes - 1
        if chunks is None:
            chunks = CHUNKS if steps < MANY else 2 * CHUNKS
        chunks = max(1, min(chunks, steps // LEAST_ROWS))
        return cls(nodes=nodes, chunks=chunks, rows=-(-steps // chunks))

    def index(self) -> Ints:
        """Return which node stands where, shape (rows + 1, chunks); the last node fills up what is left."""
        column = np.arange(self.chunks) * self.rows
        out: Ints = np.minimum(column + np.arange(self.rows + 1)[:, None], self.nodes - 1)
        return out

    def laid(self, x: Array) -> Array:
        """Return values per node (..., n) in this layout, shape (rows + 1, ..., chunks)."""
        index = self.index()
        out: Array = np.empty((self.rows + 1, *x.shape[:-1], self.chunks))
        for row in range(self.rows + 1):
            out[row] = x[..., index[row]]
        return out

    def flat(self, x: Array) -> Array:
        """Return values (rows + 1, chunks) per node, shape (n,)."""
        out: Array = np.empty(self.nodes)
        out[:-1] = np.ascontiguousarray(x[:-1].T).reshape(-1)[: self.nodes - 1]
        out[-1] = x[-1, -1]
        return out


def times(x: Array, step: float) -> Array:
    """Return when each node is reached, shape (n,): x changes evenly along the path between nodes."""
    v = np.sqrt(x)
    out: Array = np.zeros(len(x))
    np.cumsum(2 * step / np.maximum(v[1:] + v[:-1], TINY), out=out[1:])
    return out
