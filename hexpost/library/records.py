"""Records as bytes: one canonical JSON text for the same record, whoever made it."""

import json
from dataclasses import fields
from math import isfinite
from typing import Any

from hexpost.audit.model import LIMITS, Dropped, Finding, Limit, Limits, Unseen
from hexpost.library.model import ProgramFault, Record, Use

_FOUND = tuple(f.name for f in fields(Finding))
_MISTAKE = tuple(f.name for f in fields(ProgramFault))


def to_bytes(record: Record) -> bytes:
    """Return the record as JSON; equal records give equal bytes."""
    document = {
        "sha256": record.sha256,
        "duration_s": record.duration_s,
        "worst": {name: [u.use, u.strut, u.line] for name, u in sorted(record.worst.items())},
        "found": [[_plain(getattr(f, name)) for name in _FOUND] for f in record.found],
        "alike": {mark: [[name, ratio] for name, ratio in each] for mark, each in sorted(record.alike.items())},
        "dropped": [[x.limit, x.count, _plain(x.most_ratio)] for x in record.dropped],
        "warnings": list(record.warnings),
        "unseen": [[x.limit, x.part, x.missing] for x in record.unseen],
        "mistakes": [[getattr(m, name) for name in _MISTAKE] for m in record.mistakes],
        "mistakes_total": record.mistakes_total,
        "lasting": record.lasting,
    }
    return json.dumps(document, separators=(",", ":"), allow_nan=False).encode()


def from_bytes(text: bytes, limits: Limits = LIMITS) -> Record:
    """Return the record that ``to_bytes`` wrote; its findings are of the ``limits`` of a table."""
    document: dict[str, Any] = json.loads(text)
    return Record(
        sha256=document["sha256"],
        duration_s=document["duration_s"],
        worst={name: Use(use=u[0], strut=u[1], line=u[2]) for name, u in document["worst"].items()},
        found=tuple(_finding(dict(zip(_FOUND, row, strict=True)), limits) for row in document["found"]),
        alike={mark: tuple((str(x[0]), float(x[1])) for x in each) for mark, each in document["alike"].items()},
        dropped=tuple(Dropped(limit=x[0], count=x[1], most_ratio=x[2]) for x in document["dropped"]),
        warnings=tuple(document["warnings"]),
        unseen=tuple(Unseen(limit=x[0], part=x[1], missing=x[2]) for x in document["unseen"]),
        mistakes=tuple(ProgramFault(**dict(zip(_MISTAKE, row, strict=True))) for row in document["mistakes"]),
        mistakes_total=document["mistakes_total"],
        lasting=document["lasting"],
    )


def _finding(said: dict[str, Any], limits: Limits) -> Finding:
    return Finding(**said | {"limit": limits.of(said["limit"]), "bodies": tuple(said["bodies"])})


def _plain(value: object) -> object:
    """Return a value that JSON can hold: of a limit its name; what is not finite becomes the largest number."""
    if isinstance(value, Limit):
        return value.name
    if isinstance(value, float) and not isfinite(value):
        return 1e300
    return value
