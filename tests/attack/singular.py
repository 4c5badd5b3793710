"""Random machines on random ways past, up to and through singular poses, judged by a determinant of our own.

The rows here are line coordinates of the struts about the origin, [u, a x u] with the base joints a (J. Pluecker), and
the determinant is had by elimination with pivots; ways are looked at many times finer than their samples.
"""

import numpy as np
from attack.model import Outcome

from hexpost.kinematics.frames import rotation
from hexpost.kinematics.singular import LEAST, Course, Nearness, Watch, lowest
from hexpost.kinematics.struts import Struts

FINE = 24
"""So many poses are looked at in a period."""
SURE = 0.02
"""A pose with more conditioning than this is never refused."""
HARDEST = 20.0
"""Accelerations of these ways in base radii, and in radians, per s2: 10 to 20 m/s2 on a machine of usual size."""
MANY, SHORT = 100, 60
COORDINATES = 6


def machine(rng):
    """Return six random struts (base and platform joints seen from the tip), a good pose, and the platform's radius."""
    scale = 10.0 ** rng.uniform(-1.0, 4.0)
    while True:
        joints = []
        for radius in (scale, scale * rng.uniform(0.2, 0.9)):
            at = np.sort(rng.uniform(0, 2 * np.pi, COORDINATES)) if rng.random() < 0.3 else _pairs(rng)
            flat = np.stack([radius * np.cos(at), radius * np.sin(at), np.zeros(COORDINATES)], axis=1)
            joints.append(flat + rng.normal(size=(COORDINATES, 3)) * radius * rng.choice([0.0, 0.02, 0.2]))
        base, platform = joints
        platform = platform - rng.normal(size=3) * scale * 0.4
        struts = Struts(base, platform, str(rng.choice(["ABC", "CBA", "BCA"])))
        pose = np.append(rng.normal(size=3) * scale * 0.2, rng.normal(size=3) * 0.2)
        pose[2] += scale * rng.uniform(0.6, 2.0)
        if conditioning(struts, pose[:, None])[0] > 3 * SURE:
            return struts, pose, scale


def _pairs(rng):
    """Return six angles about a circle, two and two near to each other."""
    half = rng.uniform(0.05, 1.0)
    return np.concatenate([k * 2 * np.pi / 3 + np.array([-half, half]) for k in range(3)]) + rng.uniform(0, 7)


def lines(struts, pose):
    """Return the line coordinates (n, 6, 6) of the struts at poses (6, n), and their platform joints (n, 6, 3)."""
    joints = pose[:3].T[:, None] + np.einsum("ijn,kj->nki", rotation(*pose[3:], struts.order), struts.platform)
    u = joints - struts.base
    u /= np.linalg.norm(u, axis=2, keepdims=True)
    return np.concatenate([u, np.cross(np.broadcast_to(struts.base, u.shape), u)], axis=2), joints


def determinant(rows):
    """Return the determinants (n,) of matrices (n, 6, 6), by elimination."""
    a, out = rows.copy(), np.ones(len(rows))
    every = np.arange(len(rows))
    for k in range(COORDINATES):
        pivot = k + np.abs(a[:, k:, k]).argmax(axis=1)
        swapped = a[every, pivot].copy()
        a[every, pivot], a[:, k] = a[:, k], swapped
        out *= np.where(pivot == k, 1.0, -1.0) * a[:, k, k]
        safe = np.where(a[:, k, k] == 0.0, 1.0, a[:, k, k])
        a[:, k + 1 :] -= (a[:, k + 1 :, k] / safe[:, None])[:, :, None] * a[:, k, None]
    return out


def radius(struts):
    """Return the root mean square distance of the platform joints from their middle."""
    return float(np.sqrt(((struts.platform - struts.platform.mean(axis=0)) ** 2).sum(axis=1).mean()))


def conditioning(struts, pose):
    """Return 6 / (|J| |J^-1|) (n,) by singular values, about the middle of the platform joints; never negative."""
    rows, joints = lines(struts, pose)
    middle = joints.mean(axis=1, keepdims=True)
    about = np.concatenate(
        [rows[:, :, :3], (rows[:, :, 3:] - np.cross(middle, rows[:, :, :3])) / radius(struts)], axis=2
    )
    values = np.linalg.svd(about, compute_uv=False)
    values = np.maximum(values, 1e-300)
    return 6.0 / (np.linalg.norm(values, axis=1) * np.linalg.norm(1.0 / values, axis=1))


def lowest_held(struts, pose, sides):
    """Return the least conditioning of poses (6, n) with determinants (n,), or infinity where all are above ``SURE``.

    |J|2 is at most 12 and that of the adjugate 6 (|J|2 / 6)^5 (C. Maclaurin, 1729): conditioning is at least an eighth
    of the determinant over the cube of the radius.
    """
    some = np.abs(sides) / radius(struts) ** 3 < 8.0 * SURE
    return conditioning(struts, pose[:, some]).min() if some.any() else np.inf


