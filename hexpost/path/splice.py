"""A path with the pieces of some chains exchanged for those of their smooth curves."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hexpost.arrays import Array, Flags
from hexpost.path.corner import hermite
from hexpost.path.model import CORNER, CURVE, EDGE, REST, Ends, ToolPath
from hexpost.shelf import Growing, joined, running_sum

Columns = dict[str, NDArray[Any]]
NAMES = ("kind", "move", "offset", "size", "slot")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SmoothCurve:
    """The curve of moves ``first`` to ``last``: parameter ``s`` (k,) and ``state`` (3, 6, k) of its knots.

    ``state``: place and two derivatives by ``s``, angles in rad. ``corner`` (k - 1,): which pieces are rounded corners.
    ``ends`` (n,): the parameter at the end of each move, as the programmed polyline runs along it. ``before`` and
    ``after``: how far the curve begins before the start of the first move, and ends behind the last one, on the lines
    beside. ``off``: bounds of its distance from the program, tip [mm] and tilt [rad].
    """

    first: int
    last: int
    s: Array
    state: Array
    corner: Flags
    ends: Array
    before: float
    after: float
    off: tuple[float, float]


class CurveStore:
    """Holds curves of a program of ``moves``, each column of all in one block, in a file where that is long."""

    def __init__(self, moves: int) -> None:
        self._moves = moves
        self._s, self._state, self._corner, self._ends = (Growing(1) for _ in range(4))
        self._others: list[tuple[int, int, int, float, float, tuple[float, float]]] = []

    def add(self, c: SmoothCurve) -> None:
        """Take in the next curve."""
        share = self._moves / (c.last + 1)
        columns = (
            (self._s, c.s),
            (self._state, c.state),
            (self._corner, np.append(c.corner, False)),
            (self._ends, c.ends),
        )
        for column, values in columns:
            column.add(values, share=share)
        self._others.append((len(c.s), len(c.ends), c.first, c.before, c.after, c.off))

    def whole(self) -> list[SmoothCurve]:
        """Return the curves."""
        if not self._others:
            return []
        s, state, corner, ends = (x.whole() for x in (self._s, self._state, self._corner, self._ends))
        out, at, own = [], 0, 0
        for count, moves, first, before, after, off in self._others:
            k, e = slice(at, at + count), slice(own, own + moves)
            out.append(
                SmoothCurve(
                    first=first, last=first + moves - 1, s=s[k], state=state[..., k], corner=corner[k][:-1],
                    ends=ends[e], before=before, after=after, off=off,
                )
            )  # fmt: skip
            at, own = k.stop, e.stop
        return out


def spliced(path: ToolPath, curves: list[SmoothCurve]) -> ToolPath:
    """Return ``path`` with chains (rising) as ``curves``; of the lines beside them what their corners leave is kept."""
    if not curves:
        return path
    parts: dict[str, list[NDArray[Any]]] = {name: [] for name in NAMES}
    ends = {name: Growing(sum(len(c.ends) + 1 for c in curves)) for name in ("move", "piece", "u")}
    held, first = path.quintics.shape[2], path.span_first.copy()
    quintics = Growing(held + sum(len(c.corner) for c in curves))
    quintics.add(path.quintics)
    done = count = 0
    for k, c in enumerate(curves):
        before = curves[k - 1] if k and curves[k - 1].last + 2 == c.first and c.before else None
        after = curves[k + 1] if k + 1 < len(curves) and c.last + 2 == curves[k + 1].first and c.after else None
        a, b = _replaced(path, c)
        a = max(a, done)
        new = [_rest(path, c.first - 1, _first_cut(path, c.first - 1), c.before)] if c.before and not before else []
        ahead = a - done + len(new)
        new.append(_pieces(c, quintics.count))
        if c.after:
            new.append(_rest(path, c.last + 1, c.after, after.before if after else _last_cut(path, c.last + 1)))
        for name in NAMES:
            parts[name] += [getattr(path, name)[done:a], *(x[name] for x in new)]
        for name, column in _ends(c, count + ahead).items():
            ends[name].add(column)
        quintics.add(coefficients(c))
        more = sum(len(x["size"]) for x in new)
        first[path.span_first >= b] += more - (b - a)
        count, done = count + a - done + more, b
    for name in NAMES:
        parts[name].append(getattr(path, name)[done:])
    whole: dict[str, Any] = {name: joined(values) for name, values in parts.items()}
    off = np.max([c.off for c in curves], axis=0)
    of_all: dict[str, Any] = {name: column.whole() for name, column in ends.items()}
    return replace(
        path,
        **whole,
        s0=running_sum(len(whole["size"]), lambda w: whole["size"][w]),
        span_first=first,
        quintics=quintics.whole(),
        ends=Ends(
            **of_all,
            off=(float(off[0]), float(off[1])),
            moves=sum(c.last - c.first + 1 for c in curves),
            curves=len(curves),
        ),
    )


def coefficients(c: SmoothCurve) -> Array:
    """Return the quintics of a curve: coefficients (6 powers of u/size, 6, k - 1)."""
    left, right = [x[:, :-1] for x in c.state], [x[:, 1:] for x in c.state]
    out = hermite([np.zeros_like(left[0]), *left[1:]], [right[0] - left[0], *right[1:]], np.diff(c.s))
    out[0] += left[0]
    return out


def _replaced(path: ToolPath, c: SmoothCurve) -> tuple[int, int]:
    """Return the first piece that a curve and the rests beside it take the place of, and the one behind the last."""
    a, b = np.searchsorted(path.move, (c.first - (c.before > 0.0), c.last + 1))
    if c.after and b < path.count:
        b += path.kind[b] == REST
    return int(a), int(b)


def _first_cut(path: ToolPath, move: int) -> float:
    """Return what the corner at the start of a line takes of it."""
    k = int(np.searchsorted(path.move, move))
    if k == 0 or path.kind[k - 1] < CORNER or k in path.span_first:
        return 0.0
    return float(path.offset[k - 1] + path.size[k - 1])


def _last_cut(path: ToolPath, move: int) -> float:
    """Return what the corner at the end of a line takes of it."""
    k = int(np.searchsorted(path.move, move, "right")) - 1
    return float(-path.offset[k]) if path.kind[k] >= CORNER else 0.0


def _rest(path: ToolPath, move: int, first: float, last: float) -> Columns:
    """Return what corners leave of a line."""
    length = float(path.length[move])
    size = max(length - first - last, 0.0)
    return {
        "kind": np.full(1, REST, dtype=np.uint8),
        "move": np.full(1, move, dtype=np.int32),
        "offset": np.full(1, first - length),
        "size": np.full(1, size),
        "slot": np.zeros(1, dtype=np.int32),
    }


def _pieces(c: SmoothCurve, held: int) -> Columns:
    """Return the columns of the pieces of a curve; ``held`` quintics are there already."""
    size = np.diff(c.s)
    begins = np.searchsorted(c.ends, c.s[:-1], side="right") + c.first
    if c.before:
        begins[0] = c.first - 1
    return {
        "kind": np.where(c.corner, EDGE, CURVE).astype(np.uint8),
        "move": begins.astype(np.int32),
        "offset": -size,
        "size": size,
        "slot": np.arange(held, held + len(size), dtype=np.int32),
    }


def _ends(c: SmoothCurve, count: int) -> Columns:
    """Return where moves end on the pieces of a curve, the first of which is piece ``count``."""
    move, place = np.arange(c.first, c.last + 1), c.ends
    if c.before:
        move, place = np.append(c.first - 1, move), np.append(c.before, place)
    k = np.clip(np.searchsorted(c.s, place, side="left") - 1, 0, len(c.s) - 2)
    size = np.diff(c.s)
    u = place - c.s[k]
    if not c.after:
        u[-1] = size[-1]
    return {"move": move, "piece": k + count, "u": np.clip(u, 0.0, size[k])}
