"""Every finding is judged: by brute force over single blocks, with floods, and the same counts in every output."""

import json
import re
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from library.shop import slow_struts, write

from hexpost.audit.model import Dropped, Finding
from hexpost.audit.store import Store
from hexpost.cli.gate_text import table
from hexpost.library import compare
from hexpost.library.baseline import WORSE, Acceptance, Baseline, load_baseline, updated
from hexpost.library.document import to_json
from hexpost.library.gate import gate, judged
from hexpost.library.junit import to_junit
from hexpost.library.model import JUDGED, GateResult, Left, ProgramFault, Record, Scope
from hexpost.library.page import to_page
from hexpost.library.policy import Policy
from hexpost.library.sarif import to_sarif
from hexpost.library.settings import LimitRule, Settings
from hexpost.library.texts import counts, summary
from hexpost.workers.engines import serial

pytestmark = pytest.mark.usefixtures("untried")

TODAY = date(2026, 6, 1)
LIMITS = ("speed", "stroke", "jerk")


def record(blocks, many=3):
    """Return the record of a program that breaks limits: ``blocks`` hold a ratio by limit and block.

    As in a real one, more than ``many`` blocks of a limit are one finding, the worst.
    """
    found, alike = [], {}
    for limit in LIMITS:
        mine = {k: x for (name, k), x in blocks.items() if name == limit}
        marks = {k: f"{LIMITS.index(limit):08x}{k:08x}" for k in mine}
        row = {"limit": JUDGED.of(limit), "until": 1.0, "allowed": 1.0, "strut": 1}
        if len(mine) <= many:
            found += [Finding(**row, line=k, peak=x, ratio=x, fingerprint=marks[k] + "0" * 16) for k, x in mine.items()]
        else:
            k, x = max(mine.items(), key=lambda item: item[1])
            mark = f"{LIMITS.index(limit):08x}" + "f" * 24
            found.append(Finding(**row, line=k, peak=x, ratio=x, fingerprint=mark, blocks=len(mine)))
            alike[mark] = tuple((marks[k], x) for k, x in mine.items())
    return Record(sha256="0" * 64, found=tuple(found), alike=alike)


BLOCKS = st.dictionaries(st.tuples(st.sampled_from(LIMITS), st.integers(1, 9)), st.sampled_from([1.01, 1.2, 1.5, 3.0]))


def accepted(blocks, policy):
    first = judged({"p.nc": record(blocks)}, policy, None, today=TODAY)
    path = Path("baseline.json")
    path.write_bytes(updated(Baseline(entries={}), first.cases, ()))
    return load_baseline(path)


@pytest.fixture(scope="module", autouse=True)
def elsewhere(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("judging"))
        Path("p.nc").touch()
        yield


@settings(max_examples=400, deadline=None)
@given(BLOCKS, BLOCKS, st.sampled_from([None, "warn", "ignore"]))
def test_a_baseline_lets_pass_what_it_has_and_nothing_else(before, after, level):
    """Against single blocks: each that fails must have been accepted with at least this use, listed alone or not."""
    policy = Policy(over=Settings(limits={"speed": LimitRule(level=level)}))
    known = {key: x for key, x in before.items() if level is None or key[0] != "speed"}
    bad = [
        key
        for key, x in after.items()
        if (level is None or key[0] != "speed") and x > known.get(key, 0.0) * (1.0 + WORSE)
    ]
    result = judged({"p.nc": record(after)}, policy, accepted(before, policy), today=TODAY)
    assert (result.exit_code == 1) == bool(bad)
    failing = {j.found.limit.name for j in result.cases[0].findings if j.fails}
    assert failing == {limit for limit, _ in bad}
    gone = {limit for limit, _ in known if not [k for name, k in known if name == limit and (name, k) in after]}
    assert gone <= {e.limit for e in result.mended}


@settings(max_examples=300, deadline=None)
@given(BLOCKS, BLOCKS)
def test_another_machine_is_compared_block_by_block(before, after):
    policy = Policy()
    sides = [judged({"p.nc": record(x)}, policy, None, today=TODAY) for x in (before, after)]
    (found,) = compare.changes(*sides, policy)
    worse = {limit for (limit, k), x in after.items() if x > before.get((limit, k), 0.0) * (1.0 + WORSE)}
    assert {j.found.limit.name for j in found.news} == worse
    assert compare.exit_code([found]) == int(bool(worse))
    expected = "newly-fails" if worse and not before else "breaks-more" if worse else None
    assert expected is None or found.kind == expected
    assert found.kind != "same" or len(after) <= len(before)


