"""The exact time-optimal speed on a grid under limits of acceleration, in closed form, many chunks at once.

With x = (ds/dt)^2 at the nodes and u constant between them, x[i+1] = x[i] + 2 D u. A limit |a u + b x| <= A of a row
with slope a = dl/ds and bend b = d2l/ds2 is, at both ends of an interval, a strip t x[i] - r <= x[i+1] <= t x[i] + r.
Two passes give the largest x: backward the largest from which rest can still be reached, forward the largest reached
(H. Pham, Q.-C. Pham, IEEE Trans. Robotics 34 (2018) 645-659, with limits kept at both ends of each interval). No linear
programs: strips have closed forms, intervals of a line meet if they meet in pairs (Helly), so the largest x that has a
successor is the root of a concave function made of straight parts.

Chunks of the grid run side by side, each from a guess; a chunk whose guess was wrong runs again until it meets what it
had before. So the result is, bit for bit, that of one sequential pass, whatever the number of chunks.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.chunks import ChunkLayout

FLAT = 1e-12
"""A slope below this is none; a strip that steep bounds nothing."""
ROWS = 16
"""Nodes of each chunk that are prepared together, so that they stay in the cache."""
NEWTON = 60
"""Most steps of Newton's method: it takes one for each kink."""


def speeds_squared(
    slope: Array,
    bend: Array,
    limit: Array,
    cap: Array,
    *,
    step: float | Array,
    chunks: int | None = None,
    ends: bool = True,
) -> Array:
    """Return the largest speed squared at the nodes of a grid, shape (n,), at rest at both ends.

    ``slope`` and ``bend`` (k, n): first and second derivatives of k rows with respect to the path; ``limit`` (k,) of
    their accelerations (inf: none); ``cap`` (n,) of the speed squared; ``step``: distance of the nodes, or of
    each from the next (n - 1,). ``ends``: limits hold at both ends of each interval, and so nearly in between; else
    only where it starts.
    """
    felt = np.isfinite(limit)
    slope, bend, limit = slope[felt], bend[felt], limit[felt]
    layout = ChunkLayout.of(len(cap), chunks)
    if not len(limit):
        slope, bend, limit = np.full((1, len(cap)), FLAT), np.zeros((1, len(cap))), np.array([1e18])
    if isinstance(step, np.ndarray):
        step = layout.laid(np.append(step, 0.0))
    return layout.flat(
        scan(layout, layout.laid(slope), layout.laid(bend), limit, cap=layout.laid(cap), step=step, ends=ends)
    )


def scan(
    layout: ChunkLayout, slope: Array, bend: Array, limit: Array, *, cap: Array, step: float | Array, ends: bool = True
) -> Array:
    """Return the same for arrays laid out already, (rows + 1, k, chunks); caps, steps, result (rows + 1, chunks).

    ``slope`` and ``bend`` are spent.
    """
    strips = _Strips.of(slope, bend, limit, step, ends=ends)
    cap = cap.copy()
    _rest_behind(layout, cap)
    back = np.empty((layout.rows + 1, layout.chunks))
    back[-1, :-1], back[-1, -1] = cap[0, 1:], 0.0
    _backward(strips, cap, back)
    _mend_backward(strips, cap, back)
    out = np.empty_like(back)
    out[0], out[0, 0] = back[0], 0.0
    _forward(strips, back, out, range(layout.rows), None)
    _mend_forward(strips, back, out)
    return out


