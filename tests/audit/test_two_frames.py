"""A job in two work frames is judged in each as it would be alone; slow motion, edges of the pallet, sums."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, audit, frame, listed, moves, rest, run, solved
from audit.test_advice_parts import advice_of
from audit.test_load_limits import swinging
from machine.described import described

from hexpost.audit.load_limits import RunningMean
from hexpost.audit.model import LIMITS, names_of
from hexpost.audit.move_ticks import MoveTicks
from hexpost.audit.program_remarks import beyond_pallet, program_remarks
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.load import no_setup, no_tools
from hexpost.machine.room import body_pairs
from hexpost.moves.model import Events
from hexpost.pipeline import parse, understand
from hexpost.setpoints.cutting import Cutting

N = 400


def tilted(machine, shift, turn):
    """Return a work frame on the pallet, moved by ``shift`` and turned by ``turn`` (a b c)."""
    place = pose_matrix(machine.pallet.pose, machine.tilt_order)
    return frame(base_from_work=place @ pose_matrix(np.array([*shift, *turn]), machine.tilt_order))


def swing(job, machine, phase):
    """Return the setpoints of a swing in all coordinates in the first frame of a job."""
    t, w = np.arange(N) * PERIOD, 2 * np.pi * 1.5
    size = np.array([40.0, 30, 20, 0.15, 0.1, 0.1])[:, None]
    angle = w * t + phase * np.arange(6)[:, None]
    pose = size * np.sin(angle) + np.array([0.0, 0, 180, 0, 0, 0])[:, None]
    return solved(pose, size * w * np.cos(angle), -size * w * w * np.sin(angle), job, machine=machine)


def test_every_check_takes_each_block_in_its_own_frame():
    machine = described()
    frames = tilted(machine, (60.0, 0, 0), (0.0, 0, 0)), tilted(machine, (-80.0, 50, 10), (0.12, -0.1, 0.4))
    alone = [moves(frames=[f]) for f in frames]
    parts = [swing(job, machine, phase) for job, phase in zip(alone, (0.3, 1.1), strict=True)]
    expected = {}
    for job, s in zip(alone, parts, strict=True):
        for w in run(job, s, machine=machine).worst:
            best = expected.get((w.limit.name, w.strut), 0.0)
            expected[w.limit.name, w.strut] = max(best, w.ratio)
    both = moves(2, frames=frames, of=[0, 1])
    checks = audit(both, machine=machine)
    for number in (0, 1, 0, 1):
        s = parts[number]
        at = replace(s.poses, frame=number, move=np.full(N, number), line=np.full(N, 10 * number + 10, dtype=np.int32))
        checks.add(replace(s, poses=at))
    found = {(w.limit.name, w.strut): w.ratio for w in checks.finish().worst}
    own = {"joint-angle", "singular-pose", "thrust", "torque", "power", "buckling", "speed", "stroke", "deviation"}
    assert own <= {limit for limit, _ in found}
    for key, ratio in found.items():
        if key[0] in own:
            assert ratio == pytest.approx(expected[key], rel=0.021 if key[0] == "deviation" else 1e-9), key


def test_the_worst_use_of_a_broken_limit_is_how_far_it_is_passed():
    s = rest(10)
    s.speed[2, 4] = -1.5 * MACHINE.struts[2].speed
    (worst,) = [w for w in run(moves(), s).worst if w.limit.name == "speed" and w.strut == 3]
    assert worst.ratio == pytest.approx(1.5)


@pytest.mark.parametrize(("speed", "cuts"), [(0.1, 1.0), (1e-3, 1.0), (0.0, 0.0)])
@pytest.mark.parametrize("force", ["force_n = [300, 0, 0]", "moment_nm = [0, 4, 0]"])
def test_a_slow_cut_has_its_force_and_a_tool_that_stands_has_none(speed, cuts, force):
    machine = described("", "[forces]\ngravity_m_s2 = [0, 0, -9.81]\n" + force + "\n")
    job = moves()
    none = np.zeros(0)
    events = Events(
        move=none.astype(np.int64), rule=none.astype(np.uint8), letter=none.astype(np.uint8), value=none, pause=none,
        wait=none.astype(bool), line=none.astype(np.int32),
    )  # fmt: skip
    s = rest(4)
    s.poses.rate[0] = speed
    assert Cutting(machine.forces, job, events, no_tools()).at(s).on.tolist() == [cuts] * 4


def test_the_path_has_a_direction_at_a_tenth_of_a_millimetre_a_second_and_none_at_rest():
    advice, _ = advice_of()
    bend = np.array([[3.0, 3.0], [4.0, 4.0], *[[0.0, 0.0]] * 4])
    along, pull = advice._along(np.array([[0.1, 0.0], *[[0.0, 0.0]] * 5]), bend)
    assert along.tolist() == [0.1, 0.0]
    assert pull == pytest.approx([3.0, 5.0])


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_cuts_beyond_either_edge_of_the_pallet_are_seen(axis, sense):
    half = np.array(MACHINE.pallet.size) / 2.0
    end = np.zeros((6, 1))
    end[axis] = sense * (half[axis] + 7.0)
    assert beyond_pallet(moves(end=end), np.array([0]), MACHINE) == pytest.approx([7.0])


def test_the_edge_of_the_pallet_is_where_the_work_frame_says():
    """A work frame 30 mm along X and turned by half a turn about Z: its X 20 is X 10 of the pallet."""
    half = MACHINE.pallet.size[0] / 2.0
    end = np.zeros((6, 3))
    end[0] = 20.0, -half, half + 37.0
    job = moves(3, frames=[tilted(MACHINE, (30.0, 0, 0), (0, 0, np.pi))], end=end)
    found = beyond_pallet(job, np.arange(3), MACHINE)
    assert found == pytest.approx([0.0, 30.0, 7.0])


def test_a_move_too_short_for_a_sample_at_the_end_gets_the_last_sample():
    ticks = MoveTicks(np.array([0, 1]))
    ticks.add(rest(6, move=[0] * 6).poses)
    first, last = ticks.of(np.array([0, 1]))
    assert first.tolist() == [0, 5]
    assert last.tolist() == [5, 5]


def test_a_finding_over_two_blocks_keeps_what_came_first_of_two_equal_peaks():
    s = rest(20)
    s.speed[1, 5:15] = 1.2 * MACHINE.struts[1].speed
    (whole,) = [f for f in listed(run(moves(), s)) if f[0] == "speed"]
    (cut,) = [f for f in listed(run(moves(), s, [8])) if f[0] == "speed"]
    assert cut == whole


def test_a_move_that_begins_with_the_last_sample_of_a_block_begins_there():
    ticks = MoveTicks(np.array([0, 1]))
    ticks.add(rest(3, move=[0, 0, 1]).poses)
    ticks.add(rest(2, move=[1, 1], tick=3).poses)
    first, last = ticks.of(np.array([0, 1]))
    assert (first.tolist(), last.tolist()) == ([0, 2], [1, 4])


def test_the_nearest_two_bodies_are_named_by_their_numbers(monkeypatch):
    """Of all pairs at every sample, by the distances themselves."""
    machine = described()
    job, s = swinging(machine)
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "clearance")
    with monkeypatch.context() as every:
        every.setattr("hexpost.audit.room.GROUPS", (1,))  # no sample speaks for another
        distances = check.measure(s)
    assert len(check.pairs) == len(distances) == len(set(check.pairs.tolist()))
    boxes = [b.name for b in machine.keep_out]
    least = distances.min()
    deep = replace(machine, health=replace(machine.health, clearance=least + 1e-6))
    found = run(job, s, machine=deep).findings
    (named,) = set(found.bodies[found.limit == LIMITS.index("clearance")].tolist())
    assert named == check.pairs[distances.min(axis=1).argmin()]
    nearest = run(job, s, machine=machine).nearest
    told = {n.bodies: (n.worst.value, n.worst.line) for n in nearest}
    assert [n.worst.value for n in nearest] == pytest.approx(sorted(distances.min(axis=1)), abs=1e-9)
    for row, x in enumerate(distances):
        value, line = told[names_of(int(check.pairs[row]), boxes)]
        assert value == pytest.approx(x.min(), abs=1e-9)
        assert line in s.poses.line[x < x.min() + 1e-9]


def test_a_spindle_speed_is_no_word_that_stops_or_starts_the_spindle():
    text = b"G21 G90 G00 X0 Y0 Z100\nS800 M03\nS5\nG01 X10 F500\nS3 M05\nG00 X0\nM30\n"
    inputs = understand(parse(text, "p"), MACHINE, no_tools(), no_setup())
    assert program_remarks(inputs.program, inputs.meaning, MACHINE) == []


def test_the_feed_of_a_milder_ramp_is_that_of_the_double_s():
    """a = sqrt(v J), so v = a^2 / J with a lowered in the ratio of what is allowed, five per cent spared."""
    advice, _ = advice_of()
    parts = np.zeros((4, 3))
    parts[0] = 2000.0, 2000.0, 500.0
    allowed, pull = np.full(3, 1000.0), np.array([800.0, 800.0, 800.0])
    found = advice._ramp_feed(parts, allowed, np.zeros(3), pull, np.array([False, True, False]))
    jerk = np.array([MACHINE.tool_tip.jerk, MACHINE.tool_tip.tilt_jerk, MACHINE.tool_tip.jerk])
    milder = 0.95 * pull * np.array([0.5, 0.5, 1 / 0.9])
    assert found == pytest.approx(milder**2 / jerk)


@pytest.mark.parametrize("axis", [0, 1])
def test_below_the_pallet_is_below_it_up_to_its_edges(axis):
    machine = MACHINE
    job = moves(frames=[frame(base_from_work=pose_matrix(machine.pallet.pose, machine.tilt_order))])
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "pallet")
    half = machine.pallet.size[axis] / 2.0
    for place, height in ((0.999 * half, -5.0), (-0.999 * half, -5.0), (1.001 * half, 0.0), (-1.001 * half, 0.0)):
        s = rest(3)
        s.poses.pose[2], s.poses.pose[axis] = -5.0, place
        assert check.measure(s).tolist() == [[pytest.approx(height)] * 3]


@pytest.mark.parametrize(
    ("place", "height"), [((290.0, 0.0), -5.0), ((310.0, 0.0), 0.0), ((0.0, 190.0), -5.0), ((0.0, 210.0), 0.0)]
)
def test_a_pallet_is_as_long_and_as_wide_as_the_machine_file_says(place, height):
    machine = replace(MACHINE, pallet=replace(MACHINE.pallet, size=(600.0, 400.0)))
    check = next(c for c, _ in audit(moves(), machine=machine)._checks if c.band.limit == "pallet")
    s = rest(3)
    s.poses.pose[:2, 0], s.poses.pose[2, 0] = place, -5.0
    s.poses.pose[2, 1] = -5.0  # in the middle, below the face in any case
    assert check.measure(s)[0, :2].tolist() == [pytest.approx(height), pytest.approx(-5.0)]


def test_a_running_mean_asked_twice_for_a_block_counts_it_once():
    seen = [rest(5), rest(5, tick=5)]
    values = {id(s): np.full((6, 5), float(k + 1)) for k, s in enumerate(seen)}
    mean = RunningMean(lambda s: values[id(s)], 4 * PERIOD, PERIOD)
    once = [mean(s).copy() for s in seen]
    again = RunningMean(lambda s: values[id(s)], 4 * PERIOD, PERIOD)
    twice = [(again(s), again(s))[1].copy() for s in seen]
    for a, b in zip(once, twice, strict=True):
        assert np.array_equal(a, b)
    assert once[1][0] == pytest.approx(np.sqrt(np.array([7, 10, 13, 16, 16]) / 4))
    assert not RunningMean(lambda _: np.zeros((6, 5)), 4 * PERIOD, PERIOD)(seen[0]).any()


def test_a_tenth_of_a_millimetre_below_the_face_of_the_pallet_is_below_it():
    job = moves(frames=[frame(base_from_work=pose_matrix(MACHINE.pallet.pose, MACHINE.tilt_order))])
    s = rest(5)
    s.poses.pose[2] = -0.1
    (found,) = [f for f in listed(run(job, s)) if f[0] == "pallet"]
    assert found[5] == pytest.approx(-0.1)


def test_a_platform_that_pulls_at_its_struts_loads_them_as_one_that_pushes():
    """Six times the gravity: the platform hangs at its struts, which are held to the same limit."""
    machine = described(rest="[forces]\ngravity_m_s2 = [0, 0, -60]\nwindow_s = 2\n")
    job, s = swinging(machine)
    checks = audit(job, machine=machine)
    loads = next(c for c, _ in checks._checks if c.band.limit == "thrust")
    thrust = loads.value(s)
    assert (thrust.min(axis=1) < -2.0 * thrust.max(axis=1).clip(0.0)).all()
    worst = {w.strut: w for w in run(job, s, machine=machine).worst if w.limit.name == "thrust"}
    for k in range(6):
        assert worst[k + 1].ratio == pytest.approx(np.abs(thrust[k]).max() / machine.struts[k].screw.thrust)


def test_struts_whose_joints_lie_nearer_than_both_radii_are_no_pair():
    """The two struts of a corner: apart by more than either radius, by less than their sum."""
    first = described("[strut.body]\nradius_mm = 1\n", "")
    ends = [(s.base_joint, s.platform_joint) for s in first.struts]
    apart = np.array([[min(np.linalg.norm(a[0] - b[0]), np.linalg.norm(a[1] - b[1])) for b in ends] for a in ends])
    least = apart[~np.eye(6, dtype=bool)].min()
    for radius, paired in ((0.45 * least, True), (0.6 * least, False), (0.9 * least, False)):
        pairs = body_pairs(described(f"[strut.body]\nradius_mm = {radius:.3f}\n", ""))
        expected = [(i, j) for i in range(6) for j in range(i + 1, 6) if apart[i, j] > 2 * round(radius, 3)]
        assert pairs == expected
        assert (len(pairs) == 15) == paired
