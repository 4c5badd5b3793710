"""Extreme programs: what comes out is right by closed forms or long arithmetic, or the program is refused."""

from dataclasses import replace
from itertools import pairwise

import mpmath
import numpy as np
import pytest
from path.routes import Route

from hexpost import pipeline
from hexpost.errors import InputError
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.path.build import build

MACHINE = demonstration_machine()


def run(text, machine=MACHINE):
    inputs = pipeline.understand(pipeline.parse(text.encode(), "x.nc"), machine, no_tools(), no_setup())
    return pipeline.schedule(inputs)


def samples(job):
    """Return poses (6, n) in the work frame and lengths (6, n) of a job."""
    blocks = list(job.setpoints())
    return [np.concatenate(x, axis=1) for x in ([b.poses.pose for b in blocks], [b.length for b in blocks])]


def exact_lengths(job, pose):
    """Return the six lengths at a pose without rotation of the work frame, in fifty digits."""
    frame = job.inputs.meaning.moves.frames[0]
    base = frame.base_from_work @ pose_matrix(pose, MACHINE.tilt_order)
    with mpmath.workdps(50):
        out = []
        for s in MACHINE.struts:
            b = [mpmath.mpf(float(p)) - mpmath.mpf(float(q)) for p, q in zip(s.platform_joint, frame.tip, strict=True)]
            turned = [mpmath.fsum(mpmath.mpf(float(base[i, j])) * b[j] for j in range(3)) for i in range(3)]
            v = [mpmath.mpf(float(base[i, 3])) - mpmath.mpf(float(s.base_joint[i])) + turned[i] for i in range(3)]
            out.append(float(mpmath.sqrt(mpmath.fsum(x * x for x in v))))
    return np.array(out)


def test_moves_of_a_nanometre_arrive_and_are_solved_to_the_last_digits():
    rows = "".join(f"X{10 + k * 1e-6:.6f}\n" for k in range(1, 200))
    job = run(f"G21 G00 X10 Y0 Z80\nG01 F600\n{rows}M30\n")
    pose, length = samples(job)
    assert pose[0, -1] == 10.000199
    assert (np.diff(pose[0][pose[0] > 10]) >= 0).all()
    assert np.abs(length[:, -1] - exact_lengths(job, pose[:, -1])).max() < 1e-9


def test_an_arc_of_a_hundred_metres_stays_on_its_circle():
    """A chord of 100 mm in a circle of R = 1e5 mm rises R - sqrt(R^2 - 50^2) = 0.0125 mm."""
    job = run("G21 G00 X-50 Y0 Z80\nG17 G02 X50 Y0 R100000 F6000\nM30\n")
    pose, _ = samples(job)
    rise = 1e5 - np.sqrt(1e10 - 2500)
    cut = pose[:, np.abs(pose[0]) < 50 - 1e-9]
    on = np.abs(np.hypot(cut[0], cut[1] + np.sqrt(1e10 - 2500)) - 1e5)
    assert on[cut[1] > 0].max() < 1e-7
    assert pose[1].max() == pytest.approx(rise, abs=1e-6)


def test_a_million_turns_of_a_helix_end_where_they_should():
    """Half way and at a random place, against fifty digits of the angle."""
    turns, radius, rise = 1_000_000, 7.0, 100.0
    path = build(Route((radius, 0, 0, 0, 0, 0)).arc(np.zeros(3), 2 * np.pi * turns, rise=rise).moves(), MACHINE)
    total = path.size.sum()
    with mpmath.workdps(50):
        for share in (0.0, 0.5, 0.123456789, 1.0):
            u = np.array([share * total])
            x, y, z = path.evaluate(np.zeros(1, dtype=np.int64), u, 0)[0][:3, 0]
            angle = mpmath.mpf(2 * np.pi * turns) * mpmath.mpf(float(u[0])) / mpmath.mpf(float(total))
            assert abs(x - radius * float(mpmath.cos(angle))) < 2e-8
            assert abs(y - radius * float(mpmath.sin(angle))) < 2e-8
            assert abs(z - rise * share) < 1e-9


