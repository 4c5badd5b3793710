"""A limit is added with one row and one check, and is then in every output. Here both are passed in."""

import json
import pickle
from dataclasses import replace

import numpy as np
import pytest
from machine.described import STRUT
from machine.described import text as machine_text

from hexpost.audit.band import symmetric_band
from hexpost.audit.checks import ALL_LIMITS, CHECKS, Checking
from hexpost.audit.limits import LIMITS, Advice, Chart, Law, Limit, Of, Place, Sense
from hexpost.audit.program_rules import RULES, Breaches
from hexpost.audit.strut_limits import StrutLimit
from hexpost.cli.gate_text import table
from hexpost.convert import Output, convert, report_of
from hexpost.library.document import document
from hexpost.library.gate import gate
from hexpost.library.junit import to_junit
from hexpost.library.page import to_page
from hexpost.library.policy import load_policy
from hexpost.library.sarif import to_sarif
from hexpost.library.settings import Settings
from hexpost.pipeline import Files, load, schedule
from hexpost.refeed.lower import refeed
from hexpost.report.terminal import summary
from hexpost.setup.trial import Trial, digest_of, run
from hexpost.verify.told import Told
from hexpost.verify.verify import verify
from hexpost.workers.engines import serial

pytestmark = pytest.mark.usefixtures("untried")

PROGRAM = "G21 G90\nG00 X0 Y0 Z300\nN10 G01 X100 F6000\nN20 G01 Y50 F600\nM30\n"
MOST = 60.0

HUM = Limit(
    name="hum", unit="mm/s", of=Of.STRUT, sense=Sense.MOST, meaning="A strut hums.",
    advice=Advice("Ask for quiet.", feed="Write {feed}, so that nobody hears it.", rapid="Let it hum."),
    law=Law.LINEAR, place=Place.SEARCH, margin=True, chart=Chart.OWN, quantity="loudness", note="hum: what is heard.",
)  # fmt: skip
WEST = Limit(
    name="west", unit="mm", of=Of.PROGRAM, sense=Sense.RULE, meaning="A move goes west.", share=False,
    fault="goes {peak} mm east", advice=Advice("Write X0."),
)  # fmt: skip


def hum(context):
    return StrutLimit(band=symmetric_band("hum", np.full(6, MOST), 0.0), column="speed")


def west(context):
    far = context.moves.end[0] - context.moves.start[0]
    at = np.flatnonzero(far > 1.0)
    return Breaches(limit="west", first=at, last=at, peak=far[at], allowed=0.0 * far[at], ratio=1.0 + far[at])


CHECKING = Checking(limits=LIMITS.and_more(HUM, WEST), checks=(*CHECKS, hum), rules=(*RULES, west))


@pytest.fixture
def inputs(tmp_path):
    (tmp_path / "p.nc").write_text(PROGRAM)
    return replace(load(Files(program=tmp_path / "p.nc")), checking=CHECKING)


def test_it_is_in_every_report(inputs, tmp_path):
    convert(schedule(inputs), Output(folder=tmp_path / "job", proof=False))  # no equation of a proof knows hum
    made = json.loads((tmp_path / "job/report.json").read_text())
    found = [f for f in made["findings"] if f["limit"] == "hum"]
    assert {f["line"] for f in found} == {2, 3} and found[0]["unit"] == "mm/s" and found[0]["allowed"] == MOST
    assert found[0]["ratio"] == pytest.approx(found[0]["peak"] / MOST, rel=1e-5)
    feed = min(f["advice_feed_mm_min"] or np.inf for f in found if f["line"] == 3)
    assert made["struts"][0]["worst"]["hum"]["allowed"] == MOST
    assert [(f["line"], f["peak"], f["ratio"]) for f in made["findings"] if f["limit"] == "west"] == [(3, 100.0, None)]
    words, page = (" ".join((tmp_path / "job" / n).read_text().split()) for n in ("report.txt", "report.html"))
    for text in (words, page):
        assert "hum of strut" in text and "so that nobody hears it." in text and "Let it hum." in text
        assert "west: goes 100 mm east" in text and "Write X0." in text and "hexpost place" in text
    assert f"{feed:g}" in words and "hum: what is heard." in words and "hum mm/s" in words
    assert 'id="s1-loudness"' in page and "±60 allowed" in page and "<th scope=row>hum</th>" in page
    assert "hum" in summary(report_of(schedule(inputs)), 100)


