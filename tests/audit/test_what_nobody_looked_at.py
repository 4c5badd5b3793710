"""A report names each limit that was not looked at, and the missing key: held against the machine file itself."""

import json
import re
import tomllib
from dataclasses import replace

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import PLAIN, STRUT, text
from verify.folders import retold

from hexpost.audit.limits import LIMITS, Of
from hexpost.cli import main
from hexpost.cli.machine import unseen_with
from hexpost.machine.load import machine_from, no_tools
from hexpost.verify.lacking import lacking as left_out

PROGRAM = "G21 G90\nG00 X0 Y0 Z300\nG01 X10 F600\nM30\n"
KEYED = [row for row in LIMITS if row.keys and row.of is not Of.PROGRAM]
GIVEN = replace(no_tools(), given=True)
BOX = '[[keep_out]]\nname = "post"\nlow_mm = [-600, -600, 900]\nhigh_mm = [600, 600, 1400]\n'
OPTIONAL = (
    "thrust_n", "thrust_continuous_n", "torque_nm", "torque_continuous_nm", "power_w", "root_diameter_mm",
    "base_cone_deg", "platform_cone_deg", "radius_mm",
)  # fmt: skip
CUTTING = {"thrust", "thrust-continuous", "torque", "torque-continuous", "power", "buckling"}


def unseen(source):
    return {(x.limit, x.part): x.missing for x in unseen_with(machine_from(source.encode(), "m.toml"))}


def without(source, strut, key):
    """Return the machine file without a key of one strut (from 1)."""
    at = [
        *(m.start() for m in re.finditer(r"^\[\[(strut|keep_out)\]\]|^\[(forces|spindle)\]", source, re.MULTILINE)),
        len(source),
    ]
    part = re.sub(rf"^{key} = .*\n", "", source[at[strut - 1] : at[strut]], flags=re.MULTILINE)
    return source[: at[strut - 1]] + part + source[at[strut] :]


def test_a_described_machine_leaves_nothing_out():
    assert unseen(text()) == {}


def test_of_a_bare_machine_each_limit_that_has_a_key_is_named_with_it():
    assert unseen(PLAIN) == {(row.name, ""): row.keys[0] for row in KEYED}


@settings(deadline=None, max_examples=60)
@given(st.sets(st.tuples(st.integers(1, 6), st.sampled_from(OPTIONAL)), max_size=30), st.booleans())
def test_what_is_named_is_what_the_file_lacks(gone, cuts):
    """The keys are looked up in the TOML tables themselves."""
    source = text()
    for strut, key in sorted(gone):
        source = without(source, strut, key)
    if not cuts:
        source = re.sub(r"^(force_n|moment_nm) = .*\n", "", source, flags=re.MULTILINE)
    machine = machine_from(source.encode(), "m.toml")
    assert {(x.limit, x.part): x.missing for x in left_out(machine, GIVEN)} == unseen(source)  # verify's own rules
    struts = tomllib.loads(source)["strut"]
    found = {}
    for limit, part in unseen(source):
        found.setdefault(limit, set()).add(part)
    for row in KEYED:
        lacking, every = set(), []
        for words in row.keys:
            table, key = re.fullmatch(r"\[strut\.(\w+)\] (\w+)", words).groups() if "strut" in words else (None, None)
            if table:
                left = [k for k, s in enumerate(struts, 1) if key not in s[table]]
                every.append(len(left) == 6)
                lacking |= {tuple(left)} if left else set()
        if all(every):
            solid = row.name == "clearance"  # the spindle and the box are left
            assert found[row.name] == {"all struts" if solid else ""}, row.name
            continue
        parts = found.get(row.name, set())
        assert ("the cutting force" in parts) == (not cuts and row.name in CUTTING)
        told = {tuple(int(x) for x in re.findall(r"\d", p)) or tuple(range(1, 7)) for p in parts if "strut" in p}
        assert told == lacking, row.name


@pytest.mark.parametrize("rest", ["", "[spindle]\nradius_mm = 70\n", BOX, "[spindle]\nradius_mm = 70\n" + BOX])
@pytest.mark.parametrize("solid", [0, 1, 2, 6])
def test_bodies_that_cannot_meet_are_found_so_by_the_proof_too(rest, solid):
    source = text("[strut.body]\nradius_mm = 50\n", rest)
    for strut in range(solid + 1, 7):
        source = without(source, strut, "radius_mm")
    machine = machine_from(source.encode(), "m.toml")
    both = {(x.limit, x.part): x.missing for x in left_out(machine, no_tools())}
    assert both.pop(("tool-length", "")) == "a tools file (--tools)"
    assert both == unseen(source)


def test_the_key_that_is_named_is_a_key_that_is_known_and_giving_it_is_enough():
    for row in KEYED:
        for words in row.keys[:1]:
            table, key = re.fullmatch(r"\[strut\.(\w+)\] (\w+)", words).groups()
            block = re.search(rf"\[strut\.{table}\]\n(.*\n)*?\n", STRUT + "\n")[0]
            kept = [x for x in block.splitlines() if x.startswith(("[", key, "lead_mm"))]
            rest = "[spindle]\nradius_mm = 70\n" if table == "body" else ""
            assert (row.name, "") not in unseen(text("\n".join(kept) + "\n", rest)), row.name