def test_what_is_understood_nowhere_is_not_compared():
    bad = Record(mistakes=(ProgramFault(code="x", what="x"),), mistakes_total=1)
    for was, now, kind, code in (
        (bad, bad, "not-compared", 2), (Record(), bad, "newly-fails", 2), (bad, Record(), "newly-passes", 0),
        (bad, record({("speed", 1): 2.0}), "breaks-more", 1),
    ):  # fmt: skip
        sides = [judged({"p.nc": x}, Policy(), None, today=TODAY) for x in (was, now)]
        found = compare.changes(*sides, Policy())
        assert (found[0].kind, compare.exit_code(found)) == (kind, code)


@pytest.mark.parametrize("level", [None, "fail", "warn", "ignore"])
@pytest.mark.parametrize("most", [1.5, 2.0, 1e300])
@pytest.mark.parametrize("warn", [None, 0.9])
def test_what_found_no_room_never_passes_unless_the_policy_ignores_it(level, most, warn):
    policy = Policy(over=Settings(limits={"speed": LimitRule(level=level, warn_above=warn)}))
    full = replace(record({("speed", 1): 2.0}), dropped=(Dropped(limit="speed", count=7, most_ratio=most),))
    first = judged({"p.nc": full}, policy, None, today=TODAY)
    fails = level in (None, "fail")
    assert first.exit_code == int(fails)
    Path("full.json").write_bytes(updated(Baseline(entries={}), first.cases, ()))
    again = judged({"p.nc": full}, policy, load_baseline(Path("full.json")), today=TODAY)
    assert again.exit_code == int(fails), "no baseline accepts what nobody has seen"
    said = [j.found.limit.name for j in again.cases[0].findings if j.fails]
    assert said == (["not-judged"] if fails else [])
    assert ("7 findings of speed are more than there is room for" in table(again)) is fails


