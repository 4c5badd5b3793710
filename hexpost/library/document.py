"""The result for machines: one JSON document."""

import json

from hexpost.audit.model import PROGRAM_RULES
from hexpost.library.model import Case, Entry, GateResult, Judged, Mistake

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
            name: {"ratio": rounded(u.use), "strut": u.strut or None, "line": u.line}
            for name, u in record.worst.items()
        },
        "findings_total": record.found_total,
        "findings": [_finding(j) for j in case.findings],
        "errors_total": record.mistakes_total,
        "errors": [_mistake(m) for m in record.mistakes],
        "warnings": list(record.warnings),
    }


def _finding(j: Judged) -> dict[str, object]:
    f = j.found
    return {
        "limit": f.limit,
        "strut": f.strut or None,
        "line": f.line,
        "text": f.text,
        "time_s": f.time_s,
        "until_s": f.until_s,
        "peak": rounded(f.peak),
        "allowed": rounded(f.allowed),
        "unit": f.unit,
        "ratio": None if f.limit in PROGRAM_RULES else rounded(f.use),
        "blocks": f.blocks,
        "advice": f.advice,
        "advice_feed_mm_min": f.advice_feed_mm_min,
        "state": j.state,
        "reason": j.reason,
        "fails": j.fails,
        "fingerprint": f.fingerprint,
    }


def _mistake(m: Mistake) -> dict[str, object]:
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
