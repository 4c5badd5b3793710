"""What a policy may not say, what it may not reach, and what it says in vain: each with many inputs of its kind."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from library.shop import CLEAN, slow_struts, stocked

from hexpost.cli import main
from hexpost.errors import InputError
from hexpost.library.gate import make_tasks
from hexpost.library.patterns import fits
from hexpost.library.policy import load_policy
from hexpost.library.settings import Settings


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return stocked(tmp_path, lib__a=CLEAN, lib__sub__b=CLEAN)


def gate(*words):
    done = CliRunner().invoke(main, ["gate", "lib", "--serial", "--no-cache", *words], prog_name="hexpost")
    assert "Traceback" not in done.output
    return done


def refusals(text, **how):
    Path("gate.toml").write_text(text)
    with pytest.raises(InputError) as told:
        make_tasks(["lib/a.nc"], load_policy("gate.toml", Settings(), **how))
    return told.value.faults


SHARE = "[all.limit.speed]\nfail_above_percent = {}\nwarn_above_percent = {}\n"
TWO = "[all.limit.{0}]\n{1}\n[[where]]\npath = ['*.nc']\n[where.limit.{0}]\n{2}\n"


@pytest.mark.parametrize(
    "text",
    [
        *(SHARE.format(f, w) for f, w in ((90, 95), (1, 2), (50, 100), (99.9, 99.91), (0.5, 1), (94.999, 95))),
        *(SHARE.format(80, 90).replace("speed", x) for x in ("jerk", "stroke", "acceleration", "deviation")),
        TWO.format("speed", "warn_above_percent = 95", "fail_above_percent = 90"),
        TWO.format("jerk", "fail_above_percent = 60", "warn_above_percent = 70"),
        TWO.format("stroke", "fail_above_percent = 60\nwarn_above_percent = 50", "warn_above_percent = 70"),
        TWO.format("speed", "fail_above_percent = 99\nwarn_above_percent = 95", "fail_above_percent = 94"),
        TWO.format("speed", "warn_above_percent = 95", "fail_above_percent = 90\nlevel = 'fail'"),
        "[all.limit.speed]\nlevel = 'ignore'\nwarn_above_percent = 90\n",
        "[all.limit.speed]\nlevel = 'ignore'\nfail_above_percent = 90\n",
        "[all.limit.jerk]\nlevel = 'warn'\nfail_above_percent = 90\n",
        "[all]\nmust_check = ['thrust']\n[all.limit.thrust]\nlevel = 'ignore'\n",
        "[[where]]\npath = ['*.nc']\nmust_check = ['stroke', 'jerk']\n[where.limit.jerk]\nlevel = 'ignore'\n",
        "[[where]]\npath = ['x']\n[where.limit.speed]\nfail_above_percent = 3\nwarn_above_percent = 4\n",
    ],
)
def test_contradictions_are_refused(shop, text):
    assert {f.code for f in refusals(text)} == {"contradiction"}


@pytest.mark.parametrize(
    "text",
    [
        SHARE.format(95, 95), SHARE.format(95, 90), TWO.format("speed", "warn_above_percent = 95", "level = 'ignore'"),
        TWO.format("speed", "fail_above_percent = 95", "level = 'warn'"),
        "[all.limit.speed]\nwarn_above_percent = 100\n",
        TWO.format("speed", "warn_above_percent = 95", "fail_above_percent = 98"),
        TWO.format("speed", "fail_above_percent = 90", "fail_above_percent = 80"),
        "[all]\nmust_check = ['stroke']\n[all.limit.stroke]\nlevel = 'warn'\n",
    ],
)  # fmt: skip
def test_what_only_looks_like_a_contradiction_is_not_refused(shop, text):
    Path("gate.toml").write_text(text)
    assert make_tasks(["lib/a.nc"], load_policy("gate.toml", Settings()))


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("[all]\nlongest_cycles_s = 3", "longest_cycle_s"), ("longest_cycles_s = 3", "all.longest_cycle_s"),
        ("longest_cycle_s = 3", "all.longest_cycle_s"), ("[all.limit]\nlongest_cycles_s = 3", "all.longest_cycle_s"),
        ("[all.limit.cycle-time]\nlongest_cycle_s = 3", "all.longest_cycle_s"), ("machine = 'm'", "all.machine"),
        ("machines = 'm'", "all.machine"), ("[all]\nmachine_require = true", "machine_required"),
        ("machine_required = true", "all.machine_required"), ("[all]\nstrict = true", "strict"), ("skip = true",
        "all.skip"),
        ("[all]\ntime_limits_s = 3", "time_limit_s"), ("timelimit_s = 3", "all.time_limit_s"), ("feeds = 'x'",
        "all.feed"),
        ("period_ms = 2", "all.period_ms"), ("tool = 't'", "all.tools"), ("set_up = 't'", "all.setup"),
        ("must_checks = ['x']", "all.must_check"), ("[all.speed]\nlevel = 'warn'", "all.limit.speed"),
        ("[speed]\nlevel = 'warn'", "all.limit.speed"), ("[all.joint-angel]\nlevel = 'warn'", "all.limit.joint-angle"),
        ("[all]\nfail_above_percent = 3", "all.limit.NAME.fail_above_percent"), ("limits = 3", "all.limit"),
        ("[all.limit]\nwarn_above_percents = 3", "all.limit.NAME.warn_above_percent"),
        ("[all.limit.cycle_time]\nlevel = 'warn'", "cycle-time"), ("program = ['x']", "programs"),
        ("[[where]]\npath = ['x']\nprograms = ['*.nc']", "programs"), ("[all.limits.speed]\nlevel = 'warn'", "limit"),
        ("[[where]]\npath = ['x']\nlongest_cycles_s = 3", "longest_cycle_s"), ("level = 'warn'",
        "all.limit.NAME.level"),
    ],
)  # fmt: skip
def test_every_key_is_known_to_the_hints_wherever_it_was_written(shop, text, hint):
    (fault,) = [f for f in refusals(text) if f.code == "unknown-key"]
    assert fault.what.endswith(f"did you mean `{hint}`?"), fault.what


NAMES = ["../m.toml", "a/../../m.toml", "/etc/hostname", "..", "../lib/../m.toml", "./../m.toml", "below/../../m.toml",
         "link.toml", "linked/m.toml", "hop/hop/m.toml"]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("key", ["machine", "tools", "setup"])
def test_a_policy_reaches_out_of_its_folder_on_the_command_lines_word_only(tmp_path, monkeypatch, name, key):
    inside = tmp_path / "library"
    (inside / "below").mkdir(parents=True)
    (tmp_path / "m.toml").write_text(slow_struts())
    (inside / "link.toml").symlink_to("../m.toml")
    (inside / "linked").symlink_to("..")
    (inside / "hop").symlink_to(".")
    (inside / "m.toml").write_text(slow_struts())
    monkeypatch.chdir(inside)
    Path("gate.toml").write_text(f'[all]\n{key} = "{name}"\n')
    if name.startswith("hop"):
        assert load_policy("gate.toml", Settings())
        return
    with pytest.raises(InputError, match="leads out of the folder of the policy") as told:
        load_policy("gate.toml", Settings())
    assert "--root DIR" in str(told.value)
    far = name.startswith("/") or name == ".."
    for root in ("/", *(() if far else ("..", str(tmp_path)))):
        assert load_policy("gate.toml", Settings(), root=root)
    with pytest.raises(InputError):
        load_policy("gate.toml", Settings(), root="below")
    assert load_policy("gate.toml", Settings(), root="/").settings("x.nc")


def test_root_is_an_option_of_the_gate(shop):
    Path("lib/gate.toml").write_text('[all]\nmachine = "../slow.toml"\n')
    assert "--root DIR" in gate("--policy", "lib/gate.toml").output
    assert gate("--policy", "lib/gate.toml").exit_code == 2
    assert gate("--policy", "lib/gate.toml", "--root", ".").exit_code == 0


VAIN = ["lib/*.nx", "lib/c.nc", "LIB/a.nc", "lib/A.nc", "lib\\\\a.nc", "/lib/a.nc", "lib/a.nc ", "a.nc/", "lib",
         "lib/", "sub/*.nc",
        "../lib/*.nc", "lib/?/b.nc", "lib/a", "lib/*/a.nc", "*/b.nc", "slow.toml", "*.toml", "lib/[ab].nc",
        "lib/{a,b}.nc",
        "tr\u00e4ger.nc", "~/lib/a.nc", "lib//a.nc", "lib/sub/deep/**"]  # fmt: skip


@pytest.mark.parametrize("pattern", VAIN)
def test_a_pattern_that_fits_nothing_is_told_and_with_strict_it_fails(shop, pattern):
    text = f'[[where]]\npath = ["lib/a.nc", "{pattern}"]\n'
    Path("gate.toml").write_text(text)
    policy = load_policy("gate.toml", Settings())
    plain = pattern.replace("\\\\", "\\")
    assert policy.unfit(["lib/a.nc", "lib/sub/b.nc"]) == [f"where[1].path[2] fits no program: {plain}"]
    Path("gate.toml").write_text("strict = true\n" + text)
    done = gate()
    assert done.exit_code == 2 and "gate.toml: where[1].path[2] fits no program" in done.output


@pytest.mark.parametrize(
    "pattern", ["lib/a.nc", "./lib/a.nc", "**/a.nc", "*.nc", "lib/**", "l*/?.nc", "b.nc", "lib/sub/*", "**"]
)
def test_a_pattern_that_fits_is_not_told_though_other_programs_are_checked(shop, pattern):
    Path("gate.toml").write_text(f'strict = true\n[[where]]\npath = ["{pattern}"]\n')
    assert load_policy("gate.toml", Settings()).unfit(["lib/zzz.nc"]) == []


def test_the_warning_is_in_every_output(shop):
    Path("gate.toml").write_text('[[where]]\npath = ["tr\u00e4ger.nc"]\nmachine = "slow.toml"\n')
    files = ["--sarif", "s.sarif", "--junit", "j.xml", "--html", "p.html"]
    assert "Warning: gate.toml: where[1].path[1] fits no program: tr" in gate(*files).stdout
    for name in files[1::2]:
        assert "where[1].path[1] fits no program" in Path(name).read_text(), name
    (warning,) = json.loads(gate("--json").stdout)["warnings"]
    assert warning.startswith("gate.toml: where[1].path[1] fits no program")


@pytest.mark.parametrize("level", ["all", "where"])
def test_a_required_machine_fails_what_has_none_and_only_that(shop, level):
    table = "[all]" if level == "all" else '[[where]]\npath = ["lib/**"]'
    named = '[[where]]\npath = ["lib/a.nc"]\nmachine = "slow.toml"\n'
    Path("gate.toml").write_text(f"{table}\nmachine_required = true\n{named}")
    done = gate("--json")
    verdicts = {c["program"]: (c["verdict"], [f["limit"] for f in c["findings"] if f["fails"]])
                for c in json.loads(done.stdout)["cases"]}  # fmt: skip
    assert verdicts == {"lib/a.nc": ("pass", []), "lib/sub/b.nc": ("fail", ["no-machine"])} and done.exit_code == 1
    text = gate().stdout
    assert re.search(r"^Judged on the invented demonstration machine: lib/sub/b\.nc\.$", text, re.MULTILINE)
    assert gate("--baseline", "b.json", "--update-baseline").exit_code == 1, "no baseline accepts it"
    assert gate("--machine", "slow.toml").exit_code == 0
    assert "demonstration" not in gate("--machine", "slow.toml").stdout


LETTERS = st.lists(st.sampled_from(["a", "b", "/", "*", "**", "**/", "?", ".", "ab/"]), min_size=1, max_size=9).map(
    "".join
)


def slowly(path, pattern):
    """Return whether a path fits, from the meaning of each sign alone."""
    pattern = pattern.removeprefix("./")
    pieces = re.findall(r"\*\*/|\*\*|.", pattern if "/" in pattern else "**/" + pattern)
    ends = {0}
    for p in pieces:
        if p == "**/":
            ends |= {k + 1 for e in ends for k in range(e, len(path)) if path[k] == "/"}
        elif p == "**":
            ends = {k for e in ends for k in range(e, len(path) + 1)}
        elif p == "*":
            ends = {k for e in ends for k in range(e, len(path) + 1) if "/" not in path[e:k]}
        else:
            ends = {e + 1 for e in ends if e < len(path) and (path[e] == p or (p == "?" and path[e] != "/"))}
    return len(path) in ends


@settings(max_examples=400, deadline=None)
@given(st.text("ab/.", max_size=10), LETTERS)
def test_patterns_mean_what_their_signs_mean(path, pattern):
    assert fits(path, pattern) is slowly(path, pattern)


@pytest.mark.parametrize(
    "pattern",
    ["**/" * n + end for n in (20, 300) for end in ("x", "*.nc", "a/b.nc", "*a*a*a*a*a*a*b")]
    + ["*a" * 30 + "b", "**a" * 30 + "b", "a*" * 40, "?*" * 40, "**" * 50 + "x", "**/*" * 25 + "z", "*" * 200,
    "*?" * 60 + "z",
       "**/a" * 30, "a/**/" * 20 + "z", "**/*a*/" * 15 + "z", "*/" * 60],
)  # fmt: skip
def test_no_pattern_takes_longer_than_its_length_times_the_paths(pattern):
    """With backtracking each of these would take years; they are done at once."""
    for path in ("a/" * 60 + "x.nd", "a" * 250, "/".join(["aaaa"] * 50)):
        assert fits(path, pattern) is slowly(path, pattern)
