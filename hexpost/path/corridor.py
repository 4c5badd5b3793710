"""What a dense chain follows, noise aside: a parameter that grows along it, and its corners, found over a length."""

import numpy as np

from hexpost.arrays import Array, Flags, Ints

BLOCK = 8192
"""Vertices between two that every corridor goes through, so that windows that begin there agree."""
BACK = 1.5
"""Widths of the corridor by which vertices may lie back along a chord."""
SAME = 1e-12
CRUMB, STEP = 1e-6, 1e-10
"""Least length of a chord of the corridor, and least growth of the parameter from vertex to vertex, mm."""


def corridor(x: Array, width: float, block: int = BLOCK) -> Ints:
    """Return indices (k,) of vertices ``x`` (d, n) whose chords pass all vertices between within ``width``, in order.

    Greedy: each chord is as long as doubling and halving its reach finds.
    """
    n = x.shape[1]
    rows = np.ascontiguousarray(x.T)
    wide = _two_at_once(x, width).tolist()
    keep, i = [0], 0
    while i < n - 1:
        top = min(n - 1, (i // block + 1) * block)
        a = i + 1
        if a < top and wide[i]:
            a, step = a + 1, 2
            while a + step <= top and _passes(rows[i : a + step + 1], width):
                a += step
                step *= 2
            while step >= 1:
                if a + step <= top and _passes(rows[i : a + step + 1], width):
                    a += step
                step //= 2
        keep.append(a)
        i = a
    return np.array(keep)


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
