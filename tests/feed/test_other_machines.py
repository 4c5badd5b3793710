"""On machines of any geometry: limits hold between the rows, and strut-limited is never slower than a clean job."""

import random
from contextlib import suppress
from dataclasses import replace
from functools import cache
from itertools import count

import numpy as np
import pytest
from attack.machines import machine as machine_text
from scipy.spatial.transform import Rotation

from hexpost.errors import HexpostError
from hexpost.machine.load import machine_from, no_setup, no_tools
from hexpost.pipeline import parse, schedule, understand

MACHINES, FEW = 22, 6
"""Machines, and how many of them are looked at each time; the others with the long tests."""
FINE, COARSE, PERIOD = 20, 5, 0.004
"""Looks per tick for speed and acceleration, and for jerk: third differences over a twentieth of a tick would show the
rounding of positions."""
ROUNDING = 1e-3
"""Third differences of lengths that are so good, over a soft limit of jerk."""


@cache
def machines():
    """Return random hexapods, each with its number: joints, limits, orders of angles, places of the pallet."""
    out, seeds = [], count()
    while len(out) < MACHINES:
        seed = next(seeds)
        with suppress(HexpostError):  # no joint can hold such a platform
            text = machine_text(random.Random(seed)).encode()
            out.append((seed, replace(machine_from(text, "m.toml"), period=PERIOD)))
    return out


def program(seed, share):
    """Return a program of straight and tilted moves, arcs and turns about the tip, at a ``share`` of usual feeds."""
    rng = random.Random(seed)
    out = ["G21 G17 G90 G94 G64", "G00 X0 Y0 Z120", "S900 M03"]

    def somewhere(turn):
        x, y, z = (rng.uniform(-60, 60) for _ in range(3))
        a, b = (rng.uniform(-turn, turn) for _ in range(2))
        return f"X{x:.2f} Y{y:.2f} Z{140 + z:.2f}" + (f" A{a:.3f} B{b:.3f}" if turn else "")

    for _ in range(3):
        feed = share * rng.choice([3000, 9000, 20000])
        out.append(
            rng.choice([
                f"G01 {somewhere(6)} F{feed:.1f}", f"G01 {somewhere(0)} F{feed:.1f}",
                f"G91 G02 I{rng.uniform(3, 30):.2f} J{rng.uniform(-5, 5):.2f} F{feed:.1f}\nG90",
                f"G01 A{rng.uniform(-8, 8):.2f} B{rng.uniform(-8, 8):.2f} F{share * 2000:.1f}",
                f"G00 {somewhere(4)}",
            ])
        )  # fmt: skip
    return "\n".join(out) + "\nM30\n"


def looked(inputs, mode):
    """Return ticks, and the largest use of speed, acceleration and jerk by differences of lengths between the ticks.

    Lengths are distances of the joints, turned by scipy's rotations.
    """
    job, on = schedule(inputs, mode), inputs.machine
    (frame,) = inputs.meaning.moves.frames
    base = np.array([s.base_joint for s in on.struts]) - frame.base_from_work[:3, 3]
    base, joints = base @ frame.base_from_work[:3, :3], np.array([s.platform_joint for s in on.struts]) - frame.tip
    limit = [np.array([getattr(s, n) for s in on.struts]) for n in ("speed", "acceleration", "jerk")]
    order, timing, most = on.tilt_order, job.timing, np.zeros(3)
    spans = list(zip(timing.start[:-1], timing.end, strict=True))
    for begin, end, fine in ((*ends, fine) for ends in spans for fine in (FINE, COARSE)):
        tick, h = np.arange(begin * fine - 3, end * fine + 4) / fine, on.period / fine
        place = timing.locate(job.path, timing.motion(np.clip(tick, begin, end)))
        pose = job.path.evaluate(place.piece, place.u, 0)[0]
        angles = pose[["ABC".index(x) + 3 for x in order]].T
        named = "".join("xyz"["ABC".index(x)] for x in order)
        turned = np.einsum("nij,kj->nki", Rotation.from_euler(named, angles).as_matrix(), joints)
        length = np.linalg.norm(pose[:3].T[:, None] + turned - base, axis=2)
        for k in range(3):
            length = np.diff(length, axis=0) / h
            if (k == 2) == (fine == COARSE):
                most[k] = max(most[k], np.abs(length / limit[k]).max())
    return timing.ticks, most


@pytest.mark.parametrize(
    "which", [*range(FEW), *(pytest.param(k, marks=pytest.mark.long) for k in range(FEW, MACHINES))]
)
def test_limits_hold_between_the_rows_and_a_clean_job_is_not_slowed_down(which):
    seed, on = machines()[which]
    for share in ((0.5, 0.06)[which % 2],):
        read = parse(program(seed, share).encode(), "p.nc")
        inputs = understand(read, on, no_tools(), no_setup())
        limited, least = looked(inputs, "strut-limited")
        assert (least <= [1.0, 1.0, 1.0 + ROUNDING]).all(), (seed, share, least)
        programmed, most = looked(inputs, "as-programmed")
        assert limited <= programmed or (most > 1.0).any(), (seed, share)


def test_the_lengths_of_this_test_are_those_of_the_table():
    for seed, on in machines()[:4]:
        inputs = understand(parse(program(seed, 0.2).encode(), "p.nc"), on, no_tools(), no_setup())
        job = schedule(inputs)
        (frame,) = inputs.meaning.moves.frames
        (batch, *_) = job.setpoints(commands=False)
        pose, length = batch.poses.pose, batch.length
        order = on.tilt_order
        named = "".join("xyz"["ABC".index(x)] for x in order)
        turn = Rotation.from_euler(named, pose[["ABC".index(x) + 3 for x in order]].T).as_matrix()
        joints = np.array([s.platform_joint for s in on.struts]) - frame.tip
        top = pose[:3].T[:, None] + np.einsum("nij,kj->nki", turn, joints)
        top = top @ frame.base_from_work[:3, :3].T + frame.base_from_work[:3, 3]
        own = np.linalg.norm(top - np.array([s.base_joint for s in on.struts]), axis=2)
        assert np.abs(own.T - length).max() < 1e-6
