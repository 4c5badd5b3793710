"""Lone straights in six coordinates on random machines, and the best seven-segment profile for each by a search.

A profile is a trapezoid of the speed, averaged over a window (L. Biagiotti, C. Melchiorri, Trajectory Planning for
Automatic Machines and Robots, Springer 2008, section 3.4: the double S). Its shape is two shares of its time. With
time stretched by k the use of limits of speed, acceleration and jerk falls by k, k^2, k^3, so one look along the line
gives the least time of a shape. Lengths of struts are distances of joints that scipy turns; their derivatives are
those of a Chebyshev series through them.
"""

from dataclasses import dataclass, replace

import numpy as np
from feed.jobs import FRAME, MACHINE, lines
from numpy.polynomial import chebyshev
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from hexpost.machine.model import Machine
from hexpost.moves.model import Moves

NODES, LOOKS = 32, 48
"""Nodes of the series along a line; looks at each part of a profile that has one jerk."""
RAPID = 0.98
"""Share of the strut limits that rapids keep."""


@dataclass(frozen=True)
class LoneLine:
    """One line from rest to rest, and the machine that it is for."""

    moves: Moves
    on: Machine


def lone_line(seed: int, period: float = 1.25e-4) -> LoneLine:
    """Return a random line of 3 to 400 mm that tilts, two times in three, on a machine with other joints and limits."""
    rng = np.random.default_rng(seed)
    struts = tuple(
        replace(
            s,
            base_joint=s.base_joint * rng.uniform(0.85, 1.15, 3),
            platform_joint=s.platform_joint * rng.uniform(0.85, 1.15, 3),
            speed=s.speed * 10.0 ** rng.uniform(-1.5, 0.0),
            acceleration=s.acceleration * 10.0 ** rng.uniform(-1.5, 0.0),
            jerk=s.jerk * 10.0 ** rng.uniform(-1.5, 0.0),
        )
        for s in MACHINE.struts
    )
    start, way = rng.uniform(-150, 150, 6), rng.normal(size=6)
    way[:3] *= 10.0 ** rng.uniform(0.5, 2.6) / np.linalg.norm(way[:3])
    start[3:], way[3:] = rng.uniform(-0.25, 0.25, 3), way[3:] * rng.choice([0.0, 0.03, 0.2])
    end = np.clip(start + way, -180, 180)
    tip = replace(MACHINE.tool_tip, **{
        n: getattr(MACHINE.tool_tip, n) * 10.0 ** rng.uniform(0.0, 2.0)
        for n in ("speed", "acceleration", "jerk", "tilt_speed", "tilt_acceleration", "tilt_jerk")
    })  # fmt: skip
    return LoneLine(
        moves=lines(np.stack([start, end], axis=1), np.inf),
        on=replace(MACHINE, struts=struts, period=period, tool_tip=tip),
    )


def derivatives(case: LoneLine) -> list[np.ndarray]:
    """Return series (NODES, 6) for three derivatives of the struts' lengths over the share of the way, from -1 to 1."""
    at = chebyshev.chebpts1(NODES)
    start, end = case.moves.start, case.moves.end
    pose = start + (end - start) * (at + 1) / 2
    turn = Rotation.from_euler("xyz", pose[3:].T).as_matrix()
    base = np.array([s.base_joint for s in case.on.struts]) - FRAME.base_from_work[:3, 3]
    joints = np.array([s.platform_joint for s in case.on.struts]) - FRAME.tip
    length = np.linalg.norm(pose[:3].T[:, None] + np.einsum("nij,kj->nki", turn, joints) - base, axis=2)
    series = chebyshev.chebfit(at, length, NODES - 1)
    return [chebyshev.chebder(series, k) * 2.0**k for k in (1, 2, 3)]


def looks(share: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return place, speed, acceleration, jerk (n,) of a profile of time 1 and way 1.

    ``share``: four times the share of a jerk; of what is left that of the cruise; of the rest that of the first ramp.
    """
    j, w, r = share
    rest = (1 - j) * (1 - w)
    parts = np.array([j / 4, rest * r, j / 4, (1 - j) * w, j / 4, rest * (1 - r), j / 4])
    up, down = parts[0] + parts[1], parts[4] + parts[5]
    jerk = np.array([1 / up, 0, -1 / up, 0, -1 / down, 0, 1 / down])
    s = v = a = 0.0
    out = []
    t = np.linspace(0, 1, LOOKS)
    for h, k in zip(parts, jerk, strict=True):
        x = t * h
        out.append([s + x * (v + x * (a / 2 + x * k / 6)), v + x * (a + x * k / 2), a + x * k, k + 0 * x])
        s, v, a = (float(y[-1]) for y in out[-1][:3])
    at, *rates = np.concatenate(out, axis=1)
    return at / s, *(x / s for x in rates)


def least_time(case: LoneLine, series: list[np.ndarray], share: np.ndarray) -> float:
    """Return the least duration in s of a profile within all limits."""
    at, v, a, j = looks(share)
    l1, l2, l3 = (chebyshev.chebval(2 * at - 1, c) for c in series)
    speed, acceleration, jerk = (
        RAPID * np.array([[getattr(s, n)] for s in case.on.struts]) for n in ("speed", "acceleration", "jerk")
    )
    tip, way = case.on.tool_tip, case.moves.end - case.moves.start
    d, turn = np.linalg.norm(way[:3]), np.linalg.norm(way[3:])
    most = [np.abs(x).max() for x in (v, a, j)]
    use = [
        max(np.abs(l1 * v / speed).max(), d * most[0] / tip.speed, turn * most[0] / tip.tilt_speed),
        max(np.abs((l1 * a + l2 * v**2) / acceleration).max(), d * most[1] / tip.acceleration,
            turn * most[1] / tip.tilt_acceleration),
        max(np.abs((l1 * j + 3 * l2 * v * a + l3 * v**3) / jerk).max(), d * most[2] / tip.jerk,
            turn * most[2] / tip.tilt_jerk),
    ]  # fmt: skip
    return max(u ** (1 / (k + 1)) for k, u in enumerate(use))


def best_time(case: LoneLine, *, even: bool = True) -> float:
    """Return the least duration in s over all shapes; ``even``: both ramps alike."""
    series = derivatives(case)

    def time(x):
        return least_time(case, series, np.clip([*x, 0.5] if even else x, 1e-4, 1 - 1e-4))

    grid = np.linspace(0.05, 0.95, 7)
    shapes = [[x, y] if even else [x, y, 0.5] for x in grid for y in grid]
    how = {"xatol": 1e-4, "fatol": 1e-7, "maxiter": 200}
    return min(minimize(time, x, method="Nelder-Mead", options=how).fun for x in sorted(shapes, key=time)[:3])
