"""What the path builder hands on: pieces in six coordinates as a function of a path parameter."""

from dataclasses import dataclass, field, replace

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines, in_ranges
from hexpost.path.arc import Circles
from hexpost.path.bounds import bent_turning, blocks, outer_sign, quintic_norms, turning
from hexpost.path.corner import blend, carry, polynomial

REST, ROUND, CORNER, QUINTIC, EDGE, CURVE = range(6)
"""Kinds of piece: what is left of a line; what is left of an arc or helix; a rounded corner between two lines;
a rounded corner with an arc on at least one side; a rounded corner of a smoothed chain; a part of such a chain."""


def corners(kind: Codes) -> Flags:
    """Return which kinds of piece (n,) are rounded corners."""
    out: Flags = (kind >= CORNER) & (kind != CURVE)
    return out


def open_ended(kind: Codes) -> Flags:
    """Return which kinds of piece (n,) are as well two pieces: parts of lines, arcs and smoothed chains."""
    out: Flags = (kind <= ROUND) | (kind == CURVE)
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ends(Columns):
    """Where moves end on pieces that are parts of several moves, shape (e,), rising: ``move``, ``piece``, ``u`` on it.

    ``off``: bounds of the distance of all such pieces from the program, tip [mm] and tilt [rad]. ``moves``: how many
    moves they take the place of; ``curves``: in how many curves.
    """

    move: Ints
    piece: Ints
    u: Array
    off: tuple[float, float] = (0.0, 0.0)
    moves: int = 0
    curves: int = 0


