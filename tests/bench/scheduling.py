"""The exact scan against toppra and against the same two passes compiled; what a jerk limit costs; never failing."""

import logging
import statistics
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline, make_interp_spline

sys.path.insert(0, str(Path(__file__).parents[1]))

from feed.jobs import FRAME, MACHINE, lines, pauses
from feed.lone_lines import best_time, lone_line

from hexpost.feed.chunks import ChunkLayout, times
from hexpost.feed.plan import plan
from hexpost.feed.scan import scan
from hexpost.kinematics.struts import StrutModel
from hexpost.path.build import build
from hexpost.path.model import QUINTIC
from hexpost.setpoints.sample import sample
from hexpost.setpoints.solve import Solver

STRUTS = StrutModel(MACHINE).in_frame(FRAME.base_from_work, FRAME.tip)
SPEED, ACCELERATION, FEED, ALONG = 400.0, 4000.0, 200.0, 3000.0


def tool_path(length, seed=1):
    """Return knots of arc length, 1 mm apart, and poses (6, n): circles of 15 to 60 mm and free curves, with tilt."""
    rng = np.random.default_rng(seed)
    points, here, total = [np.zeros(6)], np.zeros(6), 0.0
    while total < 1.1 * length:
        if rng.random() < 0.5:
            radius, start = rng.uniform(15, 60), rng.uniform(0, 2 * np.pi)
            centre = here[:2] - radius * np.array([np.cos(start), np.sin(start)])
            if np.abs(centre).max() + radius > 160:
                continue
            turn = start + np.linspace(0, 2 * np.pi, max(24, int(radius * 1.6)))[1:]
            part = np.tile(here, (len(turn), 1))
            part[:, 0], part[:, 1] = centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)
            part[:, 3:5] += np.outer(np.linspace(0, 1, len(turn)), rng.uniform(-0.05, 0.05, 2))
        else:
            k = np.vstack([here, rng.uniform(-1, 1, (3, 6)) * (140, 140, 60, 0.26, 0.26, 0)])
            d = np.append(0, np.cumsum(np.linalg.norm(np.diff(k[:, :3], axis=0), axis=1)))
            part = CubicSpline(d, k)(np.linspace(0, d[-1], max(8, int(d[-1] / 12)))[1:])
        total += np.linalg.norm(np.diff(np.vstack([here, part])[:, :3], axis=0), axis=1).sum()
        points.extend(part)
        here = part[-1]
    points = np.array(points)
    d = np.append(0, np.cumsum(np.linalg.norm(np.diff(points[:, :3], axis=0), axis=1)))
    coarse = CubicSpline(d, points)
    fine = np.arange(0, d[-1], 0.05)
    speed = np.linalg.norm(coarse(fine, 1)[:, :3], axis=1)
    s = np.append(0, np.cumsum((speed[1:] + speed[:-1]) * 0.025))
    knots = np.arange(0, length + 1e-9, 1.0)
    return knots, coarse(np.interp(knots, s, fine)).T


def case(nodes=100_000, length=10_000.0):
    """Return knots, rows of struts and path (7, n) at the knots, and a spline of them, with grid and limits."""
    knots, poses = tool_path(length)
    rows = np.vstack([STRUTS.lengths(poses), knots])
    grid = np.linspace(0, knots[-1], nodes + 1)
    return knots, rows, make_interp_spline(knots, rows, k=3, axis=1), grid


SPEEDS = np.array([*[SPEED] * 6, FEED])
LIMITS = np.array([*[ACCELERATION] * 6, ALONG])


def ours(spline, grid, chunks=None):
    """Return seconds of the scan alone, and the profile; the geometry is evaluated where the layout wants it."""
    layout = ChunkLayout.of(len(grid), chunks)
    at = grid[layout.index()]
    slope, bend = (np.ascontiguousarray(spline(at, k).transpose(1, 0, 2)) for k in (1, 2))
    cap = ((SPEEDS[:, None] / np.maximum(np.abs(slope), 1e-12)) ** 2).min(axis=1)
    t = time.perf_counter()
    x = layout.flat(scan(layout, slope, bend, LIMITS, cap=cap, step=grid[1]))
    times(x, grid[1])
    return time.perf_counter() - t, x


def toppra(knots, rows, grid):
    """Return seconds of the other solver alone, and its profile."""
    import toppra as ta
    from toppra import algorithm, constraint

    logging.disable(logging.CRITICAL)
    path = ta.SplineInterpolator(knots, rows.T, bc_type="not-a-knot")
    kind = constraint.DiscretizationType.Interpolation
    both = [
        constraint.JointVelocityConstraint(np.column_stack([-SPEEDS, SPEEDS])),
        constraint.JointAccelerationConstraint(np.column_stack([-LIMITS, LIMITS]), discretization_scheme=kind),
    ]
    solver = algorithm.TOPPRA(both, path, gridpoints=grid, solver_wrapper="seidel")
    t = time.perf_counter()
    _, sd, _ = solver.compute_parameterization(0.0, 0.0)
    return time.perf_counter() - t, sd**2


def schedule_vs_toppra():
    """Time of toppra over that of the scan: 1e5 nodes, struts and feed, limits at both ends of every interval."""
    knots, rows, spline, grid = case()
    other, x = toppra(knots, rows, grid)
    mine = [ours(spline, grid) for _ in range(7)]
    seconds = statistics.median(t for t, _ in mine)
    far = times(mine[0][1], grid[1])[-1] / times(x, grid[1])[-1] - 1
    return {"ratio": other / seconds, "nodes_per_s": len(grid) / seconds, "duration_difference": far}


