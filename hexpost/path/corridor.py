"""What a dense chain follows, noise aside: a parameter that grows along it, and its corners, found over a length."""

import numpy as np

from hexpost.arrays import Array, Flags, Ints

BLOCK = 8192
"""Vertices between two that every corridor goes through, so that windows that begin there agree."""
BACK = 1.5
"""Widths of the corridor by which vertices may lie back along a chord."""
NEAR = 8
"""Chords over fewer vertices are found for all vertices at once."""
SAME = 1e-12
CRUMB, STEP = 1e-6, 1e-10
"""Least length of a chord of the corridor, and least growth of the parameter from vertex to vertex, mm."""


def corridor(x: Array, width: float) -> Ints:
    """Return indices (k,) of vertices ``x`` (d, n) whose chords pass all vertices between within ``width``, in order.

    Greedy: each chord is as long as doubling and halving its reach finds; short ones are found for all at once.
    """
    n = x.shape[1]
    rows = np.ascontiguousarray(x.T)
    near = _reaches(x, width).tolist()
    keep, i = [0], 0
    while i < n - 1:
        top = min(n - 1, (i // BLOCK + 1) * BLOCK)
        cut = i + NEAR > top
        reach = min(near[i], 2, top - i) if cut else near[i]
        if reach == NEAR or (cut and reach > 1):
            reach = _farthest(rows, i, reach, top, width)
        i += reach
        keep.append(i)
    return np.array(keep)


def _farthest(rows: Array, i: int, reach: int, top: int, width: float) -> int:
    """Return how far the chord from vertex ``i`` reaches, at least ``reach``, at most to ``top``."""
    step = reach
    while i + reach + step <= top and _passes(rows[i : i + reach + step + 1], width):
        reach += step
        step *= 2
    while step > 1:
        step //= 2
        if i + reach + step <= top and _passes(rows[i : i + reach + step + 1], width):
            reach += step
    return reach


def _reaches(x: Array, width: float) -> Ints:
    """Return how far the chord from each vertex (n,) reaches, as ``_farthest`` finds it, ``NEAR`` at most."""
    out = np.where(_two_at_once(x, width), 2, 1)
    for reach, step in ((2, 2), (4, 4), (4, 2), (2, 1), (4, 1), (6, 1)):
        at = np.flatnonzero(out[: -reach - step] == reach)
        out[at[_all_pass(x, at, reach + step, width)]] = reach + step
    return out


def _all_pass(x: Array, at: Ints, count: int, width: float) -> Flags:
    """Return where (k,) ``_passes`` holds of the chords from vertices ``at`` (k,), each over ``count``."""
    begin = x[:, at]
    d = x[:, at + count] - begin
    length = np.sqrt((d * d).sum(0))
    d[:, length < SAME] = 0.0
    d /= np.maximum(length, SAME)
    good, most = np.ones(len(at), dtype=np.bool_), np.full(len(at), -np.inf)
    for j in range(1, count):
        q = x[:, at + j] - begin
        t = (q * d).sum(0)
        most = np.maximum(most, t)
        q -= np.clip(t, 0.0, length) * d
        good &= ((q * q).sum(0) <= width * width) & (most - t <= BACK * width)
    return good


def _two_at_once(x: Array, width: float) -> Flags:
    """Return where (n,) the chord to the next vertex but one passes the one between."""
    out: Flags = np.zeros(x.shape[1], dtype=np.bool_)
    d, q = x[:, 2:] - x[:, :-2], x[:, 1:-1] - x[:, :-2]
    length = np.sqrt((d * d).sum(0))
    t = (q * d).sum(0) / np.maximum(length, SAME)
    off = q - np.clip(t, 0.0, length) * d / np.maximum(length, SAME)
    out[:-2] = ((off * off).sum(0) <= width * width) & (t >= -BACK * width) & (t - length <= BACK * width)
    return out


def _passes(rows: Array, width: float) -> bool:
    """Return whether the chord from the first to the last of ``rows`` (m, d) passes the others within ``width``."""
    d, q = rows[-1] - rows[0], rows[1:-1] - rows[0]
    length = float(np.sqrt(d @ d))
    if length < SAME:
        return bool((q * q).sum(1).max() <= width * width)
    t = q @ d / length
    off = q - np.clip(t, 0.0, length)[:, None] * (d / length)
    back = (np.maximum.accumulate(t) - t).max()
    return bool((off * off).sum(1).max() <= width * width and back <= BACK * width)


def corners(x: Array, keep: Ints, most: float) -> tuple[Ints, Flags]:
    """Return the nodes of a corridor with its corners at their very vertices, and which of them (k,) are corners.

    A turn theta between chords h1 and h2 of a smooth curve has theta min(h1, h2)/8 at most their sag, which the
    corridor bounds; a corner is where it is above ``most``. The ends count as corners.
    """
    keep, real = keep.copy(), _turns(x, keep, most)
    for k in np.flatnonzero(real)[1:-1].tolist():
        low, high = keep[k - 1] + 1, keep[k + 1]
        q, d = x[:, low:high] - x[:, keep[k - 1], None], x[:, high] - x[:, keep[k - 1]]
        square = float(d @ d)
        off = q - np.outer(d, np.clip(d @ q / square, 0.0, 1.0)) if square > 0.0 else q
        keep[k] = low + int((off * off).sum(0).argmax())
    return keep, _turns(x, keep, most)


def _turns(x: Array, keep: Ints, most: float) -> Flags:
    v = np.diff(x[:, keep], axis=1)
    h = np.maximum(np.sqrt((v * v).sum(0)), SAME)
    u = v / h
    theta = 2.0 * np.arcsin(np.clip(np.sqrt(((u[:, 1:] - u[:, :-1]) ** 2).sum(0)) / 2.0, 0.0, 1.0))
    out: Flags = np.concatenate([[True], theta * np.minimum(h[1:], h[:-1]) / 8.0 > most, [True]])
    return out


def parameter(x: Array, keep: Ints) -> Array:
    """Return a growing parameter (n,) of vertices ``x`` (d, n): their places along the chords of the corridor ``keep``.

    Steps back are halved: it is the mean of the largest before and the least behind. Noise makes it no longer.
    """
    n = x.shape[1]
    seg = np.minimum(np.searchsorted(keep, np.arange(n), side="right") - 1, len(keep) - 2)
    a, d = x[:, keep[:-1]], np.diff(x[:, keep], axis=1)
    h = np.sqrt((d * d).sum(0))
    t = ((x - a[:, seg]) * d[:, seg]).sum(0) / np.maximum(h[seg], SAME)
    s0 = np.concatenate([[0.0], np.cumsum(np.maximum(h, CRUMB))])
    s = s0[seg] + np.clip(t, 0.0, h[seg])
    s[keep] = s0
    s = 0.5 * (np.maximum.accumulate(s) + np.minimum.accumulate(s[::-1])[::-1])
    s = np.minimum(s, s0[np.minimum(seg + 1, len(s0) - 1)])
    out: Array = s + STEP * np.arange(n)
    return out
