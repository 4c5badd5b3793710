"""Moves for tests: routes put together move by move, and an independent evaluation of what was programmed."""

from dataclasses import replace

import numpy as np

from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import ARC, FEED_TIP, LINE, Arcs, Moves

DEG = np.pi / 180
MACHINE = demonstration_machine()


def machine(tip=0.01, tilt=0.05 * DEG):
    """Return the demonstration machine with other corner tolerances (mm, rad)."""
    limits = replace(MACHINE.tool_tip, corner_tolerance=tip, corner_tolerance_tilt=tilt)
    return replace(MACHINE, tool_tip=limits)


class Route:
    """Moves one after the other, starting at ``start``."""

    def __init__(self, start=(0.0,) * 6):
        self.points = [np.array(start, dtype=float)]
        self.kinds, self.stops, self.arcs = [], [], []

    def line(self, end, stop=False):
        self.points.append(np.array(end, dtype=float))
        self.kinds.append(LINE)
        self.stops.append(stop)
        return self

    def arc(self, centre, turn, rise=0.0, tilt=(0.0, 0.0, 0.0), axis=2, stop=False):
        """Add an arc by ``turn`` about ``axis`` through ``centre`` (3,)."""
        start = self.points[-1]
        end = start.copy()
        end[:3] = centre + _about(axis, turn) @ (start[:3] - centre)
        end[axis] += rise
        end[3:] += tilt
        self.arcs.append((len(self.kinds), np.array(centre, dtype=float), axis, turn))
        self.points.append(end)
        self.kinds.append(ARC)
        self.stops.append(stop)
        return self

    def moves(self):
        q = np.array(self.points).T
        n = len(self.kinds)
        stop = np.array(self.stops, dtype=bool)
        stop[-1:] = True
        arcs = Arcs(
            move=np.array([a[0] for a in self.arcs], dtype=np.int64),
            centre=np.array([a[1] for a in self.arcs]).reshape(-1, 3).T,
            axis=np.array([a[2] for a in self.arcs], dtype=np.uint8),
            turn=np.array([a[3] for a in self.arcs], dtype=float),
        )
        return Moves(
            kind=np.array(self.kinds, dtype=np.uint8),
            start=q[:, :-1].copy(),
            end=q[:, 1:].copy(),
            feed=np.full(n, 50.0),
            feed_mode=np.full(n, FEED_TIP, dtype=np.uint8),
            stop=stop,
            frame=np.zeros(n, dtype=np.int32),
            line=np.arange(1, n + 1, dtype=np.int32),
            arcs=arcs,
            frames=(),
        )


def polyline(points, stop=False):
    """Return straight moves through ``points`` (6, n + 1)."""
    route = Route(points[:, 0])
    for p in points.T[1:]:
        route.line(p, stop)
    return route.moves()


def _about(axis, angle):
    c, s = np.cos(angle), np.sin(angle)
    m = np.eye(3)
    j, k = (axis + 1) % 3, (axis + 2) % 3
    m[j, j] = m[k, k] = c
    m[j, k], m[k, j] = -s, s
    return m


def programmed(moves, i, part):
    """Return poses (6, m) on moves ``i`` (m,) at ``part`` (m,) of their way, from the definition of line and arc."""
    q = moves.start[:, i] + part * (moves.end[:, i] - moves.start[:, i])
    for k, centre, axis, turn in zip(
        moves.arcs.move, moves.arcs.centre.T, moves.arcs.axis, moves.arcs.turn, strict=True
    ):
        at = np.flatnonzero(i == k)
        normal = np.eye(3)[axis]
        arm = moves.start[:3, k] - centre
        arm -= normal * (arm @ normal)
        angle = part[at] * turn
        along = q[axis, at]
        q[:3, at] = centre[:, None] + np.outer(arm, np.cos(angle)) + np.outer(np.cross(normal, arm), np.sin(angle))
        q[axis, at] = along
    return q


def beside(moves, path, k, u):
    """Return the programmed poses (6, m) at the same parameter before or after the vertex of pieces ``k`` at ``u``."""
    w = path.offset[k] + u
    after = w > 0
    i = path.move[k] + after
    return programmed(moves, i, np.where(after, 0.0, 1.0) + w / path.length[i])


def raster(rows=6, per=60, step=0.4, digits=3):
    """Return points (6, n) of a raster over a wavy surface, the tilt following it, rounded as programs are."""
    x = np.arange(per + 1) * step
    x = np.concatenate([x if r % 2 == 0 else x[::-1] for r in range(rows)])
    y = np.repeat(np.arange(rows) * 0.5, per + 1)
    k = 2 * np.pi / 150
    q = np.zeros((6, x.size))
    q[:3] = x, y, 15 * np.sin(k * x) * np.cos(0.8 * k * y)
    q[3:5] = 8 * np.sin(k * y) + 3 * np.cos(k * x), 9 * np.cos(k * x + 0.3)
    q = np.round(q, digits)
    q[3:] *= DEG
    return q


def mixed(n=600, seed=5):
    """Return lines, arcs, helices, tangent and sharp joints, pure rotations, moves straight back; some exact stops."""
    rng = np.random.default_rng(seed)
    route, heading = Route(), np.array([1.0, 0.0, 0.0])
    for i in range(n):
        q, what = route.points[-1], rng.random()
        stop = i % 50 == 49
        if np.abs(q[:3]).max() > 110:
            route.line(np.r_[rng.uniform(-20, 20, 3), q[3:]], stop)
        elif what < 0.35:
            route.line(q + np.r_[rng.uniform(-30, 30, 3), rng.uniform(-0.1, 0.1, 3) * (rng.random() < 0.4)], stop)
        elif what < 0.5:
            route.line(q + np.r_[heading * rng.uniform(1, 15), 0, 0, 0], stop)
        elif what < 0.85:
            axis = int(rng.integers(3))
            across = np.cross(np.eye(3)[axis], heading if rng.random() < 0.5 else rng.normal(size=3))
            if np.linalg.norm(across) < 0.1:
                continue
            side = rng.choice([-1.0, 1.0])
            centre = q[:3] + side * rng.uniform(1, 20) * across / np.linalg.norm(across)
            tilt = rng.uniform(-0.05, 0.05, 3) * (rng.random() < 0.3)
            rise = rng.uniform(-2, 2) * (rng.random() < 0.3)
            route.arc(centre, side * rng.uniform(0.3, 8), rise, tilt, axis, stop)
        elif what < 0.93 and route.kinds and route.kinds[-1] == LINE:
            route.line(route.points[-2], stop)
        else:
            route.line(q + np.r_[0, 0, 0, rng.uniform(-0.1, 0.1, 3)], stop)
        step = route.points[-1][:3] - q[:3]
        if route.kinds[-1] == ARC:
            _, centre, axis, turn = route.arcs[-1]
            step = np.sign(turn) * np.cross(np.eye(3)[axis], route.points[-1][:3] - centre)
        if np.linalg.norm(step) > 1e-9:
            heading = step / np.linalg.norm(step)
    return route.moves()


def inner_joints(path):
    """Return the pieces (k,) that are followed by another one without a stop between."""
    return np.setdiff1d(np.arange(path.count - 1), path.span_first[1:] - 1)


def points(path, per_piece=21):
    """Return pieces (m,), parameters (m,) and poses (6, m) at ``per_piece`` points of each piece."""
    k = np.repeat(np.arange(path.count), per_piece)
    u = path.size[k] * np.tile(np.linspace(0, 1, per_piece), path.count)
    return k, u, path.evaluate(k, u, 0)[0]