def no_ends() -> Ends:
    """Return the ends of a path without smoothed chains."""
    return Ends(move=np.zeros(0, dtype=np.int64), piece=np.zeros(0, dtype=np.int64), u=np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ToolPath:
    """Pieces as columns, shape (p,), in the order of travel; the parameter s is metric: ds2 = |dp|2 + (rho da)2.

    Per piece: ``kind``; ``move`` (a corner belongs to the move that ends in it); ``offset``, the parameter at its
    start counted from the end of its move (a corner starts ``-offset`` before the vertex); ``size``, its parameter
    length; ``s0`` (p + 1,) running parameter (rising; two may be equal where a piece is shorter than the rounding
    of the sum); ``slot``, the column of its arc or quintic (0 elsewhere). ``span_first`` (spans + 1,) first piece
    of each stop-to-stop span; the last is p.

    Per move: ``end`` (6, n) x y z a b c (moved within tolerance where ``moved``); ``tangent`` (6, n) change per
    parameter (of an arc only its angles are meant); ``bend`` (n,) factor of t[i+1] - t[i-1] that gives the second
    derivative carried through the middle of move i, 0 where none; ``length`` (n,) parameter length of the whole
    move. ``circles`` holds the arcs, ``quintics`` (6 powers of u/size, 6, q) corners with arcs and all of smoothed
    chains, whose pieces belong to the move in which they begin; ``ends`` says where others do. ``rho`` in mm/rad.
    ``order``: in which the angles are composed.
    """

    kind: Codes
    move: Lines
    offset: Array
    size: Array
    s0: Array
    slot: Lines
    span_first: Ints
    end: Array
    tangent: Array
    bend: Array
    length: Array
    moved: Flags
    circles: Circles
    quintics: Array
    rho: float
    order: str
    ends: Ends = field(default_factory=no_ends)

    @property
    def count(self) -> int:
        """Return the number of pieces."""
        return len(self.kind)

    @property
    def rounded(self) -> Flags:
        """Return, per piece, whether it may leave the programmed moves (always within the corner tolerances)."""
        out: Flags = (self.kind >= CORNER) | self.moved[self.move]
        return out

    def turns_max(self, slopes: Array) -> Array:
        """Return the largest true angular speed for a unit of s' (p,), rad/mm: exact for lines and arcs.

        Never too small. ``slopes`` (p,): the largest norms of the angles' q', below which nothing of this is.
        """
        out = slopes.copy()
        first, middle, last = (3 + "ABC".index(letter) for letter in self.order)
        sign = outer_sign(self.order)
        tilts = np.flatnonzero(slopes > 0.0)
        for x in (tilts[k] for k in blocks(tilts.size)):
            straight, bent = x[self.kind[x] < CORNER], x[self.kind[x] >= CORNER]
            t = self.tangent.take(self.move[straight], axis=1)
            low = self.end[middle].take(self.move[straight]) + t[middle] * self.offset[straight]
            pair = sign * t[first] * t[last]
            out[straight] = turning(slopes[straight], pair, (low, low + t[middle] * self.size[straight]))
            if not bent.size:
                continue
            c, corner = np.empty((6, 6, bent.size)), self.kind[bent] == CORNER
            c[:, :, corner] = self._corner_coefficients(bent[corner])
            c[:, :, ~corner] = self.quintics[:, :, self.slot[bent[~corner]]]
            c[0, middle] = self.evaluate(bent, np.zeros(bent.size), 0)[0][middle]
            out[bent] = bent_turning(slopes[bent], c[:, [first, middle, last]], self.size[bent])
        return np.maximum(out, slopes)

    def move_at(self, piece: Ints, u: Array) -> Ints:
        """Return the moves (m,) that the path is on at ``u`` (m,) of pieces (m,): of a corner up to its vertex."""
        move: Ints = self.move[piece].astype(np.int64)
        at = np.flatnonzero(self.kind[piece] >= EDGE)
        move += (self.kind[piece] >= CORNER) & (u > -self.offset[piece])
        if at.size:
            k = piece[at]
            low = int(k.min())
            a, b = np.searchsorted(self.ends.piece, (low, int(k.max()) + 1))
            own, base = self.ends.piece[a:b], self.s0[low]
            place = (self.s0[own] - base) + self.ends.u[a:b]
            there = (self.s0[k] - base) + np.minimum(u[at], self.size[k])
            first, last = np.searchsorted(own, k), np.searchsorted(own, k, "right")
            passed = np.clip(np.searchsorted(place, there), first, last) - first
            move[at] = self.move[k] + passed
        return move

    def end_of(self, move: Ints) -> tuple[Ints, Array]:
        """Return the pieces (n,) on which moves end, and where on them; of a corner that is its vertex."""
        k: Ints = np.maximum(np.searchsorted(self.move, move, "right") - 1, 0)
        u = np.where(self.kind[k] >= CORNER, -self.offset[k], self.size[k])
        at = np.flatnonzero(self.kind[k] >= EDGE)
        if at.size:
            own = np.searchsorted(self.ends.move, move[at])
            k[at], u[at] = self.ends.piece[own], self.ends.u[own]
        return k, u

    def spans(self, a: int, b: int) -> "ToolPath":
        """Return the pieces of spans ``a`` to ``b`` (left out) as a path of the same moves; columns are views."""
        first = self.span_first[a : b + 1]
        return replace(self.pieces(int(first[0]), int(first[-1])), span_first=first - first[0])

    def pieces(self, low: int, high: int) -> "ToolPath":
        """Return pieces ``low`` to ``high`` (left out) as one span; columns are views."""
        names = ("kind", "move", "offset", "size", "slot")
        columns = {name: getattr(self, name)[low:high] for name in names}
        a, b = (int(k) for k in np.searchsorted(self.ends.piece, (low, high)))
        ends = self.ends.take(slice(a, b), piece=self.ends.piece[a:b] - low)
        return replace(self, **columns, s0=self.s0[low : high + 1], span_first=np.array([0, high - low]), ends=ends)

    def some(self, low: Ints, high: Ints) -> "ToolPath":
        """Return pieces ``low`` to ``high`` (left out), rising ranges (n,), each as a span of its own."""
        at, (a, b) = in_ranges(low, high), np.searchsorted(self.ends.piece, (low, high))
        first = np.concatenate([[0], np.cumsum(high - low)])
        own = in_ranges(a, b)
        ends = self.ends.take(own, piece=self.ends.piece[own] + np.repeat(first[:-1] - low, b - a))
        columns = {name: getattr(self, name)[at] for name in ("kind", "move", "offset", "size", "slot")}
        s0 = np.concatenate([[0.0], np.cumsum(columns["size"])])
        return replace(self, **columns, s0=s0, span_first=first, ends=ends)

    def evaluate(self, piece: Ints, u: Array, order: int, first: int = 0) -> list[Array]:
        """Return derivatives ``first`` to ``order`` (at most 3) of x y z a b c with respect to s, each (6, m).

        ``piece`` (m,) indexes pieces, ``u`` (m,) is the parameter counted from the start of each piece.
        """
        move, kind = self.move[piece], self.kind[piece]
        t = self.tangent.take(move, axis=1)
        out = []
        for o in range(first, order + 1):
            if o == 0:
                q = t * (self.offset[piece] + u)
                q += self.end.take(move, axis=1)
                out.append(q)
            else:
                out.append(t if o == 1 else np.zeros_like(t))
        for code, part in ((CORNER, self._corner), (ROUND, self._round), (QUINTIC, self._quintic)):
            at = np.flatnonzero(kind >= QUINTIC if code == QUINTIC else kind == code)
            if not at.size:
                continue
            if at.size == kind.size or (code == CORNER and 2 * at.size > kind.size):
                part(piece, u, first, out)
                continue
            some = [q.take(at, axis=1) for q in out]
            part(piece[at], u[at], first, some)
            for q, x in zip(out, some, strict=True):
                q[:, at] = x
        return out

    def norms_max(self) -> Array:
        """Return the largest norms of q', q'', q''' per piece, shape (2, 3, p): of the tip in mm, of the angles in rad.

        Never too small; exact for lines and arcs and, but for unequal cuts, for corners of two lines.
        """
        out: Array = np.zeros((2, 3, self.count))
        for x in blocks(self.count):
            q = self.tangent[:, self.move[x]] ** 2
            out[0, 0, x], out[1, 0, x] = np.sqrt(q[:3].sum(0)), np.sqrt(q[3:].sum(0))
            c = x[self.kind[x] == CORNER]
            out[:, :, c] = quintic_norms(self._corner_coefficients(c), self.size[c])
            c = x[self.kind[x] >= QUINTIC]
            out[:, :, c] = quintic_norms(self.quintics[:, :, self.slot[c]], self.size[c])
        x = np.flatnonzero(self.kind == ROUND)
        out[0][:, x] = self.circles.norms_max(self.slot[x])
        return out

    def _bends(self, i: Ints) -> tuple[Array, Array, Array]:
        """Return, at corners behind moves ``i``, the jump of q', and q'' carried on both sides; (6, m), or (6, 0)."""
        t1, t2 = self.tangent.take(i, axis=1), self.tangent.take(i + 1, axis=1, mode="clip")
        jump = t2 - t1
        b1, b2 = self.bend[i], self.bend.take(i + 1, mode="clip")
        if not (b1.any() or b2.any()):
            return jump, np.zeros((6, 0)), np.zeros((6, 0))
        t2 -= self.tangent.take(i - 1, axis=1, mode="clip")
        t2 *= b1
        after = self.tangent.take(i + 2, axis=1, mode="clip")
        after -= t1
        after *= b2
        return jump, t2, after

    def _corner(self, piece: Ints, u: Array, first: int, out: list[Array]) -> None:
        """Add to the line before the vertex (``out``) what turns it into the corner of two lines; skip other kinds."""
        h, i = self.size[piece], self.move[piece].astype(np.int64)
        order = first + len(out) - 1
        low, high = int(i.min()), int(i.max())
        if high - low < i.size:  # several samples to a corner: what they share is computed once
            bends = self._bends(np.arange(low, high + 1))
            i -= low
            jump, k1, k2 = (x.take(i, axis=1) if x.size else x for x in bends)
        else:
            jump, k1, k2 = self._bends(i)
        only = self.kind[piece] == CORNER
        whole = bool(only.all())
        product = np.empty_like(jump)

        def add(q: Array, factor: Array, weight: Array) -> None:
            np.multiply(factor, weight if whole else weight * only, out=product)
            np.add(q, product, out=q)

        for q, y in zip(out, blend(u, h, h + self.offset[piece], order, first), strict=True):
            add(q, jump, y)
        if k1.size:
            for q, (y1, y2) in zip(out, carry(u, h, order, first), strict=True):
                add(q, k1, y1)
                add(q, k2, y2)

    def _corner_coefficients(self, piece: Ints) -> Array:
        """Return corners of two lines as coefficients (6 powers of u/size, 6, m), counted from where they start."""
        h, i = self.size[piece], self.move[piece].astype(np.int64)
        d2 = h + self.offset[piece]
        jump, k1, k2 = self._bends(i)
        c: Array = np.zeros((6, 6, piece.size))
        np.multiply(self.tangent.take(i, axis=1), h, out=c[1])
        np.multiply(jump, 10.0 * d2 - 4.0 * h, out=c[3])
        np.multiply(jump, 7.0 * h - 15.0 * d2, out=c[4])
        np.multiply(jump, 6.0 * d2 - 3.0 * h, out=c[5])
        if k1.size:
            k1 *= h * h
            k2 *= h * h
            np.multiply(k1, 0.5, out=c[2])
            c[3] += 0.5 * k2 - 1.5 * k1
            c[4] += 1.5 * k1 - k2
            c[5] += 0.5 * (k2 - k1)
        return c

    def _round(self, piece: Ints, u: Array, first: int, out: list[Array]) -> None:
        """Put the tip of arcs into ``out``; the angles run along as on a line."""
        order = first + len(out) - 1
        tip = self.circles.from_end.displacement(
            self.slot[piece].astype(np.int64), self.offset[piece] + u, order, first
        )
        if first == 0:
            tip[0] += self.end[:3].take(self.move[piece], axis=1)
        for q, p in zip(out, tip, strict=True):
            q[:3] = p

    def _quintic(self, piece: Ints, u: Array, first: int, out: list[Array]) -> None:
        """Put corners with an arc, and smoothed chains, into ``out``."""
        order = first + len(out) - 1
        c = self.quintics.take(self.slot[piece], axis=2)
        for q, p in zip(out, polynomial(c, u, self.size[piece], order, first), strict=True):
            q[:] = p
