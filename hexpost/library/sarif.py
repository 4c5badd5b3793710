"""The result as SARIF 2.1.0 (OASIS, Static Analysis Results Interchange Format): findings that tools show in place."""

import json
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

from hexpost.audit.model import Finding
from hexpost.library.document import told
from hexpost.library.model import Case, GateResult, Judged, ProgramFault
from hexpost.library.texts import counts, judged_sentence, mistake_sentence, notes, summary
from hexpost.version import VERSION

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
FINGERPRINT = "limitStrutBlock/v1"

_BASELINE = {"new": "new", "worse": "updated", "expired": "unchanged", "accepted": "unchanged", "warning": "new"}

Plain = dict[str, object]


def to_sarif(result: GateResult) -> str:
    """Return the log: one rule per limit and per kind of program error, one result per finding and error."""
    codes = sorted({m.code for c in result.cases for m in c.record.mistakes})
    rules = [_rule(f"limit/{limit.name}", limit.meaning) for limit in result.limits]
    rules += [_rule(f"program/{code}", f"The program cannot be checked: {code.replace('-', ' ')}.") for code in codes]
    index = {str(rule["id"]): i for i, rule in enumerate(rules)}
    results = [r for case in result.cases for r in _results(case, index, with_baseline=result.with_baseline)]
    run = {
        "tool": {"driver": {"name": "hexpost", "version": VERSION, "rules": rules}},
        "invocations": [
            {
                "executionSuccessful": result.exit_code != 2,
                "toolExecutionNotifications": [
                    {"level": "warning" if note.startswith("Warning") else "note", "message": {"text": note}}
                    for note in (*notes(result), summary(result))
                ],
            }
        ],
        "properties": counts(result),
        "columnKind": "unicodeCodePoints",
        "results": results,
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=1, allow_nan=False) + "\n"


def _rule(name: str, text: str) -> Plain:
    return {"id": name, "shortDescription": {"text": text}, "defaultConfiguration": {"level": "error"}}


def _results(case: Case, index: dict[str, int], *, with_baseline: bool) -> list[Plain]:
    """Return the results of one program."""
    mistakes = case.record.mistakes
    out = [_of_mistake(case.name, m, index) for m in mistakes]
    if mistakes and (more := case.record.mistakes_total - len(mistakes)):
        rest = replace(mistakes[-1], what=f"and {more:,} more faults, this one the last that is listed", hint="")
        out.append({**_of_mistake(case.name, rest, index), "occurrenceCount": more})
    out += [_of_finding(case.name, j, index) for j in case.findings]
    if with_baseline:
        states = ["new"] * (len(out) - len(case.findings)) + [_BASELINE[j.state] for j in case.findings]
        out = [{**row, "baselineState": state} for row, state in zip(out, states, strict=True)]
    return out


def _of_finding(name: str, j: Judged, index: dict[str, int]) -> Plain:
    f = j.found
    rule = f"limit/{f.limit.name}"
    out: Plain = {
        "ruleId": rule,
        "ruleIndex": index[rule],
        "level": "warning" if j.state == "warning" else "error",
        "message": {"text": judged_sentence(j)},
        "locations": [_location(name, f.line, 1, None, f.text)],
        "partialFingerprints": {FINGERPRINT: f.fingerprint},
        "properties": _properties(f),
    }
    if j.state == "accepted":
        out["suppressions"] = [{"kind": "external", "status": "accepted", "justification": j.reason}]
    return out


def _of_mistake(name: str, m: ProgramFault, index: dict[str, int]) -> Plain:
    rule = f"program/{m.code}"
    line, column = m.line or 1, m.column or 1
    place = _location(name, line, column, column + 1 if m.column else None, m.text)
    return {
        "ruleId": rule,
        "ruleIndex": index[rule],
        "level": "error",
        "message": {"text": mistake_sentence(m)},
        "locations": [place],
    }


def _location(name: str, line: int, column: int, end: int | None, text: str) -> Plain:
    """Return a place in a file; ``end`` is the column after it, ``None`` the end of the line."""
    region: Plain = {"startLine": line, "startColumn": column}
    if end is not None:
        region["endColumn"] = end
    if text:
        region["snippet"] = {"text": text}
    return {"physicalLocation": {"artifactLocation": {"uri": uri(name)}, "region": region}}


def uri(name: str) -> str:
    """Return a path as a URI: relative paths stay relative."""
    return Path(name).as_uri() if Path(name).is_absolute() else quote(name.encode("utf-8", "surrogateescape"))


def _properties(f: Finding) -> Plain:
    names = ("strut", "peak", "allowed", "unit", "ratio", "margin", "time_s")
    return {key: value for key, value in told(f).items() if key in names or key.startswith(("advice_", "margin_"))}