class Way:
    """A pose that swings about a good one: three tones in each coordinate, all of them times ``size``."""

    def __init__(self, rng, struts, pose, scale):
        self.struts, self.pose = struts, pose
        self.period = float(rng.choice([0.25e-3, 1e-3, 4e-3]))
        self.count = int(rng.integers(40, 400))
        unit = np.repeat([scale * 0.5, 1.0], 3)
        self.sway = rng.normal(size=(3, COORDINATES)) * unit * np.array([[1.0], [0.3], [0.02]])
        self.sway *= rng.random(COORDINATES) < rng.choice([0.3, 1.0])
        span = self.count * self.period
        self.pace = 2 * np.pi / span * np.array([rng.uniform(0.3, 1.0), rng.uniform(1, 3), rng.uniform(3, 12)])
        self.phase = rng.uniform(0, 2 * np.pi, 3)
        pull = np.abs(self.at(np.linspace(0.0, span, 400), 1.0, 2)) / np.repeat([scale, 1.0], 3)[:, None]
        self.pace *= min(1.0, np.sqrt(HARDEST / max(pull.max(), 1e-9)))

    def at(self, t, size, order=0):
        """Return poses (6, n) at times (n,) or their derivatives."""
        turn = self.pace[:, None] * t + self.phase[:, None] + order * np.pi / 2
        tones = np.sin(turn) * self.pace[:, None] ** order
        return size * self.sway.T @ tones + (self.pose[:, None] if order == 0 else 0.0)

    def course(self, size):
        """Return the samples as the audit sees them."""
        t = np.arange(self.count) * self.period
        close = np.linspace(0.0, t[-1], 20 * self.count)
        pull = self.at(close, size, 2)
        most = (float(np.linalg.norm(pull[:3], axis=0).max()), float(np.abs(pull[3:]).sum(axis=0).max()))
        pose, rate, acceleration = (self.at(t, size, k) for k in range(3))
        return Course(pose=pose, rate=rate, acceleration=acceleration, period=self.period, most=most)

    def finely(self, size, before=0, after=0.0, fine=FINE):
        """Return poses many times finer than the samples, and from some periods before to some after them."""
        last = self.count - 1 + after
        return self.at(np.linspace(-before, last, round(fine * (last + before)) + 1) * self.period, size)

    def sides(self, size, good, **span):
        """Return the determinants at fine steps, positive on the good side."""
        return determinant(lines(self.struts, self.finely(size, **span))[0]) * good


def told(way, size, good):
    """Return the lowest conditioning that the tool sees, or infinity where it sees no reason to speak."""
    near, course = Nearness(way.struts, radius(way.struts), good), way.course(size)
    _, found = lowest(near, course, LEAST, LEAST)
    least = float(found.min(initial=np.inf))
    return -np.inf if Watch(near).clear(course, LEAST) and least < LEAST else least


def judged(way, size, good, fine=FINE):
    """Return what is wrong with the verdict on a way, if anything; and whether the way is singular."""
    sides = way.sides(size, good, fine=fine)
    least = lowest_held(way.struts, way.finely(size, fine=fine), sides)
    singular = sides.min() <= 0.0 or least < LEAST
    lowest_told = told(way, size, good)
    if lowest_told == -np.inf:
        return "a neighbourhood was called clear", singular
    seen = lowest_told < LEAST
    if singular and not seen:
        return f"not seen: conditioning {least}, determinant {sides.min()}", True
    if not singular and seen:
        around = way.finely(size, 1, 0.5)
        least = lowest_held(way.struts, around, way.sides(size, good, before=1, after=0.5))
        if least > SURE:
            return f"refused with conditioning {least}", False
    return "", singular


def _note(outcome, way, size, wrong, singular):
    """Count what was judged of a way at a size."""
    outcome.tried += 1
    outcome.refused += singular
    outcome.clean += not singular
    joints = f"{way.struts.base.tolist()}, {way.struts.platform.tolist()}"
    outcome.wrong += [f"{wrong} at {size} of {joints}"] if wrong else []


def trial(rng, place=None):
    """Judge a random way at random sizes, and as it just grazes a singular pose, between samples mostly."""
    rng = np.random.default_rng(rng.getrandbits(64))
    struts, pose, scale = machine(rng)
    way, outcome = Way(rng, struts, pose, scale), Outcome(tried=0)
    good = float(np.sign(determinant(lines(struts, pose[:, None])[0])[0]))
    sizes, low, high = [rng.uniform(0.02, 0.3)], 0.0, 1.0
    if way.sides(high, good, fine=4).min() < 0.0:
        for _ in range(16):
            middle = (low + high) / 2.0
            crossed = way.sides(middle, good, fine=4).min() < 0.0
            low, high = (low, middle) if crossed else (middle, high)
        sizes += [low, high, high * 1.0001, 1.0]
    for size in sizes:
        _note(outcome, way, size, *judged(way, size, good))
    return outcome


def clear(rng, place=None):
    """Judge many short ways, most of them clear of singular poses: none of these is refused."""
    rng, outcome = np.random.default_rng(rng.getrandbits(64)), Outcome(tried=0)
    for _ in range(MANY):
        struts, pose, scale = machine(rng)
        way = Way(rng, struts, pose, scale)
        way.count = min(way.count, SHORT)
        good = float(np.sign(determinant(lines(struts, pose[:, None])[0])[0]))
        size = 10.0 ** rng.uniform(-2.0, -0.3)
        _note(outcome, way, size, *judged(way, size, good, fine=2))
    return outcome


KINDS = {"ways past singular poses": trial, "ways clear of singular poses": clear}
