"""Accepted findings: only new or worse ones fail, mended ones are told, entries expire."""

import json
from dataclasses import replace
from datetime import date

import pytest
from library.shop import FAST, slow_struts, stocked, write

from hexpost.errors import InputError
from hexpost.library.baseline import Baseline, load_baseline, updated
from hexpost.library.gate import gate, judged
from hexpost.library.policy import Policy
from hexpost.library.settings import LimitRule, Settings
from hexpost.workers.engines import serial

pytestmark = pytest.mark.usefixtures("untried")

TODAY = date(2026, 6, 1)


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return stocked(tmp_path, p=FAST)


def policy(machine="slow.toml", **settings):
    return Policy(over=Settings(machine=machine, **settings))


def run(baseline=None, names=("p.nc",), chosen=None, **how):
    return gate(names, chosen or policy(), serial(), baseline=baseline, today=TODAY, **how)


def accept(shop, result, before=None, **said):
    """Write a baseline of all that fails, with more said of every entry; return it as loaded."""
    path = shop / "baseline.json"
    path.write_bytes(updated(before or Baseline(entries={}), result.cases, result.mended))
    document = json.loads(path.read_text())
    for row in document["accepted"]:
        row.update(said)
    path.write_text(json.dumps(document))
    return load_baseline(path)


def states(result):
    return {j.state for c in result.cases for j in c.findings}


def test_what_was_accepted_passes_and_lines_above_change_nothing(shop):
    first = run()
    assert first.exit_code == 1 and states(first) == {"new"}
    baseline = accept(shop, first, reason="old job", accepted_by="the foreman")
    again = run(baseline)
    assert again.exit_code == 0 and states(again) == {"accepted"} and not again.mended
    assert again.cases[0].findings[0].reason == "old job (the foreman)"
    write(shop, p=FAST.replace("G61\n", "G61\n(a remark)\nM08\n").replace("N10", "N11"))
    assert run(baseline).exit_code == 0


def test_new_findings_fail(shop):
    baseline = accept(shop, run())
    write(shop, p=FAST.replace("M30\n", "G01 Y-80 F30000\nM30\n"))
    result = run(baseline)
    assert result.exit_code == 1 and states(result) == {"new", "accepted"}
    assert {j.found.line for j in result.cases[0].findings if j.fails} == {7}


def test_worse_findings_fail(shop):
    baseline = accept(shop, run())
    (shop / "slow.toml").write_text(slow_struts(240))
    result = run(baseline)
    assert result.exit_code == 1 and "worse" in states(result)
    (shop / "slow.toml").write_text(slow_struts(255))
    assert run(baseline).exit_code == 0


def test_mended_findings_are_told_and_leave_the_baseline(shop):
    baseline = accept(shop, run())
    write(shop, p=FAST.replace("F30000", "F3000", 1))
    result = run(baseline)
    assert result.exit_code == 0 and {e.text for e in result.mended} == {"N10 G01 X100 F30000"}
    smaller = accept(shop, result, baseline)
    assert len(smaller.entries) == len(baseline.entries) - len(result.mended)
    assert not run(smaller).mended


def test_entries_of_programs_that_were_not_looked_at_stay(shop):
    write(shop, q=FAST)
    baseline = accept(shop, run(names=("p.nc", "q.nc")))
    part = run(baseline, names=("p.nc",), whole=False)
    assert not part.mended
    assert accept(shop, part, baseline).entries.keys() == baseline.entries.keys()
    (shop / "q.nc").unlink()
    assert {e.program for e in run(baseline, names=("p.nc",)).mended} == {"q.nc"}


def test_a_program_that_is_not_understood_mends_nothing(shop):
    baseline = accept(shop, run())
    write(shop, p="Q\n")
    result = run(baseline)
    assert result.exit_code == 2 and not result.mended


def test_entries_expire_after_their_last_day(shop):
    first = run()
    assert run(accept(shop, first, expires="2026-06-01")).exit_code == 0
    expired = accept(shop, first, expires="2026-05-31")
    result = run(expired)
    assert result.exit_code == 1 and states(result) == {"expired"}
    kept = accept(shop, result, expired)
    assert {e.expires for e in kept.entries.values()} == {"2026-05-31"}, "an update must not renew"


