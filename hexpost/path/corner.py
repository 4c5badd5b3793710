"""The rounded corner: one quintic that meets position, first and second derivative on both sides.

Between two lines with tangents t1, t2 the corner starts d1 before the vertex and ends d2 after it, h = d1 + d2,
x = u/h:  q = vertex + (u - d1) t1 + beta(x) (t2 - t1),
beta = x^3 (10 d2 - 4h) + x^4 (7h - 15 d2) + x^5 (6 d2 - 3h): the quintic Hermite polynomial of the data
(0, 0, 0) and (d2, 1, 0). At the vertex it is 6 d1^3 d2^3/h^5 (0.1875 d where both are d). Where second
derivatives k1, k2 are carried through, h^2 (k1 H2 + k2 H3) is added, H2 = x^2 (1 - x)^3/2, H3 = x^3 (1 - x)^2/2.
"""

import numpy as np

from hexpost.arrays import Array

CORNER_SHARE = 0.1875
"""Distance of the corner from the vertex is at most this times the longer cut times ``|t2 - t1|``."""

BEND_SHARE_EVEN, BEND_SHARE = 0.0108, 0.0202
"""The same for a jump of q'', times the cut squared: equal cuts; cuts of a ratio up to ``MOST_UNEQUAL``."""

TWIST_SHARE = 0.0115
"""The same for all higher derivatives of arcs together, times the cut cubed and the third derivative, if the cut turns
by at most half a radian: maxima of the Hermite remainder of w^n/n! on one side, n = 3 to 7."""

CARRY_SHARE = 0.01728
"""Largest value of H2 and of H3 (at x = 2/5 and 3/5): 0.5 * 0.4^2 * 0.6^3."""

MOST_UNEQUAL = 3.0
"""Largest ratio of the two cuts of one corner; it overshoots then, but by at most 0.042 times the longer cut."""


def blend(u: Array, h: Array, d2: Array, order: int, first: int) -> list[Array]:
    """Return derivatives ``first`` to ``order`` (at most 3) of beta with respect to u, each like ``u``."""
    r = 1.0 / h
    x = u * r
    c3, c4, c5 = 10.0 * d2 - 4.0 * h, 7.0 * h - 15.0 * d2, 6.0 * d2 - 3.0 * h
    out = []
    for o in range(first, order + 1):
        a, b, c = ((1.0, 1.0, 1.0), (3.0, 4.0, 5.0), (6.0, 12.0, 20.0), (6.0, 24.0, 60.0))[o]
        y = (c * c5) * x
        y += b * c4
        y *= x
        y += a * c3
        for _ in range(3 - o):
            y *= x
        for _ in range(o):
            y *= r
        out.append(y)
    return out


def carry(u: Array, h: Array, order: int, first: int) -> list[tuple[Array, Array]]:
    """Return derivatives ``first`` to ``order`` (at most 3) of h^2 H2 and h^2 H3 with respect to u."""
    r = 1.0 / h
    x = u * r
    out = []
    for o in range(first, order + 1):
        if o == 0:
            scale = (h * x * (1.0 - x)) ** 2
            low, high = 0.5 - 0.5 * x, 0.5 * x
        elif o == 1:
            low, high = 1.0 + x * (-4.5 + x * (6.0 - 2.5 * x)), x * (1.5 + x * (-4.0 + 2.5 * x))
            scale = h * x
        elif o == 2:
            low, high = 1.0 + x * (-9.0 + x * (18.0 - 10.0 * x)), x * (3.0 + x * (-12.0 + 10.0 * x))
            scale = np.ones(1)
        else:
            low, high = -9.0 + x * (36.0 - 30.0 * x), 3.0 + x * (-24.0 + 30.0 * x)
            scale = r
        out.append((low * scale, high * scale))
    return out


def hermite(left: list[Array], right: list[Array], h: Array) -> Array:
    """Return quintics as coefficients (6 powers of u/h, 6, m) from q, q', q'' (6, m) ``left`` and ``right``."""
    q0, q1, q2 = left[0], left[1] * h, left[2] * h**2
    d = right[0] - q0 - q1 - 0.5 * q2
    v = right[1] * h - q1 - q2
    a = right[2] * h**2 - q2
    return np.stack(
        [
            q0,
            q1,
            0.5 * q2,
            10.0 * d - 4.0 * v + 0.5 * a,
            -15.0 * d + 7.0 * v - a,
            6.0 * d - 3.0 * v + 0.5 * a,
        ]
    )


def polynomial(c: Array, u: Array, h: Array, order: int, first: int) -> list[Array]:
    """Return derivatives ``first`` to ``order`` with respect to u of quintics ``c`` (6 powers of u/h, 6, m)."""
    r = 1.0 / h
    x = u * r
    out = []
    for o in range(first, order + 1):
        factor = [float(np.prod(range(k, k - o, -1))) for k in range(6)]
        q = c[5] * factor[5]
        for k in range(4, o - 1, -1):
            q *= x
            q += c[k] * factor[k]
        for _ in range(o):
            q *= r
        out.append(q)
    return out