def schedule_duration():
    """Relative difference of the durations."""
    knots, rows, spline, grid = case(20_000, 2000.0)
    x, y = ours(spline, grid)[1], toppra(knots, rows, grid)[1]
    return {"ratio": abs(times(x, grid[1])[-1] / times(y, grid[1])[-1] - 1), "profile": np.abs(x - y).max() / y.max()}


def schedule_vs_compiled():
    """Time of the same two passes, node by node, compiled, over that of the scan."""
    from compiled_scan import two_passes

    _, _, spline, grid = case()
    slope, bend = (np.ascontiguousarray(spline(grid, k).T) for k in (1, 2))
    cap = ((SPEEDS / np.maximum(np.abs(slope), 1e-12)) ** 2).min(axis=1)
    two_passes(slope[:100], bend[:100], cap[:100], LIMITS, grid[1])
    pairs = []
    for _ in range(7):
        t = time.perf_counter()
        x = two_passes(slope, bend, cap, LIMITS, grid[1])
        other = time.perf_counter() - t
        mine, y = ours(spline, grid)
        pairs.append((other / mine, other, mine))
    far = np.abs(x - y).max() / x.max()
    return {"ratio": statistics.median(p[0] for p in pairs), "profile_difference": far}


def spline_path(knots, poses):
    """Return a path whose pieces are those of a cubic spline through poses (6, n), and the one move it stands for."""
    spline = CubicSpline(knots, poses, axis=1)
    n = len(knots) - 1
    one = build(lines(poses[:, [0, -1]], FEED), MACHINE)
    size = np.diff(knots)
    powers = np.zeros((6, 6, n))
    powers[:4] = spline.c[::-1].transpose(0, 2, 1) * (size ** np.arange(4)[:, None])[:, None]
    path = replace(
        one,
        kind=np.full(n, QUINTIC, dtype=np.uint8),
        move=np.zeros(n, dtype=np.int32),
        offset=np.zeros(n),
        size=size,
        s0=knots,
        slot=np.arange(n, dtype=np.int32),
        span_first=np.array([0, n]),
        quintics=powers,
    )
    return path, lines(poses[:, [0, -1]], FEED)


def limited(jerk, length=10_000.0):
    """Return the seconds of motion along the path with this jerk limit of the struts; the tip is not limited."""
    path, moves = spline_path(*tool_path(length))
    tip = replace(MACHINE.tool_tip, acceleration=1e6, jerk=1e12, tilt_jerk=1e12, tilt_acceleration=1e6, tilt_speed=1e3)
    struts = tuple(replace(s, speed=SPEED, acceleration=ACCELERATION, jerk=jerk) for s in MACHINE.struts)
    return plan(path, moves, pauses(), replace(MACHINE, tool_tip=tip, struts=struts), "strut-limited").ticks * 1e-3


def jerk_cost():
    """Percent of time that a jerk limit of 100 A/s adds to none."""
    with_limit, without = limited(100 * ACCELERATION), limited(1e12)
    _, _, spline, grid = case()
    exact = times(ours(spline, grid)[1], grid[1])[-1]
    return {
        "ratio": 100 * (with_limit / without - 1),
        "with_s": with_limit,
        "without_s": without,
        "over_exact_percent": 100 * (with_limit / exact - 1),
    }


def never_fails(jobs=10_000, seed=0):
    """Count random machines and paths whose strut-limited schedule fails or breaks a limit at a setpoint.

    Joints lie elsewhere, limits are up to a thousand times smaller or three times larger. ``turns``: how often
    a strut changed the sense of its motion under way, where it has no inertia along the path.
    """
    from feed.test_plan import random_moves

    rng, bad, turns = np.random.default_rng(seed), 0, 0
    names = ("speed", "acceleration", "jerk")
    for k in range(jobs):
        moves = random_moves(int(rng.integers(2**32)), int(rng.integers(1, 8)))
        share = dict(zip(names, 10.0 ** rng.uniform(-3, 0.5, 3), strict=True))
        struts = tuple(
            replace(
                s,
                base_joint=s.base_joint * rng.uniform(0.85, 1.15, 3),
                platform_joint=s.platform_joint * rng.uniform(0.85, 1.15, 3),
                **{n: getattr(s, n) * x for n, x in share.items()},
            )
            for s in MACHINE.struts
        )
        on = replace(MACHINE, struts=struts, period=float(rng.choice([1e-3, 4e-3, 1e-2])))
        try:
            path = build(moves, on)
            timing = plan(path, moves, pauses(), on, "strut-limited")
            solver, worst = Solver(on, moves.frames), 0.0
            for poses in sample(timing, path, moves):
                s = solver.solve(poses)
                turns += int((s.speed[:, 1:] * s.speed[:, :-1] < 0.0).sum())
                for n in names:
                    limit = np.array([[getattr(x, n)] for x in struts])
                    worst = max(worst, float(np.abs(getattr(s, n) / limit).max()))
            bad += worst > 1 + 1e-9
        except Exception as error:  # noqa: BLE001 - whatever fails is counted
            print(k, error, file=sys.stderr)
            bad += 1
    return {"ratio": bad, "jobs": jobs, "turns": turns}


def lone_line_ratio(lines_tried=200):
    """Duration of rapids over that of the best seven-segment profile, both ramps alike; the worst of all.

    Planned with ticks of an eighth of a millisecond. ``of_any_ramps``: the worst of the first twenty against profiles
    whose ramps may differ, too.
    """
    ratios, uneven = [], []
    for seed in range(lines_tried):
        case = lone_line(seed)
        path = build(case.moves, case.on)
        taken = plan(path, case.moves, pauses(), case.on).ticks * case.on.period
        ratios.append(taken / best_time(case))
        if seed < 20:
            uneven.append(taken / best_time(case, even=False))
    return {
        "ratio": max(ratios),
        "median": statistics.median(ratios),
        "least": min(ratios),
        "of_any_ramps": max(uneven),
    }