def test_warnings_and_ignored_limits_do_not_fail(shop):
    limits = {n: LimitRule(level="warn") for n in ("speed", "jerk", "acceleration", "stroke")}
    warned = run(chosen=policy(limits=limits))
    assert warned.exit_code == 0 and states(warned) == {"warning"}
    assert not json.loads(updated(Baseline(entries={}), warned.cases, ()))["accepted"]
    quiet = run(chosen=policy(limits={n: LimitRule(level="ignore") for n in limits}))
    assert quiet.exit_code == 0 and not quiet.cases[0].findings


def test_margins_fail_or_warn(shop):
    first = run(chosen=policy(machine=None))
    use = first.cases[0].record.worst["speed"].use
    assert first.exit_code == 0
    fail = run(chosen=policy(machine=None, limits={"speed": LimitRule(fail_above=use * 0.99)}))
    assert fail.exit_code == 1
    warn = run(chosen=policy(machine=None, limits={"speed": LimitRule(warn_above=use * 0.99)}))
    assert warn.exit_code == 0 and states(warn) == {"warning"}
    both = run(chosen=policy(machine=None, limits={"speed": LimitRule(fail_above=use * 0.99, warn_above=use * 0.5)}))
    assert both.exit_code == 1 and states(both) == {"warning", "new"}


def test_the_longest_cycle_time(shop):
    result = run(chosen=policy(machine=None, longest=1.0))
    found = result.cases[0].findings[0].found
    assert (
        result.exit_code == 1 and found.limit.name == "cycle-time" and found.peak == result.cases[0].record.duration_s
    )
    assert run(chosen=policy(machine=None, longest=1e4)).exit_code == 0
    assert run(accept(shop, result), chosen=policy(machine=None, longest=1.0)).exit_code == 0


def test_skipped_programs_are_told(shop):
    result = run(chosen=policy(skip=True))
    assert result.skipped == ("p.nc",) and not result.cases and result.exit_code == 0


def test_an_update_is_stable(shop):
    first = run()
    baseline = accept(shop, first, reason="r")
    again = judged({c.name: c.record for c in first.cases}, policy(), baseline, today=TODAY)
    text = updated(baseline, again.cases, again.mended)
    (shop / "baseline.json").write_bytes(text)
    assert updated(load_baseline(shop / "baseline.json"), again.cases, ()) == text
    assert {e.reason for e in load_baseline(shop / "baseline.json").entries.values()} == {"r"}


GOOD = {"program": "p", "limit": "speed", "fingerprint": "f", "use": 1.2}


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "not JSON"), ("[]", "not a baseline"), ('{"format": 2, "accepted": []}', "not a baseline"),
        (json.dumps({"format": 1, "accepted": [3]}), r"accepted\[1\].program must be a text"),
        (json.dumps({"format": 1, "accepted": [{**GOOD, "use": "x"}]}), "use must be a number"),
        (json.dumps({"format": 1, "accepted": [{**GOOD, "use": float("nan")}]}), "use must be a number"),
        (json.dumps({"format": 1, "accepted": [{**GOOD, "strut": 1.5}]}), "must have whole numbers"),
        (json.dumps({"format": 1, "accepted": [{**GOOD, "expires": "soon"}]}), "soon; write a date as YYYY-MM-DD"),
        (json.dumps({"format": 1, "accepted": [{**GOOD, "reason": ["x"]}]}), "reason must be a text"),
        ("[" * 100_000, "not JSON"),
    ],
)  # fmt: skip
def test_damaged_baselines_are_refused(tmp_path, text, what):
    path = tmp_path / "b.json"
    path.write_text(text)
    with pytest.raises(InputError, match=what):
        load_baseline(path)


def test_a_missing_baseline_says_how_to_write_one(tmp_path):
    with pytest.raises(InputError, match="--update-baseline"):
        load_baseline(tmp_path / "no.json")


def test_the_entry_of_a_finding_is_its_programs_own(shop):
    baseline = accept(shop, run())
    write(shop, q=FAST)
    moved = {("q.nc", key[1]): replace(e, program="q.nc") for key, e in baseline.entries.items()}
    assert run(Baseline(entries=moved)).exit_code == 1