def _rest_behind(layout: ChunkLayout, cap: Array) -> None:
    """Put the places behind the end of the grid at rest."""
    behind = layout.chunks * layout.rows - (layout.nodes - 1)
    for k in range(behind + 1):
        column, row = divmod(layout.chunks * layout.rows - k, layout.rows)
        if column < layout.chunks:
            cap[row, column] = 0.0
        if row == 0:
            cap[-1, column - 1] = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Strips:
    """Strips (rows + 1, k, chunks): e = 2 D b / a and rho = 2 D A / |a| at every node.

    Where the ``steps`` D differ, (rows + 1, chunks), e and rho are those of a step of one.
    """

    e: Array
    rho: Array
    steps: Array | None
    ends: bool

    @classmethod
    def of(cls, slope: Array, bend: Array, limit: Array, step: float | Array, *, ends: bool) -> "_Strips":
        """Return the strips of rows; the arrays are spent."""
        steps, step = (step, 1.0) if isinstance(step, np.ndarray) else (None, step)
        force = (2 * step * limit)[:, None]
        for low in range(0, len(slope), ROWS):
            a, b = slope[low : low + ROWS], bend[low : low + ROWS]
            size = np.abs(a)
            if size.min() < FLAT:
                a[size < FLAT] = FLAT
                np.maximum(size, FLAT, out=size)
            b *= 2 * step
            b /= a
            np.divide(force, size, out=a)
        return cls(e=bend, rho=slope, steps=steps, ends=ends)

    def part(self, low: int, high: int, which: Ints | None) -> tuple[Array, Array, Array, Array]:
        """Return e and rho at the starts and at the ends of the intervals of nodes low to high, of some chunks."""
        e, rho = self.e[low : high + 1], self.rho[low : high + 1]
        steps = None if self.steps is None else self.steps[low:high, None]
        if which is not None:
            e, rho = e.take(which, axis=2), rho.take(which, axis=2)
            steps = None if steps is None else steps.take(which, axis=2)
        if steps is None:
            return e[:-1], rho[:-1], e[1:], rho[1:]
        return e[:-1] * steps, rho[:-1] * steps, e[1:] * steps, rho[1:] * steps

    def back(self, low: int, high: int, which: Ints | None) -> tuple[Array, Array, Array, Array]:
        """Return h, rho, g, rho' with x[i] <= (x[i+1] + rho) h and x[i] <= g x[i+1] + rho', i from low to high - 1."""
        e, rho, after, ahead = self.part(low, high, which)
        f, g = 1.0 - e, 1.0 + after
        if not self.ends:
            g[:] = 0.0
        if f.min() <= FLAT:
            f[f <= FLAT] = 0.0
        with np.errstate(divide="ignore"):
            h = np.divide(1.0, f)
        if g.min() <= FLAT:
            none = g <= FLAT
            ahead = np.where(none, np.inf, ahead)
            g[none] = 0.0
        return h, rho, g, ahead

    def on(self, low: int, high: int, which: Ints | None) -> tuple[Array, Array, Array, Array]:
        """Return f, rho, 1/g, rho/|g| with x[i+1] <= f x[i] + rho and x[i+1] <= x[i] / g + rho / |g|."""
        return self.ways(*self.part(low, high, which))

    def ways(self, e: Array, rho: Array, after: Array, ahead: Array) -> tuple[Array, Array, Array, Array]:
        """Return the same from e and rho at the starts and at the ends of intervals, of any shape."""
        inverse = 1.0 / _apart(1.0 + after)
        if not self.ends:
            return 1.0 - e, rho, 0.0 * inverse, np.full_like(inverse, np.inf)
        return 1.0 - e, rho, inverse, ahead * np.abs(inverse)


def _apart(g: Array) -> Array:
    """Return values kept off nothing."""
    small = np.abs(g) < FLAT
    if small.any():
        g[small] = FLAT
    return g


def _backward(strips: _Strips, cap: Array, back: Array) -> None:
    """Lower caps to where a successor exists, and fill the backward pass of all chunks from their ends."""
    rows, k, chunks = cap.shape[0] - 1, strips.e.shape[1], cap.shape[1]
    both, least = np.empty((2 * k, chunks)), np.empty(chunks)
    near, far = both[:k], both[k:]
    for high in range(rows, 0, -ROWS):
        low = max(0, high - ROWS)
        _lower(strips, cap, low, high)
        h, rho, g, ahead = strips.back(low, high, None)
        now = back[high]
        for m in range(high - low - 1, -1, -1):
            np.add(rho[m], now, out=near)
            np.multiply(near, h[m], out=near)
            np.multiply(g[m], now, out=far)
            np.add(far, ahead[m], out=far)
            np.minimum.reduce(both, axis=0, out=least)
            now = back[low + m]
            np.minimum(least, cap[low + m], out=now)


def _lower(strips: _Strips, cap: Array, low: int, high: int) -> None:
    """Lower the caps of nodes low to high - 1 to the largest speeds squared that have a successor.

    Where the bends alone keep the limits, |b| x <= A, the same speed is one; only the other nodes need a look.
    """
    x = cap[low:high]
    e, rho, after, ahead = strips.part(low, high, None)
    room = _left(rho, e, x)
    if strips.ends:
        np.minimum(room, _left(ahead, after, x), out=room)
    row, column = np.nonzero(room.min(axis=1) < 0)
    if not len(row):
        return
    f, rho, inverse, ahead = strips.ways(*(v[row, :, column].T for v in (e, rho, after, ahead)))
    t, r, top = np.concatenate([f, inverse]), np.concatenate([rho, ahead]), x[row, column]
    middle = t * top
    least, most = (middle + r).min(axis=0), (middle - r).max(axis=0)
    none = np.flatnonzero((least < most) | (least < 0))
    x[row[none], column[none]] = _largest(t[:, none], r[:, none], top[none])


