"""How much time a job takes by how finely a curve is written: scheduled seconds, which are the same on any machine."""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from feed.jobs import MACHINE, circle, lines, pauses

from hexpost.motion import motion
from hexpost.path.build import build

FEED = 20_000.0 / 60.0
"""mm/s: what such machines are bought for."""
BEFORE = {"fineness": 147.0, "fineness-of-curves": 22.3, "dense-program": 4.14}
"""The same figures before chains were smoothed in millimetres, by the vertices' own binomial means."""


def seconds(moves):
    """Return the scheduled time of moves from rest to rest."""
    timing = motion(build(moves, MACHINE), moves, pauses(), MACHINE)[1]
    return timing.ticks * timing.period


def chain(points, decimals, feed=FEED):
    """Return straight moves through ``points`` (6, n) as a program holds them: rounded, no move of no length."""
    q = np.round(points, decimals)
    q[3:] = np.radians(q[3:])
    keep = np.concatenate([[True], (np.diff(q, axis=1) != 0).any(axis=0)])
    return lines(q[:, keep], feed)


def ring(u, radius=20.0):
    """Return points on a circle at shares ``u`` of a turn."""
    q = np.zeros((6, len(u)))
    q[0], q[1] = radius * np.cos(2 * np.pi * u), radius * np.sin(2 * np.pi * u)
    return q


def eight(u):
    """Return points on a Lissajous curve (Bowditch): three swings by two."""
    q = np.zeros((6, len(u)))
    q[0], q[1] = 60 * np.sin(6 * np.pi * u), 40 * np.sin(4 * np.pi * u + 0.5)
    return q


def wave(u, tilt=0.0):
    """Return points on a wave of four periods, on which the tool may tilt by some degrees."""
    q = np.zeros((6, len(u)))
    q[0], q[1] = 200 * u - 100, 10 * np.sin(8 * np.pi * u)
    q[3], q[4] = tilt * 4 * np.sin(6 * np.pi * u + 1), tilt * 5 * np.cos(4 * np.pi * u)
    return q


def tilted(u):
    """Return points on the wave with a tool that tilts."""
    return wave(u, 1.0)


def even(n):
    """Return ``n`` + 1 shares, evenly spread."""
    return np.linspace(0.0, 1.0, n + 1)


def uneven(n, times=7, ratio=20.0):
    """Return ``n`` + 1 shares that lie ``ratio`` times denser in places than in others, ``times`` over."""
    u = np.linspace(0.0, 1.0, 20_001)
    rate = np.exp(np.log(ratio) / 2 * np.cos(2 * np.pi * times * u))
    c = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2)])
    return np.interp(np.linspace(0.0, 1.0, n + 1), c / c[-1], u)


def surface(step, rows=23, width=40.0):
    """Return points ``step`` mm apart on rows, there and back, over a surface of waves."""
    out = []
    for i in range(rows):
        x = np.linspace(-width / 2, width / 2, round(width / step) + 1)[:: 1 if i % 2 == 0 else -1]
        q = np.zeros((6, len(x)))
        q[0], q[1] = x, 0.3 * i
        q[2] = 2 * np.sin(x / 5) * np.cos(q[1] / 7) + 0.3 * np.sin(x / 1.5)
        out.append(q)
    return np.concatenate(out, axis=1)


def fineness():
    """Largest over smallest time of a circle in 300 to 40,000 chords of 3, 4 and 6 decimals, and over an arc's."""
    arc = seconds(circle(20.0, 2 * np.pi, FEED))
    times = [
        seconds(chain(ring(even(n)), d))
        for n in (300, 600, 1_200, 2_500, 5_000, 10_000, 20_000, 40_000)
        for d in (3, 4, 6)
    ]
    return {"ratio": max(times) / min(times), "over_arc": max(times) / arc, "before": BEFORE["fineness"]}


def fineness_of_curves():
    """The largest time of curves written unevenly, from 5,000 points on, over that of their best even exact chain."""
    worst = {}
    for curve in (eight, wave, tilted):
        best = min(seconds(chain(curve(even(n)), 9)) for n in (1_200, 2_500, 5_000))
        times = [seconds(chain(curve(uneven(n)), d)) for n in (5_000, 20_000) for d in (3, 4)]
        worst[curve.__name__] = max(times) / best
    return {"ratio": max(worst.values()), "before": BEFORE["fineness-of-curves"], **worst}


def dense_program():
    """Time of a surface in 54,000 moves of 0.017 mm and three decimals over that in moves of 0.17 mm and six."""
    fine, coarse = chain(surface(0.017), 3), chain(surface(0.17), 6)
    return {"ratio": seconds(fine) / seconds(coarse), "moves": fine.count, "before": BEFORE["dense-program"]}