@pytest.mark.parametrize("feed", ["0.000000001", "1000000000"])
def test_feeds_that_nobody_means_are_refused(feed):
    with pytest.raises(InputError, match=r"a feed must be above 0|at most 1e\+07"):
        run(f"G21 G00 X0 Y0 Z80\nG01 X1 F{feed}\nM30\n")


def test_the_largest_feed_is_held_by_the_limits_of_the_tip():
    job = run("G21 G00 X-100 Y0 Z80\nG01 X100 F9999999\nM30\n")
    pose, _ = samples(job)
    speed = np.linalg.norm(np.diff(pose[:3], axis=1), axis=0) / MACHINE.period
    assert speed.max() <= MACHINE.tool_tip.speed * (1 + 1e-9)


@pytest.mark.parametrize(("end", "turn"), [("X10 Y0.001", "short"), ("X10 Y-0.001", "long"), ("X10 Y0", "full")])
def test_nearly_closed_arcs_are_as_long_as_their_angle(end, turn):
    """Counter-clockwise from (10, 0) about the origin: a hair of an arc, all but a hair, and the whole circle."""
    if turn != "full":
        y = float(end.split("Y")[1])
        end = f"X{np.sqrt(100 - y * y):.9f} Y{y}"
    path = run(f"G21 G00 X10 Y0 Z80\nG03 {end} I-10 J0 F6000\nM30\n").path
    length = path.size[path.span_first[1] :].sum()
    want = {"short": 1e-3, "long": 20 * np.pi - 1e-3, "full": 20 * np.pi}[turn]
    assert length == pytest.approx(want, abs=1e-6)


@pytest.mark.parametrize("angle", [1e-9, 1e-6, 1e-3, np.pi - 1e-3, np.pi - 1e-6, np.pi])
def test_nearly_straight_and_reversing_corners_stay_within_the_tolerance(angle):
    x, y = 20 + 20 * np.cos(angle), 20 * np.sin(angle)
    job = run(f"G21 G64 G00 X0 Y0 Z80\nG01 X20 F6000\nX{x:.9f} Y{y:.9f}\nM30\n")
    pose, length = samples(job)
    ends = np.array([[0, 0], [20, 0], [x, y]])
    off = np.full(pose.shape[1], np.inf)
    for a, b in pairwise(ends):
        t = np.clip(((pose[:2].T - a) @ (b - a)) / ((b - a) @ (b - a)), 0, 1)
        off = np.minimum(off, np.linalg.norm(pose[:2].T - a - t[:, None] * (b - a), axis=1))
    rapid = pose[2] > 80 + 1e-9
    assert off[~rapid].max() <= MACHINE.tool_tip.corner_tolerance + 1e-9
    assert np.isfinite(length).all()


@pytest.mark.parametrize(("hair", "broken"), [(1e-6, False), (-1e-6, True)])
def test_a_pose_a_hair_from_the_end_of_the_stroke(hair, broken):
    """The longest strut of the last pose in fifty digits, and a stroke that ends one nanometre beyond or before it."""
    text = "G21 G00 X0 Y0 Z80\nG01 X60 Y20 Z70 F3000\nM30\n"
    job = run(text)
    pose, length = samples(job)
    longest = exact_lengths(job, pose[:, -1])
    k = int(np.argmax(longest - length[:, :-1].max(axis=1)))
    assert longest[k] >= length[k].max() - 1e-9, "the last pose is the longest of this strut"
    struts = list(MACHINE.struts)
    struts[k] = replace(struts[k], stroke=(struts[k].stroke[0], float(longest[k]) + hair))
    found = pipeline.examine(run(text, replace(MACHINE, struts=tuple(struts)))).findings
    assert bool(found.count) == broken