@pytest.fixture
def files(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "p.nc").write_text(PROGRAM)
    (tmp_path / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 12\n")
    (tmp_path / "m.toml").write_text(without(text(), 2, "thrust_n"))
    return tmp_path


def run(*words):
    return CliRunner().invoke(main, words)


def said(*words):
    return " ".join(run(*words).output.split())


SAID = "Not looked at: thrust (strut 2) needs [strut.screw] thrust_n."


def test_the_verdict_is_followed_by_it_in_every_form(files):
    done = run("convert", "p.nc", "--machine", "m.toml", "--tools", "t.toml", "--out", "job")
    assert done.exit_code == 0, done.output
    assert f"CLEAN: no limit is broken; the job takes 0.9 s.\n{SAID}\n" in re.sub(r"[\d.]+ s\.", "0.9 s.", done.output)
    made = json.loads((files / "job/report.json").read_text())
    assert made["not_checked"] == [{"limit": "thrust", "part": "strut 2", "missing": "[strut.screw] thrust_n"}]
    assert (
        SAID in (files / "job/report.txt").read_text() and f"<p>{SAID}</p>" in (files / "job/report.html").read_text()
    )
    assert "tool-length needs a tools file (--tools)." in said("audit", "p.nc", "--machine", "m.toml")
    assert SAID in said("refeed", "p.nc", "-o", "new.nc", "--machine", "m.toml", "--tools", "t.toml")
    assert "not looked at: thrust (strut 2) needs [strut.screw] thrust_n" in said("machine", "check", "m.toml")
    proof = run("verify", "job").output.splitlines()
    assert proof[0].startswith("PROVEN, CLEAN") and proof[1] == SAID
    assert json.loads(run("verify", "job", "--json").output)["limits_not_checked"] == made["not_checked"]


@pytest.mark.long
def test_a_placement_names_it(files):
    place = ("place", "p.nc", "--machine", "m.toml", "--tools", "t.toml", "--serial", "--step-mm", "400")
    done = run(*place, "-o", "s.toml")
    assert done.exit_code == 0 and SAID in done.output.splitlines()
    assert f"# {SAID}" in (files / "s.toml").read_text()
    assert json.loads(run(*place, "--json").output)["not_checked"][0]["limit"] == "thrust"


@pytest.mark.parametrize("spoil", ["left-out", "added", "other-key"])
def test_a_report_that_names_others_is_not_proven(files, spoil):
    run("convert", "p.nc", "--machine", "m.toml", "--tools", "t.toml", "--out", "job")
    report = json.loads((files / "job/report.json").read_text())
    rows = report["not_checked"]
    if spoil == "left-out":
        rows.clear()
    elif spoil == "added":
        rows.append({"limit": "torque", "part": None, "missing": "[strut.screw] torque_nm"})
    else:
        rows[0]["missing"] = "[strut.screw] power_w"
    retold(files / "job", lambda old: old.update(report))
    done = run("verify", "job", "--without-remake")
    assert done.exit_code == 2
    assert "FAILED  not looked at" in done.output


@pytest.mark.parametrize(("must", "fails"), [("thrust", True), ("torque", False)])
def test_the_gate_names_it_and_fails_where_it_must_be_looked_at(files, must, fails):
    policy = f"[all]\nmachine = 'm.toml'\ntools = 't.toml'\nmust_check = ['{must}']\n"
    (files / "gate.toml").write_text(policy)
    written = ["--html", "g.html", "--sarif", "g.sarif", "--junit", "g.xml"]
    for cache in (["--no-cache"], ["--cache", "kept"], ["--cache", "kept"]):
        done = run("gate", "p.nc", "--serial", *cache, *written)
        assert done.exit_code == int(fails), done.output
        words = " ".join(done.output.split())
        assert SAID in words and SAID in (files / "g.html").read_text()
        sentence = (
            "p.nc:1: not-checked: thrust (strut 2) must be looked at (must_check of the policy), and is not. "
            "Give [strut.screw] thrust_n, or take the limit out of must_check."
        )
        assert (sentence in words) == fails
        results = json.loads((files / "g.sarif").read_text())["runs"][0]["results"]
        assert ("limit/not-checked" in {r["ruleId"] for r in results}) == fails
        assert ("thrust (strut 2) must be looked at" in (files / "g.xml").read_text()) == fails
    document = json.loads(run("gate", "p.nc", "--serial", "--no-cache", "--json").stdout)
    assert document["cases"][0]["not_checked"] == [
        {"limit": "thrust", "part": "strut 2", "missing": "[strut.screw] thrust_n"}
    ]
    (files / "gate.toml").write_text(policy + "[all.limit.not-checked]\nlevel = 'warn'\n")
    assert run("gate", "p.nc", "--serial", "--no-cache").exit_code == 0
