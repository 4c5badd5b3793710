"""The programmed contour in its plane: what compensated moves ask for, as columns."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Columns, Flags, Ints
from hexpost.moves.frames.book import SAME
from hexpost.moves.motion.steps import Steps
from hexpost.moves.window.modes import PLANES


@dataclass(frozen=True, slots=True, eq=False)
class Contour(Columns):
    """Moves with compensation on, shape (k,) or (2, k): their place among the moves, and their shape in the plane.

    ``chain`` counts the stretches between turning on and turning off. ``side`` is 1 with the tool left of the
    motion and -1 right of it, seen against the third axis of the plane; ``radius`` is that of the cutter. ``axis``
    (3, k) are the first, second and third axis of the plane. ``start``, ``end`` (2, k) lie in the plane;
    ``leave``, ``arrive`` (2, k) are unit tangents there. ``round`` marks arcs, with ``centre`` (2, k) and signed
    ``turn`` (0 for lines). ``flat`` marks moves that move in the plane.
    """

    move: Ints
    chain: Ints
    side: Array
    radius: Array
    axis: Ints
    start: Array
    end: Array
    leave: Array
    arrive: Array
    round: Flags
    centre: Array
    turn: Array
    flat: Flags

    @property
    def count(self) -> int:
        """Return the number of moves."""
        return len(self.move)


def contour(steps: Steps, move: Ints, side: Array, radius: Array, plane: Ints) -> Contour:
    """Return the shape of the moves ``move`` (k,), with side, cutter radius and plane (17, 18, 19) of each."""
    axis: Ints = np.array([PLANES[p] for p in (17, 18, 19)]).T[:, plane - 17]
    k = np.arange(len(move))
    start = np.stack([steps.start[axis[i], move] for i in range(2)])
    end = np.stack([steps.end[axis[i], move] for i in range(2)])
    turns = steps.turns
    slot = np.searchsorted(turns.move, move)
    slot[slot == len(turns.move)] = 0
    round_ = turns.move[slot] == move if len(turns.move) else np.zeros(len(move), dtype=np.bool_)
    turn, centre = np.zeros(len(move)), np.zeros((2, len(move)))
    some, slot = k[round_], slot[round_]
    turn[some] = turns.turn[slot]
    centre[:, some] = [turns.centre[axis[i, some], slot] for i in range(2)]
    along = end - start
    length = np.hypot(*along)
    flat = (length > SAME) | round_
    leave = along / np.where(length > 0.0, length, 1.0)
    arrive = leave.copy()
    for tangent, point in ((leave, start), (arrive, end)):
        tangent[:, some] = _tangent(point[:, some] - centre[:, some], turn[some])
    chain: Ints = np.cumsum(np.append(False, np.diff(move) > 1), dtype=np.int64)
    return Contour(move, chain, side, radius, axis, start, end, leave, arrive, round_, centre, turn, flat)


def normal(tangent: Array, side: Array) -> Array:
    """Return the unit normals (2, k) towards the tool."""
    out: Array = np.stack((-tangent[1], tangent[0])) * side
    return out


def cross(a: Array, b: Array) -> Array:
    """Return the third component of the cross product of vectors (2, k)."""
    out: Array = a[0] * b[1] - a[1] * b[0]
    return out


def dot(a: Array, b: Array) -> Array:
    """Return the scalar product of vectors (2, k)."""
    out: Array = a[0] * b[0] + a[1] * b[1]
    return out


def _tangent(spoke: Array, turn: Array) -> Array:
    """Return the unit tangents (2, k) of arcs where ``spoke`` (2, k) leads from the centre."""
    out: Array = np.stack((-spoke[1], spoke[0])) * (np.sign(turn) / np.hypot(*spoke))
    return out