def test_a_flood_of_one_limit_hides_no_other(tmp_path, monkeypatch):
    """Blocks that are too fast, which the policy ignores or the baseline has, and then a plunge under the pallet."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("hexpost.audit.audit.Store", partial(Store, kept=4))
    (tmp_path / "slow.toml").write_text(slow_struts())
    flood = "G21 M03 S900\nG90 G61\nG00 X0 Y0 Z300\n" + "G01 X60 F30000\nX0\n" * 12
    plunge = "G01 Z-30 F500\nM30\n"
    many = {n: LimitRule(level="ignore") for n in ("speed", "acceleration", "jerk", "stroke")}
    over = Settings(machine="slow.toml")
    for rules in ({}, many):
        policy = Policy(over=replace(over, limits=rules))
        write(tmp_path, p=flood + "M30\n")
        first = gate(["p.nc"], policy, serial(), today=TODAY)
        assert first.exit_code == (0 if rules else 1)
        (tmp_path / "b.json").write_bytes(updated(Baseline(entries={}), first.cases, ()))
        write(tmp_path, p=flood + plunge)
        result = gate(["p.nc"], policy, serial(), baseline=load_baseline(tmp_path / "b.json"), today=TODAY)
        assert result.exit_code == 1
        assert "pallet" in {j.found.limit.name for j in result.cases[0].findings if j.fails}


PROGRAMS = st.dictionaries(
    st.sampled_from(["a.nc", "b.nc", "sub/c.nc", "d\udcff.nc", "e f.nc"]),
    st.one_of(
        BLOCKS.map(record),
        st.integers(1, 130).map(
            lambda n: Record(mistakes=(ProgramFault(code="x", what="w", line=1),) * min(n, 100), mistakes_total=n)
        ),
    ),
)


@settings(max_examples=80, deadline=None)
@given(PROGRAMS, st.booleans(), st.integers(0, 3))
def test_counts_agree_in_every_output(programs, warns, more):
    """Text, JSON, SARIF, JUnit and page: each read by a reader of its own, and all have the same numbers."""
    rules = {"speed": LimitRule(level="warn")} if warns else {}
    scope = Scope(programs=len(programs) + more, left=(Left(name=".h.nc", why="hidden"),), warnings=("w",))
    result: GateResult = judged(programs, Policy(over=Settings(limits=rules)), None, scope=scope, today=TODAY)
    expected = counts(result)
    assert expected["checked"] == expected["passed"] + expected["failed"] + expected["errors"] == len(programs)
    last = summary(result)
    assert table(result).splitlines()[-1] == last

    out = json.loads(to_json(result))
    assert {key: out[key] for key in expected} == expected
    assert Counter(c["verdict"] for c in out["cases"]) == Counter(c.verdict for c in result.cases)
    assert all(c["findings_total"] == len(c["findings"]) for c in out["cases"])

    (run,) = json.loads(to_sarif(result))["runs"]
    assert run["properties"] == expected
    rows = run["results"]
    number = sum(r.get("occurrenceCount", 1) for r in rows)
    assert number == sum(case.total for case in result.cases)
    assert sum(r["level"] == "warning" for r in rows) == expected["findings_warning"]

    suite = ET.fromstring(to_junit(result))[0]
    assert {p.get("name"): int(p.get("value")) for p in suite.iter("property")} == expected
    assert (int(suite.get("failures")), int(suite.get("errors"))) == (expected["failed"], expected["errors"])
    assert suite.findtext("system-out").strip().splitlines()[-1] == last

    page = to_page(result, Path("page.html"))
    assert f"<p>{last} " in page
    cells = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in re.findall(r"<tr[^>]*>(<td.*?)</tr>", page)]
    assert sum(int(c[4].replace(",", "")) for c in cells) == sum(case.total for case in result.cases)
    assert len(cells) == len(programs)


@pytest.mark.parametrize("days", [*range(-3, 18), 30, 400])
def test_a_baseline_says_fourteen_days_ahead_that_it_expires(days):
    last = (TODAY + timedelta(days=days)).isoformat()
    blocks = {("speed", 1): 2.0}
    first = judged({"p.nc": record(blocks)}, Policy(), None, today=TODAY)
    said = Acceptance(reason="until the new spindle", expires=last)
    Path("soon.json").write_bytes(updated(Baseline(entries={}), first.cases, (), said))
    baseline = load_baseline(Path("soon.json"))
    assert {(e.reason, e.expires) for e in baseline.entries.values()} == {("until the new spindle", last)}
    result = judged({"p.nc": record(blocks)}, Policy(), baseline, today=TODAY)
    assert result.exit_code == int(days < 0)
    assert [x for _, x in result.expiring] == ([days] if 0 <= days <= 14 else [])
    assert ("expires" in table(result)) is (0 <= days <= 14)
    later = Acceptance(expires=(TODAY + timedelta(days=100)).isoformat())
    Path("later.json").write_bytes(updated(baseline, result.cases, result.mended, later))
    (entry,) = load_baseline(Path("later.json")).entries.values()
    assert entry.expires == (later.expires if days < 0 else last), "only what fails gets another day"
    assert entry.reason == "until the new spindle"


@pytest.mark.parametrize(
    ("there", "new", "follows"),
    [
        ([], {"new.nc": "1"}, "new.nc"), ([], {"sub/p2.nc": "1"}, "sub/p2.nc"), ([], {"new.nc": "2"}, None),
        (["old.nc"], {"new.nc": "1"}, None), ([], {"a.nc": "1", "b.nc": "1"}, None),
        ([], {"a.nc": "2", "b.nc": "1"}, "b.nc"),
        ([], {"new.nc": ""}, None), ([], {"old.nc": "1"}, None), ([], {}, None), ([], {"\udcff.nc": "1"}, "\udcff.nc"),
    ],
)  # fmt: skip
def test_accepted_findings_follow_a_program_to_its_new_name_by_its_content(tmp_path, monkeypatch, there, new, follows):
    monkeypatch.chdir(tmp_path)
    old = replace(record({("speed", 1): 2.0}), sha256="1")
    first = judged({"old.nc": old}, Policy(), None, today=TODAY)
    Path("b.json").write_bytes(updated(Baseline(entries={}), first.cases, ()))
    for name in there:
        Path(name).touch()
    records = {name: replace(old, sha256=content) for name, content in new.items()}
    result = judged(records, Policy(), load_baseline(Path("b.json")), today=TODAY)
    passing = {c.name for c in result.cases if c.verdict == "pass"}
    assert passing == ({follows} if follows else {"old.nc"} & set(new))
    assert result.renamed == ((("old.nc", follows),) if follows else ())
    if follows:
        Path("b.json").write_bytes(updated(load_baseline(Path("b.json")).renamed(result.renamed), result.cases, ()))
        assert {e.program for e in load_baseline(Path("b.json")).entries.values()} == set(new)
