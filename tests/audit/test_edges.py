"""Rare ways through the audit: empty blocks, screws little is known of, stated lengths, struts that share joints."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import MACHINE, audit, frame, listed, moves, rest
from audit.test_load_limits import run, swinging
from machine.described import REST, STRUT, described

from hexpost.errors import HexpostError
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.geometry import characteristic_length
from hexpost.machine.room import body_pairs
from hexpost.moves.model import AFTER, WITH, Events
from hexpost.setpoints.cutting import _spindle_speeds


def test_an_empty_block_says_nothing():
    job, still = moves(2), rest(40)
    twice = audit(job)
    twice.add(rest(0))
    twice.add(still)
    twice.add(rest(0, tick=40))
    once = audit(job)
    once.add(still)
    a, b = twice.finish(), once.finish()
    assert (a.samples, a.duration) == (b.samples, b.duration) == (40, 39 * still.period)
    assert [(w.limit.name, w.strut, w.value) for w in a.worst] == [(w.limit.name, w.strut, w.value) for w in b.worst]


def test_a_job_without_samples_has_no_worst():
    result = audit(moves(1)).finish()
    assert result.samples == 0 and result.worst == ()
    assert np.isnan(result.shortest).all() and np.isnan(result.longest).all()


def test_a_window_of_too_many_periods_is_refused_with_its_key():
    machine = described()
    job, _ = swinging(machine)
    endless = replace(machine, forces=replace(machine.forces, window=1e6))
    with pytest.raises(HexpostError, match=r"forces.window_s: expected at most 1,000,000 control periods"):
        audit(job, machine=endless)


def test_struts_whose_screws_are_not_described_to_the_root_are_left_out_of_their_checks():
    machine = described()
    first = machine.struts[0]
    rootless = replace(first, screw=replace(first.screw, root=None))
    machine = replace(machine, struts=(rootless, *machine.struts[1:]))
    job, s = swinging(machine)
    worst = {(w.limit.name, w.strut): w for w in run(job, s, machine=machine).worst}
    for limit in ("buckling", "critical-speed"):
        assert worst[limit, 1].value == 0.0 or not np.isfinite(worst[limit, 1].allowed)
        assert worst[limit, 2].allowed < np.inf
    assert worst["thrust", 1].value > 0.0


def test_a_stated_characteristic_length_is_taken():
    assert (
        characteristic_length(described(rest=REST.replace("[health]", "[health]\ncharacteristic_length_mm = 321")))
        == 321
    )
    joints = np.array([s.platform_joint for s in described().struts])
    spread = np.sqrt(((joints - joints.mean(axis=0)) ** 2).sum() / 6.0)
    assert characteristic_length(described()) == pytest.approx(spread)


def test_struts_that_meet_in_a_joint_are_no_pair():
    machine = described(STRUT, REST.split("[spindle]", maxsplit=1)[0])
    pairs = body_pairs(machine)
    s, t = machine.struts[0], machine.struts[1]
    assert (0, 1) in pairs
    together = replace(t, platform_joint=s.platform_joint + 1.0)
    machine = replace(machine, struts=(s, together, *machine.struts[2:]))
    assert set(pairs) - set(body_pairs(machine)) == {(0, 1)}


def test_the_worst_conditioning_is_that_of_the_jacobian_about_the_middle_of_the_joints():
    """6 / (|J| |J^-1|) in Frobenius norms, turns over the characteristic length."""
    machine = described()
    job, s = swinging(machine)
    (worst,) = [w for w in run(job, s, machine=machine).worst if w.limit.name == "singular-pose"]
    f = job.frames[0]
    joints = np.array([x.platform_joint for x in machine.struts])
    base = np.array([x.base_joint for x in machine.struts])
    r, shift = f.base_from_work[:3, :3], f.base_from_work[:3, 3]
    found = []
    for tip in s.poses.pose[:3].T:  # the platform does not turn
        d = (tip + joints - f.tip) @ r.T + shift - base
        unit = d / np.linalg.norm(d, axis=1, keepdims=True)
        turns = np.cross((joints - joints.mean(axis=0)) @ r.T, unit) / characteristic_length(machine)
        j = np.hstack([unit, turns])
        found.append(6.0 / (np.linalg.norm(j) * np.linalg.norm(np.linalg.inv(j))))
    assert worst.value == pytest.approx(min(found), rel=1e-9)


def test_the_spindle_speed_of_a_move_is_the_last_s_before_it():
    none = np.zeros(4, dtype=np.int64)
    events = Events(
        move=np.array([0, 1, 1, 2]),
        rule=np.array([WITH, WITH, AFTER, AFTER], dtype=np.uint8),
        letter=np.array([ord("S"), ord("M"), ord("S"), ord("S")], dtype=np.uint8),
        value=np.array([1000.0, 8.0, 2000.0, 3000.0]),
        pause=none.astype(float),
        wait=none.astype(bool),
        line=none.astype(np.int32),
    )
    assert _spindle_speeds(moves(4), events).tolist() == [1000.0, 1000.0, 2000.0, 3000.0]


@pytest.mark.parametrize(
    ("x", "beside"), [(0.0, False), (150.0, False), (-350.0, False), (250.0, True), (-450.0, True)]
)
def test_below_the_face_counts_only_above_the_pallet(x, beside):
    place = pose_matrix(MACHINE.pallet.pose, MACHINE.tilt_order) @ pose_matrix(np.array([100.0, 0, 0, 0, 0, 0]), "ABC")
    job, s = moves(1, frames=[frame(base_from_work=place)]), rest(50)
    s.poses.pose[0], s.poses.pose[2] = x, -3.0
    low = [f for f in listed(run(job, s)) if f[0] == "pallet"]
    assert bool(low) != beside
