"""Rare ways through the audit: empty blocks, screws little is known of, stated lengths, struts that share joints."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import audit, moves, rest
from audit.test_load_limits import run, swinging
from machine.described import REST, STRUT, described

from hexpost.audit.room import _pairs, characteristic_length
from hexpost.errors import HexpostError


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
    assert [(w.limit, w.strut, w.value) for w in a.worst] == [(w.limit, w.strut, w.value) for w in b.worst]


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
    worst = {(w.limit, w.strut): w for w in run(job, s, machine=machine).worst}
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
    pairs = _pairs(machine)
    s, t = machine.struts[0], machine.struts[1]
    assert (0, 1) in pairs
    together = replace(t, platform_joint=s.platform_joint + 1.0)
    machine = replace(machine, struts=(s, together, *machine.struts[2:]))
    assert set(pairs) - set(_pairs(machine)) == {(0, 1)}
