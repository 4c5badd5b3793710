"""The result for machines: one JSON document."""

import json

from hexpost.audit.model import Finding
from hexpost.library.model import Case, Entry, GateResult, Judged, ProgramFault
from hexpost.voice import advice

SCHEMA_VERSION = 1
_VERDICTS = ("clean", "broken", "error")


def document(result: GateResult) -> dict[str, object]:
    """Return the result as plain values with units in the names of the keys."""
    return {
        "schema_version": SCHEMA_VERSION,
        "verdict": _VERDICTS[result.exit_code],
        "programs": len(result.cases),
        "passed": result.count("pass"),
        "failed": result.count("fail"),
        "errors": result.count("error"),
        "skipped": list(result.skipped),
        "mended": [_entry(e) for e in result.mended],
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
            name: {"ratio": rounded(u.use), "strut": u.strut or None, "line": u.line or None}
            for name, u in record.worst.items()
        },
        "findings_total": record.found_total,
        "findings": [_finding(j) for j in case.findings],
        "errors_total": record.mistakes_total,
        "errors": [_mistake(m) for m in record.mistakes],
        "warnings": list(record.warnings),
        "not_checked": [x.plain for x in record.unseen],
    }


def _finding(j: Judged) -> dict[str, object]:
    f = j.found
    return {**told(f), "state": j.state, "reason": j.reason, "fails": j.fails, "fingerprint": f.fingerprint}


def told(f: Finding) -> dict[str, object]:
    """Return a finding as plain values; ``allowed`` is the machine's own value, ``margin`` the policy's share of it."""
    return {
        "limit": f.limit.name,
        "strut": f.strut or None,
        "line": f.line or None,
        "text": f.text,
        "time_s": round(f.time, 6),
        "until_s": round(f.until, 6),
        "peak": rounded(f.peak),
        "allowed": rounded(f.allowed),
        "unit": f.limit.unit,
        "ratio": rounded(f.ratio) if f.limit.share else None,
        "margin": f.margin,
        "blocks": f.blocks,
        "advice": advice(f),
        "advice_feed_mm_min": None if f.turning else f.feed,
        "advice_feed_deg_min": f.feed if f.turning else None,
        "advice_f": f.f_word(f.feed),
        "advice_f_unit": f.f_unit or None,
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


def rounded(x: float) -> float:
    """Return ``x`` with twelve significant digits: rounding dust out."""
    return float(f"{x:.12g}")
