"""The survey for machines: one JSON document, described by ``schemas/survey.json``."""

import json
from collections.abc import Sequence
from dataclasses import asdict

from hexpost.survey.classes import KIND_BY_NAME
from hexpost.survey.model import LibraryReading, Sight, Survey
from hexpost.survey.readings import MATTERS, about, answers

SCHEMA_VERSION = 1


def document(survey: Survey, cases: Sequence[Sight] | None = None) -> dict[str, object]:
    """Return the survey as plain values; lengths of ``extents`` are mm where ``units`` says so, else as written.

    ``cases`` are the programs that are told one by one (``None``: all).
    """
    return {
        "schema_version": SCHEMA_VERSION,
        "programs": len(survey.sights),
        "read": len(survey.of("read")),
        "open": len(survey.of("open")),
        "text": len(survey.of("text")),
        "words": [asdict(word) for word in survey.words],
        "numbers": [asdict(found) for found in survey.numbers],
        "readings": [_reading(r, survey) for r in survey.readings],
        "classes": _classes(survey),
        "cases": [_case(s) for s in (survey.sights if cases is None else cases)],
    }


def to_json(survey: Survey) -> str:
    """Return the document as text; it is ASCII, so that no character of a program can act on a terminal.

    Programs are written out one by one, for as values they take ten times the memory.
    """
    head, found, tail = json.dumps(document(survey, ()), indent=1, allow_nan=False).rpartition('"cases": []')
    assert found
    cases = ",\n  ".join(json.dumps(_case(s), indent=1, allow_nan=False).replace("\n", "\n  ") for s in survey.sights)
    return f'{head}"cases": [\n  {cases}\n ]{tail}\n' if cases else f"{head}{found}{tail}\n"


def _reading(r: LibraryReading, survey: Survey) -> dict[str, object]:
    row = MATTERS[r.name]
    return {
        **asdict(r),
        "about": about(r.name, r.low, r.high),
        "key": f"words.{row.key}" if row.key else None,
        "now": survey.wording.get(row.key) if row.key else None,
        "needed": row.needed,
        "answers": answers(r.name, r.low, r.high),
    }


def _classes(survey: Survey) -> list[dict[str, object]]:
    """Return the classes of programs that no setting makes readable, most programs first."""
    found: dict[str, list[str]] = {}
    for s in survey.of("text"):
        for trouble in s.troubles:
            found.setdefault(trouble.name, []).append(s.name)
    rows = sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
    return [{"name": name, "does": KIND_BY_NAME[name].does, "programs": names} for name, names in rows]


def _case(s: Sight) -> dict[str, object]:
    return {
        "program": s.name,
        "state": s.state,
        "lines": s.lines,
        "faults_total": s.faults,
        "units": s.units or None,
        "extents": {x: list(ends) for x, ends in s.extents.items()},
        "words": [asdict(word) for word in s.words],
        "numbers": [asdict(found) for found in s.numbers],
        "readings": [asdict(r) for r in s.readings],
        "troubles": [asdict(t) for t in s.troubles],
    }
