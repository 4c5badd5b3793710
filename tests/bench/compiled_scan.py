"""The two passes of the exact scan, one node after the other, compiled: what the chunked scan is measured against."""

import numba
import numpy as np

FLAT = 1e-12


@numba.njit(cache=False)
def strips(a, b, limit, step, i, t, r):
    """Fill slopes and half widths of the strips of the interval from node i: those at its start, then at its end."""
    k = len(limit)
    for j in range(k):
        size = max(abs(a[i, j]), FLAT)
        e = 2 * step * b[i, j] / (size if a[i, j] >= 0 else -size)
        t[j], r[j] = 1 - e, 2 * step * limit[j] / size
        size = max(abs(a[i + 1, j]), FLAT)
        g = 1 + 2 * step * b[i + 1, j] / (size if a[i + 1, j] >= 0 else -size)
        if abs(g) < FLAT:
            g = FLAT
        t[k + j], r[k + j] = 1 / g, 2 * step * limit[j] / size / abs(g)


@numba.njit(cache=False)
def two_passes(a, b, cap, limit, step):
    """Return the largest speed squared at the nodes; ``a`` and ``b`` (n, k)."""
    n, k = a.shape
    t, r = np.empty(2 * k), np.empty(2 * k)
    back, x = np.zeros(n), np.zeros(n)
    for i in range(n - 2, -1, -1):
        strips(a, b, limit, step, i, t, r)
        top = cap[i]
        for _ in range(60):
            up, low, u, v = np.inf, -np.inf, 0, 0
            for j in range(2 * k):
                middle = t[j] * top
                if middle + r[j] < up:
                    up, u = middle + r[j], j
                if middle - r[j] > low:
                    low, v = middle - r[j], j
            if up >= low and up >= 0:
                break
            new = top
            if up < low and t[v] > t[u]:
                new = min(new, (r[u] + r[v]) / (t[v] - t[u]))
            if up < 0 and t[u] < 0:
                new = min(new, r[u] / -t[u])
            if not new < top * (1 - 1e-14):
                break
            top = new
        for j in range(2 * k):
            if t[j] > FLAT:
                top = min(top, (back[i + 1] + r[j]) / t[j])
        back[i] = top
    for i in range(n - 1):
        strips(a, b, limit, step, i, t, r)
        best = back[i + 1]
        for j in range(2 * k):
            best = min(best, t[j] * x[i] + r[j])
        x[i + 1] = max(best, 0.0)
    return x
