"""Rows of the table beside the moves of the program: which row is on which move, and how far from it."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.verify.model import Faults
from hexpost.verify.pose import Poses
from hexpost.verify.route import Route
from hexpost.verify.rows import Rows

ROUNDING_MM = 0.5e-6
"""A length in the table is off by at most half of its last decimal."""
_BRIDGE = 64
"""Groups of moves that may lie between two rows: moves shorter than a tick."""
_MOST_CANDIDATES = 64
CLOSE = 0.01
"""Share of the tolerances within which a row is on a move without a look at its neighbours."""


@dataclass(slots=True)
class Largest:
    """The largest of something so far: its size, the row, and the program line."""

    size: float = 0.0
    row: int = 0
    line: int = 0

    def take(self, sizes: Array, rows: Rows, at: Ints | None = None) -> None:
        """Look at the sizes (n,) of rows of a block (all, or those ``at``)."""
        if len(sizes):
            k = int(sizes.argmax())
            if sizes[k] > self.size:
                i = k if at is None else int(at[k])
                self.size, self.row, self.line = float(sizes[k]), rows.first + i, int(rows.line[i])


@dataclass(slots=True)
class Follower:
    """Gives every row its moves, in the order of the program, and remembers the worst distance from them."""

    moves: Moves
    machine: Machine
    axis_only: bool = False
    route: Route = field(init=False)
    faults: Faults = field(default_factory=Faults)
    tip: Largest = field(default_factory=Largest)
    tilt: Largest = field(default_factory=Largest)
    ends: Largest = field(default_factory=Largest)
    _first: Ints = field(init=False)
    _lines: list[int] = field(init=False)
    _group: int = 0
    _closest: Array = field(init=False)
    _closest_row: Ints = field(init=False)
    _seen: Flags = field(init=False)

    def __post_init__(self) -> None:
        """Cut the moves into groups of neighbours with one line."""
        line = self.moves.line.astype(np.int64)
        self._first = np.flatnonzero(np.append(True, line[1:] != line[:-1])) if len(line) else np.zeros(0, np.int64)
        self._lines = line[self._first].tolist()
        self._first = np.append(self._first, len(line))
        self.route = Route(self.moves, self.machine, axis_only=self.axis_only)
        self._closest = np.full(self.moves.count, np.inf)
        self._closest_row = np.zeros(self.moves.count, dtype=np.int64)
        self._seen = np.zeros(len(self._lines), dtype=bool)

    def groups(self, rows: Rows) -> Ints:
        """Return the group of moves of each new row (n,); a dwell's rows stay in the group before."""
        line = rows.line[rows.new]
        cut = np.flatnonzero(np.append(True, line[1:] != line[:-1]))
        out = np.empty(len(line), dtype=np.int64)
        for start, end, number in zip(cut, [*cut[1:], len(line)], line[cut].tolist(), strict=True):
            out[start:end] = self._next(number)
        self._seen[out] = True
        return out

    def _next(self, line: int) -> int:
        """Return the group that a row of ``line`` is in, the nearest one from the last on."""
        for k in range(self._group, min(self._group + _BRIDGE, len(self._lines))):
            if self._lines[k] == line:
                self._group = k
                break
        return self._group

    def measure(self, rows: Rows, poses: Poses, group: Ints, rounding: float) -> None:
        """Take the distances of the new rows; ``rounding`` mm is what the decimals of the table may add."""
        new = np.arange(rows.old, len(rows.micros))
        first, last = self._first[group], self._first[group + 1] - 1
        tools = self.machine.tool_tip
        allowed = (tools.corner_tolerance + rounding, tools.corner_tolerance_tilt + rounding / 100.0)
        best = np.full(len(group), np.inf)
        found = np.zeros((2, len(group)))
        span = min(int((last - first).max()) + 2, _MOST_CANDIDATES)
        for step in (0, *range(1, span), -1):
            move = first + step
            here = (move >= 0) & (move <= last + 1) & (move < self.moves.count)
            self._reach(rows, np.flatnonzero(here), move, poses)
            at = np.flatnonzero(here & (best > CLOSE))
            if not at.size:
                continue
            t, r = poses.t[at], poses.r[at]
            d = self.route.distance(t, r, move[at])
            use = np.maximum(d[0] / allowed[0], d[1] / allowed[1])
            better = use < best[at]
            best[at[better]], found[0, at[better]], found[1, at[better]] = use[better], d[0][better], d[1][better]
        self.tip.take(found[0], rows, new)
        self.tilt.take(found[1], rows, new)
        for i in np.flatnonzero(best > 1.0):
            row = rows.first + rows.old + int(i)
            text = f"{found[0, i]:.6f} mm and {np.degrees(found[1, i]):.6f} deg off the programmed path"
            self.faults.add(
                f"row {row} ({rows.micros[rows.old + i] / 1e6:.6f} s, line {rows.line[rows.old + i]}): {text}"
            )

    def _reach(self, rows: Rows, at: Ints, move: Ints, poses: Poses) -> None:
        """Remember how near the tool came, at the new rows ``at``, to the ends of moves (n,) that end at rest."""
        at = at[self.moves.stop[move[at]]]
        if not at.size:
            return
        d, turn = self.route.from_end(poses.t[at], poses.r[at], move[at])
        size = np.maximum(d, turn * 100.0)
        order = np.lexsort((-np.arange(len(at)), -size))
        k = move[at][order]
        nearer = size[order] < self._closest[k]
        self._closest[k[nearer]] = size[order][nearer]
        self._closest_row[k[nearer]] = rows.first + rows.old + at[order][nearer]

    def cutting(self, group: Ints) -> Flags:
        """Return whether the rows of groups (n,) are on feed moves."""
        out: Flags = self.moves.feed_mode[self._first[group]] != FEED_RAPID
        return out

    def first_move(self, group: Ints) -> Ints:
        """Return the first moves of groups (n,)."""
        return self._first[group]

    def last_move(self, group: Ints) -> Ints:
        """Return the last moves of groups (n,)."""
        out: Ints = self._first[group + 1] - 1
        return out

    def finish(self, rounding: float, period: float) -> None:
        """Find moves that no row is on though they are longer than a tick, and stops that the tool never came to."""
        unseen = self._first[np.flatnonzero(~self._seen)]
        tick = self.machine.tool_tip.speed * period + 2.0 * self.machine.tool_tip.corner_tolerance
        for k in unseen[self.route.lengths(unseen) > tick]:
            self.faults.add(f"line {self.moves.line[k]}: no row of the table is on its move")
        stops = np.flatnonzero(self.moves.stop)
        for k in stops[np.isfinite(self._closest[stops]) & (self._closest[stops] > rounding)]:
            how = f"{self._closest[k]:.6f} mm away at the nearest"
            self.faults.add(f"line {self.moves.line[k]}: the tool never comes to the end of its move: {how}")
        if stops.size and np.isfinite(self._closest[stops]).all():
            k = stops[int(self._closest[stops].argmax())]
            self.ends.size, self.ends.line = float(self._closest[k]), int(self.moves.line[k])
            self.ends.row = int(self._closest_row[k])
