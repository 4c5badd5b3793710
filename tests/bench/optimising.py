"""Schedules at the optimum against sequences of linear programs, which know nothing of interior points or splines."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from feed.linear_programs import optimum
from feed.test_optimum import FREE, helix, ramp
from feed.test_strut_limited import MODEL, planned, with_struts

from hexpost.feed.optimal import shortened

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
