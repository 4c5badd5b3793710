"""The report for machines: one JSON document."""

import json
from math import degrees

from hexpost.audit.model import Finding, Nearest
from hexpost.documents import BETWEEN, Encoded, finding, given, measured, seconds, worst_use
from hexpost.report.against import against_document
from hexpost.report.beside import beside_document
from hexpost.report.budget import budget_document
from hexpost.report.duty import duty_document
from hexpost.report.feeds import feeds_document, times_document
from hexpost.report.forecast import forecast_document
from hexpost.report.model import Report, Shown, Smoothed, StrutUse
from hexpost.report.sag import sag_document
from hexpost.report.shaken import shaken_document
from hexpost.report.sheet import sheet_document

SCHEMA_VERSION = 1
"""Raised when a key changes its meaning or goes; new keys do not raise it."""
_ENCODER = json.JSONEncoder(allow_nan=False)


def document(report: Report) -> dict[str, object]:
    """Return the report as plain values with units in the names of the keys; a number that has no value is ``None``."""
    machine, does = report.machine, report.behaviour
    return {
        "schema_version": SCHEMA_VERSION,
        "verdict": "clean" if report.clean else "broken",
        "runnable": report.runnable,
        "program": report.program,
        "machine": {
            "name": machine.name,
            "revision": machine.revision,
            "file": machine.file,
            "demonstration": machine.demonstration,
        },
        "tools_file": report.tools_file,
        "setup_file": report.setup_file,
        "feed": report.feed,
        "period_ms": given(report.period * 1e3),
        "duration_s": seconds(report.duration),
        "rows": report.rows,
        "struts": [_strut(s) for s in report.struts],
        "tool": {"worst": {w.limit.name: worst_use(w) for w in report.whole}},
        **({"nearest_bodies": [_nearest(n) for n in report.nearest]} if report.nearest else {}),
        "not_checked": [x.plain for x in report.unseen],
        "findings_total": report.findings_total,
        "findings_listed": len(report.findings),
        "findings": [_finding(f) for f in report.findings],
        **({} if report.reasons is None else feeds_document(report.reasons)),
        **({} if report.cycle_times is None else {"cycle_times": times_document(report.cycle_times)}),
        **({} if report.beside is None else {"beside": beside_document(report.beside, report.duration)}),
        **({} if report.compared is None else {"compared_with": against_document(report.compared)}),
        **({} if report.sheet is None else {"setup_sheet": sheet_document(report.sheet)}),
        **({} if report.smoothed is None else {"smoothed": _smoothed(report.smoothed)}),
        **({} if does.forecast is None else {"forecast": forecast_document(does.forecast)}),
        **({} if does.sag is None else {"sag": sag_document(does.sag)}),
        **({} if does.shaken is None else {"natural_frequencies": shaken_document(does.shaken)}),
        **({} if does.duty is None else {"drives": duty_document(does.duty)}),
        **budget_document(report),
        **({} if report.restart is None else {"restart": report.restart}),
        **({} if report.shown is None else {"proof": _shown(report.shown)}),
        "readings": list(report.readings),
        "ignored": [{"line": r.line, "text": r.text, "count": r.count} for r in report.ignored],
        "warnings": list(report.warnings),
        "cautions": list(report.cautions),
    }


def to_json(report: Report) -> str:
    """Return ``report.json``; it is ASCII, so that no character of a program can act on a terminal."""
    return "{\n" + ",\n".join(f" {json.dumps(k)}: {_value(v)}" for k, v in document(report).items()) + "\n}\n"


def _value(value: object) -> str:
    """Return one value as JSON; each entry of a list on its own line, the rest left to the fast encoder."""
    if isinstance(value, list) and value:
        value = Encoded(BETWEEN.join(map(_ENCODER.encode, value)))
    return f"[\n  {value}\n ]" if isinstance(value, Encoded) else _ENCODER.encode(value)


def _nearest(n: Nearest) -> dict[str, object]:
    """Return how near two bodies come to each other."""
    w = n.worst
    distance, allowed = measured(w.value, "mm", w.allowed), given(w.allowed)
    rest = {"distance_mm": distance, "allowed_mm": allowed, "line": w.line or None, "time_s": seconds(w.time)}
    return {"bodies": list(n.bodies), **rest}


def _smoothed(s: Smoothed) -> dict[str, object]:
    return {"moves": s.moves, "curves": s.curves, "off_mm": measured(s.tip), "off_deg": measured(degrees(s.tilt))}


def _shown(s: Shown) -> dict[str, object]:
    return {"proven": list(s.proven), "not_proven": list(s.left), **({"why": s.why} if s.why else {})}


def _strut(use: StrutUse) -> dict[str, object]:
    return {
        "strut": use.strut,
        "shortest_mm": measured(use.shortest, "mm"),
        "longest_mm": measured(use.longest, "mm"),
        "worst": {w.limit.name: worst_use(w) for w in use.worst},
    }


def _finding(f: Finding) -> dict[str, object]:
    return {**finding(f), "joint": f.joint or None, "bodies": list(f.bodies) or None, "block": f.block}
