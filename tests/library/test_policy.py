"""The policy file: what holds for which programs, and every fault in one run."""

import re
from dataclasses import fields

import pytest

from hexpost.cli.gate_text import table
from hexpost.errors import InputError
from hexpost.library.gate import gate
from hexpost.library.policy import Policy, input_files, load_policy
from hexpost.library.settings import LimitRule, Settings
from hexpost.library.texts import judged_sentence
from hexpost.workers.engines import serial

TEXT = """
programs = ["*.nc", "*.part"]
[all]
machine = "machines/north.toml"
longest_cycle_s = 3600
[all.limit.speed]
fail_above_percent = 95
warn_above_percent = 90
[all.limit.pallet]
level = "warn"
[[where]]
path = ["rough/**", "old/*.nc"]
feed = "strut-limited"
time_limit_s = 5
period_ms = 2
[where.limit.speed]
fail_above_percent = 100
[[where]]
path = ["old/**"]
skip = true
machine = "machines/south.toml"
"""


@pytest.fixture
def policy(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lib").mkdir()
    (tmp_path / "lib" / "gate.toml").write_text(TEXT)
    return load_policy("lib/gate.toml", Settings(tools="t.toml"))


def test_later_tables_and_the_command_line_count(policy):
    plain, rough, old = (policy.settings(f"lib/{n}/a.nc") for n in ("x", "rough", "old"))
    assert plain.machine == "lib/machines/north.toml" and plain.tools == "t.toml" and plain.feed is None
    assert plain.rule("speed") == LimitRule(fail_above=0.95, warn_above=0.9)
    assert plain.longest == 3600 and plain.rule("pallet").level == "warn" and plain.rule("jerk") == LimitRule()
    assert rough.rule("speed") == LimitRule(fail_above=1.0, warn_above=0.9) and rough.feed == "strut-limited"
    assert rough.time_limit == 5 and rough.period == 0.002 and not rough.skip
    assert old.skip and old.machine == "lib/machines/south.toml" and old.feed == "strut-limited"
    assert policy.programs == ("*.nc", "*.part")
    assert policy.settings("lib/x/b.nc") is plain


def test_margins_are_the_least_that_anything_is_said_about(policy):
    assert policy.settings("lib/x.nc").margins == (("speed", 0.9),)
    assert Policy().settings("x.nc").margins == ()


def test_input_files_are_listed(policy):
    files = input_files(policy.settings("lib/x.nc"), policy.file, None)
    assert files == ("lib/machines/north.toml", "t.toml", "lib/gate.toml")


CYCLE = (
    "all.must_check lists an unknown limit `cycle-time`; known: stroke, speed, acceleration, jerk, joint-angle, "
    "thrust, torque, critical-speed, buckling, singular-pose, clearance, deviation, tool-length, tool-number, pallet, "
    "retract, thrust-continuous, torque-continuous, power, return-path, tool-call, tapping, "
    "spindle-off, rapid-below-zero, contour, vibration, deceleration"
)


@pytest.mark.parametrize(
    ("text", "key", "what"),
    [
        ("[all]\nmachina = 'x'", "all.machina", "unknown key `all.machina`; did you mean `machine`?"),
        ("[all]\nfeed = 'fast'", "all.feed", 'all.feed is "fast"; write feed = "as-programmed" or "strut-limited"'),
        ("[all]\nlongest_cycle_s = -1", "all.longest_cycle_s", "all.longest_cycle_s is -1; it must be above 0"),
        ("[all]\nlongest_cycle_s = nan", "all.longest_cycle_s",
         "all.longest_cycle_s is nan; write longest_cycle_s = number above 0"),
        ("[all]\nskip = 1", "all.skip", "all.skip is 1; write skip = true or false"),
        ("[all.limit.sped]", "all.limit.sped", "unknown key `all.limit.sped`; did you mean `speed`?"),
        ("[all.limit.speed]\nlevel = 'off'", "all.limit.speed.level",
         ('all.limit.speed.level is "off"; write level = "fail", "warn" or "ignore"')),
        ("[all.limit.speed]\nfail_above_percent = 120", "all.limit.speed.fail_above_percent",
         "all.limit.speed.fail_above_percent is 120; it must be at most 100"),
        ("[all.limit.pallet]\nfail_above_percent = 90", "all.limit.pallet.fail_above_percent",
         ("all.limit.pallet.fail_above_percent is a margin, and pallet has none; "
          "these have: stroke, speed, acceleration, jerk, deviation, contour, vibration, deceleration")),
        ("[all]\nmust_check = ['joint-angel']", "all.must_check",
         "all.must_check lists an unknown limit `joint-angel`; did you mean `joint-angle`?"),
        ("[all]\nmust_check = ['cycle-time']", "all.must_check",
         CYCLE),
        ("[all]\nmust_check = 'speed'", "all.must_check",
         'all.must_check is "speed"; write must_check = ["text", ...]'),
        ("[[where]]\nskip = true", "where[1].path", '`where[1].path` is missing; add it: path = ["text", ...]'),
        ("[[where]]\npath = []", "where[1].path", 'where[1].path is []; write path = ["text", ...]'),
        ("where = 3", "where", "where is 3; make it a list of tables: [[where]]"),
        ("programs = 'x'", "programs", 'programs is "x"; write programs = ["text", ...]'),
        ("[all]\nperiod_ms = 0.0001", "all.period_ms",
         "all.period_ms is 0.0001; the period must be whole microseconds"),
        ("x", None, None),
    ],
)  # fmt: skip
def test_faults_have_key_and_reason(tmp_path, text, key, what):
    path = tmp_path / "gate.toml"
    path.write_text(text)
    with pytest.raises(InputError) as e:
        load_policy(path, Settings())
    fault = e.value.faults[0]
    assert fault.file == str(path) and fault.key == key
    if what:
        assert fault.what == what


def test_a_limit_that_nobody_knows_is_refused_with_the_one_that_may_be_meant(tmp_path):
    (tmp_path / "gate.toml").write_text("[all]\nmust_check = ['joint-angel', 'x']")
    with pytest.raises(InputError) as e:
        load_policy(tmp_path / "gate.toml", Settings())
    near, far = (fault.what.partition("; ")[2] for fault in e.value.faults)
    assert near == "did you mean `joint-angle`?" and far.startswith("known: stroke, speed, ")


def test_a_missing_policy_is_refused(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        load_policy(tmp_path / "no.toml", Settings())


def test_the_sample_shows_keys_that_are_keys(root, tmp_path):
    """Those marked # are not used there; with them the file is a policy, too, and holds every key there is."""
    text = (root / "samples" / "gate.toml").read_text()
    shown = re.sub(r"^#(?=\w)", "", text, flags=re.MULTILINE)
    (tmp_path / "gate.toml").write_text(shown)
    policy = load_policy(tmp_path / "gate.toml", Settings())
    settings = [policy.everywhere, *(where.settings for where in policy.where)]
    assert not [f.name for f in fields(Settings) if all(getattr(x, f.name) is None for x in settings)]
    rules = [rule for x in settings for rule in x.limits.values()]
    assert not [f.name for f in fields(LimitRule) if all(getattr(x, f.name) is None for x in rules)]


@pytest.mark.parametrize(("level", "code", "state"), [(None, 0, "warning"), ("fail", 1, "new"), ("ignore", 0, None)])
def test_a_remark_is_raised_by_the_policy(tmp_path, monkeypatch, level, code, state):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.nc").write_text("G21 G90\nG00 X0 Y0 Z300\nG01 X10 F500\nY10\nX20\nM30\n")
    rule = "" if level is None else f"[all.limit.spindle-off]\nlevel = '{level}'\n"
    (tmp_path / "gate.toml").write_text(rule)
    result = gate(["a.nc"], load_policy("gate.toml", Settings()), serial())
    assert result.exit_code == code
    (case,) = result.cases
    said = [(j.found.line, j.found.blocks, j.state) for j in case.findings if j.found.limit.name == "spindle-off"]
    assert said == ([(3, 3, state)] if state else [])
    if state == "new":
        assert "3: spindle-off: cuts, and the spindle has not been started (M03 or M04, with S); 3 blocks" in table(
            result
        )


def test_the_gate_advises_the_feed_that_clears_all_limits_of_a_block(root, tmp_path, monkeypatch):
    """On line 11 of the sample the speed alone would be kept at F53600, the acceleration asks for less."""
    monkeypatch.chdir(root)
    files = Settings(tools="samples/tools.toml", setup="samples/setup.toml")
    (case,) = gate(["samples/overdriven.nc"], Policy(over=files), serial()).cases
    told = {
        judged_sentence(j).split("rite ")[1].split(" ")[0].rstrip(".,") for j in case.findings if j.found.line == 11
    }
    least = min((j.found for j in case.findings if j.found.line == 11), key=lambda f: f.feed)
    assert {j.found.feed for j in case.findings if j.found.line == 11} == {least.feed} and least.feed < 53600
    assert told == {f"F{least.f_word(least.feed):g}"}
