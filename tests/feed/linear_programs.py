"""A reference for schedules of short smooth paths: the fastest motion under jerk, by a sequence of linear programs.

The unknowns are x = s'^2 on an even grid; speed and acceleration limits are linear in x. The jerk of a coordinate is
sqrt(x) (q''' x + 3 q'' s'' + q' ds''/ds), and J / sqrt(x) is replaced by its tangent, which lies below it: every
iterate keeps the limits, and the next starts from it. J. E. Bobrow, S. Dubowsky, J. S. Gibson, Int. J. Robotics
Research 4(3) 1985 for the change of variable; the tangents are common practice in convex optimisation, no source.
Solved by HiGHS (scipy). At the two rest ends the grid does not see the first step: the result is a little too fast.
"""

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, diags, identity, vstack

ROUNDS = 5
"""Most programs in a row."""
SAME = 2e-4
"""Relative change of the duration at which the sequence ends."""
DIRECTIONS = np.vstack([np.eye(3), [[1, 1, 0], [1, 0, 1], [0, 1, 1], [1, -1, 0], [1, 0, -1], [0, 1, -1], [1, 1, 1]]])
DIRECTIONS = DIRECTIONS / np.linalg.norm(DIRECTIONS, axis=1)[:, None]
"""The norm of a vector is at least its part along each of these."""


def coordinates(path, model, on, nodes):
    """Return parameters s (nodes,), and per limited coordinate q', q'', q''' (nodes,) and limits of acceleration, jerk.

    Struts, and the parts of tip and tilt along some directions. Then what 1 / s' must be at least, and slopes of the
    tip (nodes,).
    """
    s = np.linspace(0.0, path.s0[-1], nodes)
    piece = np.clip(np.searchsorted(path.s0, s, "right") - 1, 0, path.count - 1)
    q = path.evaluate(piece, np.clip(s - path.s0[piece], 0.0, path.size[piece]), 3)
    length, tip = model.derivatives(q), on.tool_tip
    out = [([length[o][k] for o in (1, 2, 3)], m.acceleration, m.jerk) for k, m in enumerate(on.struts)]
    for part, most, jerk in (
        (slice(0, 3), tip.acceleration, tip.jerk),
        (slice(3, 6), tip.tilt_acceleration, tip.tilt_jerk),
    ):
        rows = [([d @ q[o][part] for o in (1, 2, 3)], most, jerk) for d in DIRECTIONS]
        out += [row for row in rows if np.abs(row[0]).max() > 0]
    speeds = [np.abs(length[1][k]) / m.speed for k, m in enumerate(on.struts)]
    speeds += [np.linalg.norm(q[1][:3], axis=0) / tip.speed, np.linalg.norm(q[1][3:], axis=0) / tip.tilt_speed]
    return s, out, np.max(speeds, axis=0), np.linalg.norm(q[1][:3], axis=0)


def optimum(path, model, on, feed, start, nodes=250):
    """Return the duration in s of the fastest motion along a path of smooth pieces, from rest to rest.

    ``feed`` in mm/s; ``start``: places s and speeds of a motion to begin with.
    """
    s, rows, held, slope = coordinates(path, model, on, nodes)
    step, n = s[1], nodes - 1
    cap = np.minimum(1.0 / held, feed / slope) ** 2
    each = identity(nodes, format="csr")
    before, after, inner = each[:-1], each[1:], each[1:-1]
    u = (after - before) / (2 * step)
    none = csr_matrix((1, nodes))
    left, right = vstack([none, u]).tocsr()[1:-1], vstack([u, none]).tocsr()[1:-1]
    # From rest at constant jerk J along the path: s = J t^3 / 6, so s'^2 = (9 J / 2)^(2/3) s^(4/3).
    jerk = min(j / np.abs(q[0]).max() for q, _, j in rows)
    cap[[1, -2]] = np.minimum(cap[[1, -2]], (4.5 * jerk) ** (2 / 3) * step ** (4 / 3))
    cap[[0, -1]] = 0.0
    least = 1e-6 * cap.max()
    x, taken = np.maximum(np.interp(s, start[0], np.square(start[1])), least), np.inf
    for _ in range(ROUNDS):
        now, matrices, most = diags(x), [], []
        for (q1, q2, q3), a, j in rows:
            for at, node in ((slice(0, n), before), (slice(1, nodes), after)):
                pull = (diags(q1[at]) @ u + diags(q2[at]) @ node) @ now / a
                matrices += [pull, -pull]
            c1, c2, c3 = q1[1:-1], q2[1:-1], q3[1:-1]
            bend = diags(c3) @ inner + diags(1.5 * c2) @ (left + right) + diags(c1 / step) @ (right - left)
            jolt = diags(np.sqrt(x[1:-1]) / j) @ bend @ now
            matrices += [0.5 * inner + jolt, 0.5 * inner - jolt]
            most += [np.ones(4 * n), np.full(2 * (n - 1), 1.5)]
        found = linprog(
            -1.0 / np.sqrt(x / x.max()),
            A_ub=vstack(matrices).tocsr(),
            b_ub=np.concatenate(most),
            bounds=np.stack([np.zeros(nodes), cap / x], axis=1),
            method="highs-ipm",
        )
        assert found.status == 0, found.message
        v = np.sqrt(np.maximum(found.x * x, 0.0))
        last, taken = taken, float((2 * step / (v[1:] + v[:-1])).sum())
        if abs(last - taken) < SAME * taken:
            break
        x = np.maximum(v * v, least)
    return taken
