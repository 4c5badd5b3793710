"""The result for machines: one JSON document."""

import json

from hexpost.audit.model import Finding
from hexpost.documents import finding, measured
from hexpost.library.model import Case, Entry, GateResult, Judged, ProgramFault
from hexpost.library.texts import counts

SCHEMA_VERSION = 1
_VERDICTS = ("clean", "broken", "error")


def document(result: GateResult) -> dict[str, object]:
    """Return the result as plain values with units in the names of the keys."""
    scope = result.meant
    return {
        "schema_version": SCHEMA_VERSION,
        "verdict": _VERDICTS[result.exit_code],
        **counts(result),
        "skipped": list(result.skipped),
        "left_out": [{"program": x.name, "why": x.why} for x in scope.left],
        "listed": scope.entries,
        "listed_elsewhere": scope.elsewhere,
        "listed_missing": list(scope.missing),
        "shard": scope.shard or None,
        "warnings": list(scope.warnings),
        "mended": [_entry(e) for e in result.mended],
        "expiring": [{**_entry(e), "expires": e.expires, "days": days} for e, days in result.expiring],
        "renamed": [{"before": old, "now": new} for old, new in result.renamed],
        "cases": [_case(c) for c in result.cases],
    }


def to_json(result: GateResult) -> str:
    """Return the document as text; it is ASCII, so that no character of a program can act on a terminal."""
    return json.dumps(document(result), indent=1, allow_nan=False) + "\n"


def _case(case: Case) -> dict[str, object]:
    record = case.record
    understood = not record.mistakes
    return {
        "program": case.name,
        "verdict": case.verdict,
        "machine": case.machine or None,
        "duration_s": record.duration_s if understood else None,
        "worst": {
            name: {"ratio": measured(u.use, beside=1.0), "strut": u.strut or None, "line": u.line or None}
            for name, u in record.worst.items()
        },
        "findings_total": len(case.findings),
        "findings": [of_judged(j) for j in case.findings],
        "errors_total": record.mistakes_total,
        "errors": [_mistake(m) for m in record.mistakes],
        "warnings": list(record.warnings),
        "not_checked": [x.plain for x in record.unseen],
    }


def of_judged(j: Judged) -> dict[str, object]:
    """Return a finding as plain values, with what policy and baseline say of it."""
    f = j.found
    return {**told(f), "state": j.state, "reason": j.reason, "fails": j.fails, "fingerprint": f.fingerprint}


def told(f: Finding) -> dict[str, object]:
    """Return a finding as plain values; ``allowed`` is the machine's own value, ``margin`` the policy's share of it."""
    return {
        **finding(f),
        "margin": f.margin,
        "blocks": f.blocks,
        "margin_feed_mm_min": None if f.turning else f.margin_feed,
        "margin_feed_deg_min": f.margin_feed if f.turning else None,
    }


def _mistake(m: ProgramFault) -> dict[str, object]:
    return {
        "code": m.code,
        "what": m.what,
        "line": m.line,
        "column": m.column,
        "text": m.text,
        "hint": m.hint,
        "file": m.file or None,
    }


def _entry(e: Entry) -> dict[str, object]:
    return {"program": e.program, "limit": e.limit, "strut": e.strut or None, "text": e.text, "reason": e.reason}