def test_it_is_in_the_policy_and_in_every_file_of_the_gate(inputs, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "gate.toml").write_text("[all.limit.hum]\nwarn_above_percent = 10\n[all.limit.west]\nlevel = 'warn'\n")
    policy = load_policy("gate.toml", Settings(), CHECKING)
    result = gate(["p.nc"], policy, serial())
    found = document(result)["cases"][0]["findings"]
    assert {(f["limit"], f["line"], f["state"]) for f in found} >= {("hum", 3, "new"), ("hum", 4, "warning")}
    assert {f["allowed"] for f in found if f["limit"] == "hum"} == {MOST}
    assert {f["state"] for f in found if f["limit"] == "west"} == {"warning"}
    sarif = json.loads(to_sarif(result))["runs"][0]
    rules = {r["id"]: r["shortDescription"]["text"] for r in sarif["tool"]["driver"]["rules"]}
    assert rules["limit/hum"] == "A strut hums." and rules["limit/west"] == "A move goes west."
    assert {"limit/hum", "limit/west"} <= {r["ruleId"] for r in sarif["results"]}
    for text in (to_junit(result), to_page(result, tmp_path / "page.html"), table(result)):
        assert "hum of strut" in text
    assert "west: goes 100 mm east. Write X0. [warning]" in to_junit(result)


def test_the_advised_feed_of_the_gate_is_that_of_the_report(inputs, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "gate.toml").write_text("[all.limit.hum]\nwarn_above_percent = 50\n")
    said = {(f.line, f.strut): f for f in reversed(report_of(schedule(inputs)).findings) if f.limit is HUM}
    result = gate(["p.nc"], load_policy("gate.toml", Settings(), CHECKING), serial())
    found = [j.found for j in result.cases[0].findings if j.found.limit == HUM and j.found.ratio > 1.0]
    assert found
    for f in found:
        assert (f.peak, f.allowed, f.feed) == (said[f.line, f.strut].peak, MOST, said[f.line, f.strut].feed)
        assert f.margin == 0.5 and (f.feed is None or f.margin_feed < f.feed)


def test_refeed_lowers_for_it_and_place_sees_it(inputs, tmp_path):
    fed = refeed(replace(inputs, checking=replace(CHECKING, rules=())))
    assert [(c.line - 1, c.before) for c in fed.changes] == [(3, 6000.0)]
    assert set(fed.after.findings.line) <= {2}
    files, known = Files(program=tmp_path / "p.nc"), {"folder": str(tmp_path), "digest": digest_of(inputs)}
    trial = Trial(files=files, feed="as-programmed", coarse=0.01, **known, checking=CHECKING)
    assert run(trial, None, exact=False).limit == "hum"
    assert run(replace(trial, checking=ALL_LIMITS), None, exact=False).broken == 0


def test_the_table_is_whole():
    assert pickle.loads(pickle.dumps(ALL_LIMITS)) == ALL_LIMITS
    assert len({row.name for row in LIMITS}) == len(LIMITS)
    for row in LIMITS:
        assert row.advice.words(0) or (row.law is not Law.NONE and row.advice.feed)
        assert (row.sense is Sense.RULE) == bool(row.fault) == (row.of is Of.PROGRAM)


def test_a_proof_compares_each_limit_of_a_described_machine(tmp_path, monkeypatch):
    """What it compares is kept by a list of its own; ``told.rest`` refuses findings of others."""
    made = []
    monkeypatch.setattr(
        Told, "__init__", lambda self, report, before=Told.__init__: (made.append(self), before(self, report))[1]
    )
    servo = "[strut.servo]\nposition_gain_1_s = 33\n"
    source = machine_text(f"{STRUT}{servo}").replace(
        "deviation_mm =", "contour_mm = 0.1\nvibration_mm = 0.1\ndeviation_mm =", 1
    )
    source = source.replace("acceleration_mm_s2 = 14000\n", "acceleration_mm_s2 = 14000\ndeceleration_mm_s2 = 9000\n")
    (tmp_path / "m.toml").write_text(source)
    (tmp_path / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 12\n")
    (tmp_path / "p.nc").write_text(PROGRAM)
    files = Files(program=tmp_path / "p.nc", machine=tmp_path / "m.toml", tools=tmp_path / "t.toml")
    convert(schedule(load(files)), Output(folder=tmp_path / "job"))
    assert verify(tmp_path / "job").verdict != "not-proven"
    assert {name for told in made for name, _ in told._seen} == {row.name for row in LIMITS if not row.remark}
