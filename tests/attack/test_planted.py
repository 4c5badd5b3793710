"""Three bugs planted one at a time: each is caught by at least two checks that share nothing with each other.

The checks: the self-check of every run, ``verify`` (which proves the finished folder), and checks of the suite that
compare with published figures, with a forward solution of their own, or with samples counted one by one.
"""

import json
from functools import partial

import numpy as np
import pytest
from audit import test_audit as samples_counted
from endtoend import test_from_the_table as own_forward_solution
from kinematics import test_jacobian as rates
from verify.folders import BROKEN, PROGRAM, proof, tried

from hexpost.audit import checks, strut_limits
from hexpost.kinematics import forward, struts
from hexpost.kinematics.struts import Struts
from hexpost.selfcheck import SelfCheck
from hexpost.setpoints.sample import poses_of


def without_selfcheck(monkeypatch):
    """Let a run finish that the self-check would stop, so that the checks after it can be seen."""
    monkeypatch.setattr(SelfCheck, "add", lambda self, setpoints: None)
    monkeypatch.setattr(SelfCheck, "finish", lambda self, ticks: None)


def stopped_then_proven(folder, monkeypatch, words):
    """Check that the self-check stops a run with these words; return what ``verify`` faults in a run without it."""
    code, said, job = tried(folder)
    assert code == 2
    assert words in said
    assert not job.exists()
    without_selfcheck(monkeypatch)
    tried(folder, PROGRAM, "--no-proof")
    code, faults = proof(job)
    assert code == 2
    return faults


def found_by_suite(check, *arguments):
    """Return whether a check of the suite fails."""
    try:
        check(*arguments)
    except (AssertionError, pytest.fail.Exception):
        return True
    return False


def test_without_a_bug_nothing_is_caught(tmp_path):
    (tmp_path / "broken").mkdir()
    assert tried(tmp_path)[0] == 0
    assert proof(tmp_path / "job") == (0, {})
    assert tried(tmp_path / "broken", BROKEN)[0] == 1
    assert proof(tmp_path / "broken" / "job") == (1, {})
    for check in (own_checks(tmp_path, "good"), twist, *counted()):
        assert not found_by_suite(check)


def own_checks(folder, name):
    """Return the check that brings the tool back onto the path from the table alone."""
    place = folder / name
    place.mkdir()

    def check():
        made = own_forward_solution.convert(place, "G61")
        own_forward_solution.test_exact_stop_every_setpoint_lies_on_the_programmed_path(made)

    return check


def counted():
    """Return the checks in which one sample is over a limit, in either sense."""
    return [
        partial(samples_counted.test_one_sample_over_a_limit_is_one_finding, limit, sense)
        for limit in ("speed", "acceleration", "jerk")
        for sense in (-1.0, 1.0)
    ]


twist = partial(rates.test_jacobian_times_twist_is_the_rate_of_the_lengths, "ABC")
"""The check that compares the Jacobian with the rates of the struts, which come from series and not from it."""


def plant_sign_in_speeds(monkeypatch):
    """The columns of the rotation have the wrong sign where rates of the pose become rates of the struts."""
    honest = Struts.derivatives

    def planted(self, q):
        turned = [q[0], *(np.concatenate([x[:3], -x[3:]]) for x in q[1:])]
        return honest(self, turned)

    monkeypatch.setattr(Struts, "derivatives", planted)


def test_a_sign_in_the_jacobian_of_the_solver(tmp_path, monkeypatch):
    plant_sign_in_speeds(monkeypatch)
    faults = stopped_then_proven(tmp_path, monkeypatch, "self-check: speed of strut")
    assert any("jumps: its length is" in f for f in faults["continuity"])


def test_a_sign_in_the_rows_of_the_jacobian(tmp_path, monkeypatch):
    """One plus for a minus in the cross product, where deviations are weighed and the forward solution steps."""
    honest = struts.strut_rows

    def planted(vectors, arms):
        rows = honest(vectors, arms)
        rows[..., 3] = arms[..., 1] * rows[..., 2] + arms[..., 2] * rows[..., 1]
        return rows

    monkeypatch.setattr(struts, "strut_rows", planted)
    monkeypatch.setattr(forward, "strut_rows", planted)
    tried(tmp_path, PROGRAM, "--no-proof")
    code, faults = proof(tmp_path / "job")
    assert code == 2
    assert any("deviation: the worst is" in f for f in faults["limits"])
    assert found_by_suite(twist)


def test_a_dropped_last_sample(tmp_path, monkeypatch):
    def planted(timing, path, moves, batch):
        poses = poses_of(timing, path, moves, batch)
        return cut(poses) if poses.tick[-1] == timing.ticks else poses

    monkeypatch.setattr("hexpost.setpoints.solve.poses_of", planted)
    faults = stopped_then_proven(tmp_path, monkeypatch, "rows are due")
    assert {"stops", "events"} <= set(faults)


def cut(poses):
    """Return the samples without the last."""
    columns = {}
    for name in poses.__dataclass_fields__:
        value = getattr(poses, name)
        columns[name] = value[..., :-1] if isinstance(value, np.ndarray) else value
    return type(poses)(**columns)


def test_a_limit_compared_without_abs(tmp_path, monkeypatch):
    honest = strut_limits._symmetric

    def planted(limit, column, context, rounding):
        check = honest(limit, column, context, rounding)
        check.band.low[:] = -1e9
        return check

    monkeypatch.setattr(strut_limits, "_symmetric", planted)
    assert strut_limits.speed in checks.CHECKS
    _, _, job = tried(tmp_path, BROKEN, "--no-proof")
    code, faults = proof(job)
    assert code == 2
    assert any("which the report does not say" in f for f in faults["limits"])
    assert json.loads((job / "report.json").read_text())["findings_total"] > 0
    assert [found_by_suite(check) for check in counted()] == [True, False] * 3
