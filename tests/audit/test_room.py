"""Clearance by brute force over points of the bodies; conditioning and clearance found in a job."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import MACHINE, audit, listed, run
from audit.test_load_limits import swinging
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import REST, described

from hexpost.audit.model import BODIES, LIMITS, names_of
from hexpost.audit.room import FIRST_BOX
from hexpost.kinematics.clearance import segment_to_box, segments_apart
from hexpost.kinematics.frames import angles_of, rotation
from hexpost.machine.room import body_pairs, clearances
from hexpost.setpoints.solve import Solver

T = np.linspace(0.0, 1.0, 201)


def points(p, q):
    """Return points (201, 3) of a segment."""
    return p + T[:, None] * (q - p)


@settings(max_examples=30)
@given(st.integers(0, 10_000))
def test_distances_equal_brute_force(seed):
    rng = np.random.default_rng(seed)
    p, q, r, s = rng.uniform(-1, 1, (4, 3)) * 100
    if seed % 3 == 0:
        s = r + (q - p)  # parallel
    found = segments_apart(*(x[:, None] for x in (p, q, r, s)))[0]
    brute = np.linalg.norm(points(p, q)[:, None] - points(r, s)[None], axis=2).min()
    assert found <= brute + 1e-9
    assert found >= brute - 2.0  # the grid is half a step off at most
    low, high = np.sort(rng.uniform(-60, 60, (2, 3)), axis=0)
    if seed % 4 == 0:
        q = q * [1, 0, 0] + p * [0, 1, 1]  # along an axis
    found = segment_to_box(p[:, None], q[:, None], low, high)[0]
    at = p + np.linspace(0, 1, 20001)[:, None] * (q - p)
    brute = np.linalg.norm(np.maximum(np.maximum(low - at, at - high), 0.0), axis=1).min()
    assert found == pytest.approx(brute, abs=2e-2)
    assert found <= brute + 1e-9


def nearest_strut(machine, job, s):
    """Return which strut comes nearest to the box at any sample, by points along the struts."""
    f, (box,) = job.frames[0], machine.keep_out
    r, shift = f.base_from_work[:3, :3], f.base_from_work[:3, 3]
    least = []
    for strut in machine.struts:
        tops = (s.poses.pose[:3].T + strut.platform_joint - f.tip) @ r.T + shift  # the platform does not turn
        at = strut.base_joint + T[None, :, None] * (tops[::10, None] - strut.base_joint)
        least.append(np.linalg.norm(np.maximum(np.maximum(box.low - at, at - box.high), 0.0), axis=2).min())
    return int(np.argmin(least))


def test_spindle_and_boxes_have_their_names():
    machine = described()
    assert names_of(1 + 2 * BODIES + 6, [b.name for b in machine.keep_out]) == ("strut 3", "spindle")
    assert names_of(1 + 6 * BODIES + FIRST_BOX, [b.name for b in machine.keep_out]) == ("spindle", "column")


def test_a_box_in_the_way_is_found():
    box = '[[keep_out]]\nname = "post"\nlow_mm = [900, 300, 1500]\nhigh_mm = [1000, 450, 2000]\n'
    machine = described("[strut.body]\nradius_mm = 50\n", box)
    job, s = swinging(machine)
    result = run(job, s, machine=machine)
    found = [f for f in listed(result) if f[0] == "clearance"]
    assert found
    assert found[0][5] < found[0][6] == 0.0
    told = result.findings
    first, second = divmod(int(told.bodies[told.limit == LIMITS.index("clearance")][0]) - 1, BODIES)
    assert (first, second) == (nearest_strut(machine, job, s), FIRST_BOX)
    assert names_of(1 + first * BODIES + second, [b.name for b in machine.keep_out]) == (f"strut {first + 1}", "post")
    clear = described(
        "[strut.body]\nradius_mm = 50\n", box.replace("[900, 300", "[2900, 300").replace("[1000", "[3000")
    )
    assert not [f for f in listed(run(job, s, machine=clear)) if f[0] == "clearance"]


def test_too_little_conditioning_is_found():
    machine = described("", REST.replace("conditioning = 0.05", "conditioning = 0.99"))
    job, s = swinging(machine)
    result = run(job, s, machine=machine)
    (worst,) = [w for w in result.worst if w.limit.name == "singular-pose"]
    assert 0.05 < worst.value < worst.allowed == 0.99
    assert worst.strut == 0
    assert [f for f in listed(result) if f[0] == "singular-pose"]


def boxes(*lows):
    """Return the tables of boxes of 100 mm x 150 mm x 500 mm, by their lower corners."""
    text = '[[keep_out]]\nname = "box {}"\nlow_mm = [{}, {}, {}]\nhigh_mm = [{}, {}, {}]\n'
    return "".join(text.format(k, *low, low[0] + 100, low[1] + 150, low[2] + 500) for k, low in enumerate(lows))


@pytest.mark.parametrize("near", [0, 1, 2])
def test_of_several_boxes_the_one_in_the_way_is_named(near):
    lows = [[2900, 300, 1500], [3100, 300, 1500], [3300, 300, 1500]]
    lows[near] = [900, 300, 1500]
    machine = described("[strut.body]\nradius_mm = 50\n", boxes(*lows))
    job, s = swinging(machine)
    told = run(job, s, machine=machine).findings
    named = {
        names_of(int(b), [x.name for x in machine.keep_out])[1]
        for b in told.bodies[told.limit == LIMITS.index("clearance")]
    }
    assert named == {f"box {near}"}


def test_the_peak_of_a_clearance_hardly_missed_is_the_smallest_distance():
    body, box = "[strut.body]\nradius_mm = 50\n", boxes([900, 300, 1500])
    machine = described(body, box)
    job, s = swinging(machine)
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "clearance")
    least = float(check.measure(s).min())
    assert least < 0.0
    deep = replace(machine, health=replace(machine.health, clearance=least + 0.5))
    found = [f for f in listed(run(job, s, machine=deep)) if f[0] == "clearance"]
    assert min(f[5] for f in found) == pytest.approx(least, abs=1e-9)


def test_struts_that_touch_at_their_joints_are_no_pair():
    """Two capsules whose radii add up to the distance of their joints, to the last bit."""
    s, t = MACHINE.struts[:2]
    apart = min(
        float(np.linalg.norm(s.base_joint - t.base_joint)), float(np.linalg.norm(s.platform_joint - t.platform_joint))
    )
    for radius, pairs in ((apart / 2.0, []), (np.nextafter(apart / 2.0, 0.0), [(0, 1)])):
        two = tuple(replace(x, body=replace(x.body, radius=radius)) for x in (s, t))
        assert body_pairs(replace(MACHINE, struts=two + MACHINE.struts[2:], spindle=None)) == pairs


@pytest.mark.parametrize("seed", range(6))
def test_a_sample_that_speaks_for_its_neighbours_hides_no_distance(seed, monkeypatch):
    """Against every pair at every sample: the smallest distance of each pair, and all below what is asked for."""
    rng = np.random.default_rng(seed)
    machine = described("[strut.body]\nradius_mm = 60\n")
    job, s = swinging(machine)
    n = s.length.shape[1]
    t = np.arange(n) * s.period
    size, pace = rng.uniform(0, [[90], [90], [60], [0.2], [0.2], [0.3]]), rng.uniform(1.0, 40.0, (6, 1))
    pose = s.poses.pose[:, :1] + size * (np.sin(pace * t + rng.uniform(0, 6, (6, 1))) + rng.choice([0, 1], (6, n)) / 50)
    moved = Solver(machine, job.frames).solve(replace(s.poses, pose=pose))
    clearance = float(rng.uniform(100, 300))
    asked = replace(machine, health=replace(machine.health, clearance=clearance))
    found, every = [], []
    for groups, out in (((32, 8, 1), found), ((1,), every)):
        monkeypatch.setattr("hexpost.audit.room.GROUPS", groups)
        check = next(c for c, _ in audit(job, machine=asked)._checks if c.band.limit == "clearance")
        out.append(check.measure(moved))
    (some,), (all_,) = found, every
    least = all_.min(axis=1)
    assert np.all(some >= all_ - 1e-9)
    assert np.abs(some.min(axis=1) - least).max() < 2e-9
    below = all_ < clearance
    assert np.abs(some[below] - all_[below]).max(initial=0.0) < 1e-9
    assert (some == check.each.centre[:, None]).any()
    nearest = [x for _, x in clearances(machine, platform_poses(job, pose))]
    assert np.abs(np.stack(nearest).min(axis=1) - least).max() < 2e-7


def platform_poses(job, pose):
    """Return the poses of the platform in the base frame, by the matrices of the frame."""
    frame = job.frames[0]
    r = np.einsum("ij,jkn->ikn", frame.base_from_work[:3, :3], rotation(*pose[3:], "ABC"))
    at = frame.base_from_work[:3, :3] @ pose[:3] + frame.base_from_work[:3, 3:] - np.einsum("ijn,j->in", r, frame.tip)
    return np.concatenate([at, angles_of(r, "ABC", pose[3:])])
