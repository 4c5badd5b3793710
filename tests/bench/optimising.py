"""Schedules at the optimum against sequences of linear programs, which know nothing of splines; time by stretches."""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from feed.jobs import MACHINE, lines, pauses
from feed.linear_programs import optimum
from feed.test_optimum import FREE, helix, ramp
from feed.test_strut_limited import MODEL, planned, with_struts

from hexpost.feed.optimal import shortened
from hexpost.feed.plan import plan
from hexpost.path.build import build

BEFORE = 1.26
"""The worst ratio of the schedules without this stage, against programs of 250 nodes."""
NODES = 1000
"""Of a linear program. Fewer do not see the first step from rest: 250 find 0.6 to 1.8 % less time than these."""
HELIX = helix(60.0, 3 * np.pi, 2000.0, 30.0, (0.2, -0.15))
CASES = {
    "jerk_helix_60": (HELIX, (1.0, 1.0, 0.02)),
    "more_jerk_helix_60": (HELIX, (1.0, 1.0, 0.05)),
    "jerk_circle_60": (helix(60.0, 4 * np.pi, 2000.0), (1.0, 1.0, 0.05)),
    "jerk_helix_20": (helix(20.0, 4 * np.pi, 2000.0, 20.0), (1.0, 1.0, 0.02)),
    "jerk_ramp": (ramp(2000.0), (1.0, 1.0, 0.02)),
    "acceleration": (HELIX, (1.0, 0.05, 1.0)),
    "mixed": (HELIX, (0.1, 0.1, 0.2)),
}


def jerk_gap():
    """Duration over that of linear programs, the worst of seven cases; ``best_``: with all effort."""
    figures = {}
    for name, (moves, shares) in CASES.items():
        on = with_struts(*shares, **FREE)
        path, timing = planned(moves, on)
        motion = timing.motion(np.arange(4 * timing.ticks + 1) / 4)
        least = optimum(path, MODEL, on, float(moves.feed[0]), (motion.s, motion.speed), NODES)
        for word, effort in (("", False), ("best_", True)):
            best = shortened(path, timing, moves, replace(on, effort=effort))
            figures[word + name] = best.ticks * best.period / least
    usual = [figures[name] for name in CASES]
    held = max(figures["acceleration"], figures["mixed"])
    return {"ratio": max(usual), "where_accelerations_hold": held, "before": BEFORE, **figures}


def planning_linear(few=100_000, many=1_000_000):
    """Processor time that a piece takes to plan within the struts, in one span of a million over one of 100,000."""
    each = []
    for pieces in (few, many):
        t = 0.4 * np.arange(2 * pieces + 1.0)
        k, points = 2 * np.pi / 150, np.zeros((6, len(t)))
        points[:3] = 90.0 * np.sin(t / 120.0), 70.0 * np.cos(t / 170.0), 15.0 * np.sin(k * t)
        points[3:5] = 0.1 * np.sin(k * t / 3), 0.1 * np.cos(k * t / 4)
        moves = lines(points, 50.0)
        path = build(moves, MACHINE)
        begin = time.process_time()
        plan(path, moves, pauses(), MACHINE, "strut-limited")
        each.append((time.process_time() - begin) / path.count)
    return {"ratio": each[1] / each[0], "pieces": many, "us_a_piece": 1e6 * each[1]}
