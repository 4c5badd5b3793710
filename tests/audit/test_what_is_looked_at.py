"""Which samples a check looks at, and small rules of its figures: each against its own definition, written out."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, audit, listed, moves, rest, run, solved
from audit.test_joint_angle import tilting
from audit.test_joint_angle_thin import MACHINES, swung
from audit.test_load_limits import swinging
from machine.described import REST, described, text

from hexpost.audit.audit import Audit
from hexpost.audit.deviation import Deviation, _chunk
from hexpost.audit.joint_angle import JointAngle
from hexpost.audit.model import BODIES, LIMITS
from hexpost.audit.move_ticks import MoveTicks
from hexpost.audit.room import FIRST_BOX
from hexpost.kinematics.clearance import segment_to_box
from hexpost.kinematics.struts import StrutModel
from hexpost.kinematics.universal import UniversalJoints
from hexpost.machine.load import machine_from


def check_of(checks: Audit, kind):
    """Return the check of a kind that an audit makes."""
    return next(check for check, _ in checks._checks if isinstance(check, kind))


@pytest.mark.parametrize(
    ("rate", "ticks"),
    [
        ([0, 0, 0, 0, 0, 0], 1024),  # 40 mm at rest: never, so the most
        ([60, 0, 0, 0, 0, 0], 512),  # 667 ticks to 40 mm
        ([-60, 0, 0, 0, 0, 0], 512),
        ([60, 60, 0, 0, 0, 0], 256),  # 471 ticks along the diagonal
        ([0, 0, -300, 0, 0, 0], 128),  # 133
        ([0, 0, 0, 1, 0, 0], 64),  # 80: a rad counts 500 mm
        ([0, 0, 0, 0, -1.2, 0], 64),  # 67
        ([0, 0, 0, 0, 0, 0.3], 256),  # 267
        ([1000, 0, 0, 0, 0, 0], 32),  # 40
        ([50_000, 0, 0, 0, 0, 0], 1),  # less than a tick: the fewest
    ],
)
def test_poses_whose_jacobian_is_inverted_lie_forty_millimetres_apart_at_most(rate, ticks):
    rates = np.zeros((6, 5))
    rates[:, 2] = rate
    assert _chunk(rates, 1e-3) == ticks


def test_a_block_that_deviates_less_than_one_before_is_not_solved():
    machine = replace(MACHINE, tool_tip=replace(MACHINE.tool_tip, deviation=1.0))
    job = moves()
    checks = audit(job, machine=machine)
    check = check_of(checks, Deviation)
    t = np.arange(256) * PERIOD
    for share, looked in ((1.0, True), (0.5, False), (1.2, True)):
        pose, rate, bend = np.zeros((3, 6, 256))
        pose[0], rate[0], bend[1] = 20 * t, 20.0, share * 3000.0
        pose[2] = 150.0
        assert (check.measure(solved(pose, rate, bend, job)) is not None) == looked


@pytest.mark.parametrize(
    ("hertz", "share", "phase", "machine"),
    [(0.4, 0.6, 1.0, 0), (2.0, 0.2, 0.3, 1), (0.1, 1.0, 2.0, 2), (1.0, 0.05, 0.0, 0)],
)
def test_the_bound_of_the_cones_is_the_one_that_is_written_down(hertz, share, phase, machine):
    """The text of ``_bounds`` in plain loops: chords of 32 samples, what the pose leaves them, and the turn."""
    machine, n = MACHINES[machine], 601
    job, s = swung(n, hertz, share, phase, machine)
    check = check_of(audit(job, machine=machine), JointAngle)
    struts = StrutModel(machine).in_frame(job.frames[0].base_from_work, job.frames[0].tip)
    edges = [*range(0, n, 32), n - 1]
    share_at = check._cone_shares(s, np.arange(n))
    per = check._per_cone[:, :, 0]
    reach = s.length[:, edges].max() + np.linalg.norm(struts.platform, axis=1).max()
    most, at_edges = check._bounds(s)
    assert at_edges == pytest.approx(share_at[:, :, edges], abs=1e-7)
    for g, (a, b) in enumerate(pairwise(edges)):
        pose, step = s.poses.pose, s.poses.pose[:, b] - s.poses.pose[:, a]
        off = np.zeros((6, 32))
        for k in range(32):
            off[:, k] = np.abs(pose[:, a] + step * k / 32 - pose[:, min(a + k, n - 1)])
        slid, twisted = off[:3].sum(axis=0).max(), off[3:].sum(axis=0).max()
        moved, turned = np.abs(step[:3]).sum(), np.abs(step[3:]).sum()
        aside = slid + twisted * reach + (turned**2 * reach + 2 * turned * moved) / 8
        shortest = np.maximum((s.length[:, a] + s.length[:, b] - moved - turned * reach - aside) / 2, 1e-9)
        bound = np.maximum(share_at[:, :, a], share_at[:, :, b]) + aside / shortest * np.sqrt(per / 2)
        assert most[:, :, g] == pytest.approx(bound, rel=1e-6, abs=1e-7)
        assert (share_at[:, :, a : b + 1].max(axis=2) <= bound + 1e-7).all()
    check._worst[:] = np.median(most.max(axis=0), axis=1)
    enough = np.minimum(np.maximum(at_edges.max(axis=(0, 2)), check._worst), 1.0)
    groups = (most.max(axis=0) >= enough[:, None]).any(axis=0)
    assert check._doubtful(s).tolist() == np.flatnonzero(np.repeat(groups, 32)[:n]).tolist()


def test_a_swing_that_rounding_makes_more_than_none_is_none(monkeypatch):
    machine = described("[strut.joint]\nbase_cone_deg = 9\nplatform_cone_deg = 21\n", "")
    job, s = swung(8, 0.1, 0.0, 0.0, machine)
    check = check_of(audit(job, machine=machine), JointAngle)
    monkeypatch.setattr(UniversalJoints, "swing", lambda _, d: np.full(d.shape[1:], 1.0 + 4e-16))
    found = check.figures(np.array([0, 3]), np.array([0, 5]), s)
    assert found.value.tolist() == [0.0, 0.0]


def test_a_joint_of_one_strut_alone_is_checked_and_a_range_is_left_on_either_side():
    """A range about the outer axis at the platform of strut 1, far too narrow; the bound passed is the one named."""
    first = text("", "").replace("[[strut]]", "[[strut]]", 1)
    at = first.index("[[strut]]", first.index("[[strut]]") + 5)
    for low, high in ((-0.5, 0.5), (-60.0, 0.5), (-0.5, 60.0)):
        table = f"[strut.joint]\nplatform_outer_deg = [{low}, {high}]\n\n"
        machine = machine_from((first[:at] + table + first[at:]).encode(), "m.toml")
        for sense in (0.4, -0.4):
            job, s = tilting(machine, sense)
            found = [f for f in listed(run(job, s, machine=machine)) if f[0] == "joint-angle"]
            assert all(f[1] == 1 for f in found)
            for f in found:
                assert f[6] == pytest.approx(low if f[5] < (low + high) / 2 else high)
            if high - low < 2:
                assert found


def test_cones_and_ranges_of_one_machine_are_all_looked_at():
    """Ranges are wide; the cone at one end is passed, whichever end that is."""
    for end, other in (("base", "platform"), ("platform", "base")):
        table = f"[strut.joint]\n{end}_cone_deg = 5\n{other}_cone_deg = 89\nplatform_outer_deg = [-89, 89]\n"
        machine = described(table, "")
        job, s = tilting(machine)
        assert [f for f in listed(run(job, s, machine=machine)) if f[0] == "joint-angle"]


BOX = '[[keep_out]]\nname = "post"\nlow_mm = [-600, -600, 900]\nhigh_mm = [600, 600, 1400]\n'


@pytest.mark.parametrize(("strut", "rest_", "made"), [
    ("[strut.body]\nradius_mm = 50\n", BOX, True), ("", "[spindle]\nradius_mm = 70\n" + BOX, True), ("", BOX, False),
    ("", "[spindle]\nradius_mm = 70\n", False), ("[strut.body]\nradius_mm = 50\n", "", True),
])  # fmt: skip
def test_the_room_is_watched_where_two_bodies_can_meet(strut, rest_, made):
    machine = described(strut, rest_)
    job, _ = swinging(machine)
    checks = audit(job, machine=machine)
    assert any(check.band.limit == "clearance" for check, _ in checks._checks) == made


def test_the_spindle_is_where_the_frame_puts_it():
    """A spindle beside a box, by the distance of its axis, its ends put into the base frame point by point."""
    machine = described("", "[spindle]\nradius_mm = 70\n" + BOX)
    job, s = swinging(machine)
    f, (box,) = job.frames[0], machine.keep_out
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "clearance")
    r, shift = f.base_from_work[:3, :3], f.base_from_work[:3, 3]
    tip = s.poses.pose[:3].T
    ends = [(tip + e - f.tip) @ r.T + shift for e in (machine.platform.gauge_point, machine.spindle.top)]
    expected = segment_to_box(ends[0].T, ends[1].T, box.low, box.high) - 70.0
    assert np.abs(shift).max() > 100
    assert check.measure(s)[0] == pytest.approx(expected, abs=1e-9)


def test_the_first_tick_of_a_move_is_that_of_its_first_sample_over_all_blocks():
    ticks = MoveTicks(np.array([0, 1, 3]))
    ticks.add(rest(5, move=[0] * 5).poses)
    ticks.add(rest(5, move=[0, 0, 1, 1, 2], tick=5).poses)
    ticks.add(rest(3, move=[3] * 3, tick=10).poses)
    first, last = ticks.of(np.array([0, 1, 3]))
    assert first.tolist() == [0, 7, 10]
    assert last.tolist() == [6, 8, 12]


def test_an_audit_without_samples_has_no_lengths_and_one_for_each_strut():
    result = audit(moves()).finish()
    assert result.samples == 0
    for lengths in (result.shortest, result.longest):
        assert lengths.shape == (6,)
        assert np.isnan(lengths).all()


def test_a_value_beyond_its_bound_by_rounding_alone_uses_all_of_it_and_no_more():
    s = rest(10)
    s.jerk[2, 4] = MACHINE.struts[2].jerk * (1 + 1e-12)
    result = run(moves(), s)
    assert not [f for f in listed(result) if f[0] == "jerk"]
    (worst,) = [w for w in result.worst if w.limit.name == "jerk" and w.strut == 3]
    assert worst.ratio == 1.0


def test_one_sample_is_enough_for_lengths():
    result = run(moves(), rest(1))
    assert result.samples == 1
    assert np.isfinite(result.shortest).all()
    assert np.array_equal(result.shortest, result.longest)


def test_struts_are_where_the_frame_puts_them():
    """Struts beside a box, ends put into the base frame point by point."""
    machine = described("[strut.body]\nradius_mm = 50\n", BOX)
    job, s = swinging(machine)
    f, (box,) = job.frames[0], machine.keep_out
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "clearance")
    r, shift = f.base_from_work[:3, :3], f.base_from_work[:3, 3]
    least = np.full(s.length.shape[1], np.inf)
    for strut in machine.struts:
        top = (s.poses.pose[:3].T + strut.platform_joint - f.tip) @ r.T + shift
        bottom = np.repeat(strut.base_joint[:, None], len(top), axis=1)
        least = np.minimum(least, segment_to_box(bottom, top.T, box.low, box.high) - 50.0)
    boxed = check.measure(s)[(check.pairs - 1) % BODIES >= FIRST_BOX].min(axis=0)
    assert boxed == pytest.approx(least, abs=1e-9)


def test_the_use_of_conditioning_is_the_least_over_what_there_is():
    machine = described("", REST.replace("conditioning = 0.05", "conditioning = 0.4"))
    job, s = swinging(machine)
    (worst,) = [w for w in run(job, s, machine=machine).worst if w.limit.name == "singular-pose"]
    assert worst.ratio == pytest.approx(0.4 / worst.value)


def test_a_share_within_its_band_uses_at_most_all_of_it():
    """A cone passed by rounding alone: the angle over its limit is shown as all of it, and is no finding."""
    machine = described("[strut.joint]\nplatform_cone_deg = 20\n", "")
    job, s = tilting(machine, 0.3)
    checks = audit(job, machine=machine)
    check, worst = next((c, w) for c, w in checks._checks if isinstance(c, JointAngle))
    figures = check.figures
    check.figures = lambda row, at, block: replace(figures(row, at, block), use=np.full(len(row), 1.0 + 1e-12))
    full = np.full(6, 1.0 + 1e-12)
    worst.update(np.repeat(full[:, None], s.length.shape[1], axis=1), full, full, s)
    assert {w.ratio for w in worst.rows(LIMITS.of("joint-angle"), PERIOD)} == {1.0}


def test_a_tip_on_the_face_of_the_pallet_is_not_below_it():
    job, s = swinging(described())
    machine = described()
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "pallet")
    low = float(
        check.measure(
            replace(s, poses=replace(s.poses, pose=s.poses.pose - np.array([[0], [0], [400.0], [0], [0], [0]])))
        ).min()
    )
    assert low < 0.0
    half = machine.pallet.size[0] / 2.0
    for x, below in ((half, True), (half * (1 + 1e-9), False)):
        pose = s.poses.pose.copy()
        pose[0], pose[1], pose[2] = x, 0.0, -5.0
        found = check.measure(replace(s, poses=replace(s.poses, pose=pose)))
        assert (found.min() < 0.0) == below