def _left(reach: Array, bend: Array, x: Array) -> Array:
    """Return what the bends (m, k, chunks) leave of the reach of their strips at speeds squared (m, chunks)."""
    out: Array = np.abs(bend)
    np.multiply(out, x[:, None], out=out)
    np.subtract(reach, out, out=out)
    return out


def _largest(t: Array, r: Array, x: Array) -> Array:
    """Return the largest values (n,) up to ``x`` at which all strips (2k, n) and the positive half line meet."""
    out, active = x.copy(), np.arange(len(x))
    for _ in range(NEWTON):
        if not len(active):
            break
        ta, ra, now, n = t[:, active], r[:, active], out[active], np.arange(len(active))
        middle = ta * now
        upper, lower = middle + ra, middle - ra
        i, j = upper.argmin(axis=0), lower.argmax(axis=0)
        top, bottom, slope, other = upper[i, n], lower[j, n], ta[i, n], ta[j, n]
        with np.errstate(divide="ignore", invalid="ignore"):
            meet = np.where((top < bottom) & (other > slope), (ra[i, n] + ra[j, n]) / (other - slope), np.inf)
            rest = np.where((top < 0) & (slope < 0), ra[i, n] / -slope, np.inf)
        new = np.minimum(now, np.minimum(meet, rest))
        moved: Flags = new < now * (1 - 1e-14)
        out[active] = new
        active = active[moved]
    return out * (1 - 1e-12)


def _mend_backward(strips: _Strips, cap: Array, back: Array) -> None:
    """Run chunks again, backward, whose end was a wrong guess, until each meets what it had."""
    while True:
        live = np.flatnonzero(back[-1, :-1] != back[0, 1:])
        if not len(live):
            return
        back[-1, live] = back[0, live + 1]
        high = len(back) - 1
        while high > 0 and len(live):
            low = max(0, high - ROWS)
            h, rho, g, ahead = strips.back(low, high, live)
            top, now = cap[low:high].take(live, axis=1), back[high, live]
            new = np.empty((high - low, len(live)))
            for m in range(high - low - 1, -1, -1):
                least = np.minimum(((rho[m] + now) * h[m]).min(axis=0), (g[m] * now + ahead[m]).min(axis=0))
                now = new[m] = np.minimum(least, top[m])
            same = new[0] == back[low, live]
            back[low:high, live] = new
            live, high = live[~same], low


def _forward(strips: _Strips, back: Array, out: Array, nodes: range, which: Ints | None) -> None:
    """Fill the rows of ``out`` behind each of ``nodes`` with the forward pass of all, or some, chunks."""
    k, chunks = strips.e.shape[1], out.shape[1]
    both, least = np.empty((2 * k, chunks)), np.empty(chunks)
    near, far = both[:k], both[k:]
    low = nodes.start
    for start in range(low, nodes.stop, ROWS):
        stop = min(nodes.stop, start + ROWS)
        f, rho, inverse, ahead = strips.on(start, stop, which)
        top = back[start + 1 : stop + 1] if which is None else back[start + 1 : stop + 1].take(which, axis=1)
        for m in range(stop - start):
            now = out[start - low + m]
            np.multiply(f[m], now, out=near)
            np.add(near, rho[m], out=near)
            np.multiply(inverse[m], now, out=far)
            np.add(far, ahead[m], out=far)
            np.minimum.reduce(both, axis=0, out=least)
            after = out[start - low + m + 1]
            np.minimum(least, top[m], out=after)
            np.maximum(after, 0.0, out=after)


def _mend_forward(strips: _Strips, back: Array, out: Array) -> None:
    """Run chunks again, forward, whose start was a wrong guess, until each meets what it had."""
    rows = len(out) - 1
    while True:
        live = np.flatnonzero(out[0, 1:] != out[-1, :-1]) + 1
        if not len(live):
            return
        out[0, live] = out[-1, live - 1]
        low = 0
        while low < rows and len(live):
            high = min(rows, low + ROWS)
            new = np.empty((high - low + 1, len(live)))
            new[0] = out[low, live]
            _forward(strips, back, new, range(low, high), live)
            same = new[-1] == out[high, live]
            out[low + 1 : high + 1, live] = new[1:]
            live, low = live[~same], high
