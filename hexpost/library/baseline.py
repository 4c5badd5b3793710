"""The baseline: findings that were accepted, with why, by whom and until when."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from hexpost.audit.model import Finding
from hexpost.errors import Fault, InputError
from hexpost.library.model import Case, Entry
from hexpost.machine.reading import read_bytes

FORMAT = 1
MOST_BYTES = 50_000_000
"""A baseline is not longer than this."""
WORSE = 1e-3
"""Use may grow by this share before an accepted finding counts as worse: a block's peak moves a little with those
beside it."""

_TEXTS = ("program", "limit", "text", "fingerprint", "reason", "accepted_by", "expires")


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """Accepted findings by program and fingerprint."""

    entries: Mapping[tuple[str, str], Entry]

    def of(self, program: str, found: Finding) -> Entry | None:
        """Return the entry of a finding, if it was accepted."""
        return self.entries.get((program, found.fingerprint))


def load_baseline(path: Path) -> Baseline:
    """Return the baseline of the file at ``path``.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    name = str(path)
    try:
        document = json.loads(read_bytes(path, MOST_BYTES))
    except InputError as error:
        hint = "" if path.exists() else "write it with --update-baseline"
        raise InputError([replace(fault, hint=hint) for fault in error.faults]) from None
    except (ValueError, RecursionError) as error:
        raise InputError([Fault(file=name, what=f"not JSON: {error}", code="bad-baseline")]) from None
    rows = document.get("accepted") if isinstance(document, dict) and document.get("format") == FORMAT else None
    if not isinstance(rows, list):
        what = f'not a baseline: it needs "format": {FORMAT} and a list "accepted"'
        raise InputError([Fault(file=name, what=what, code="bad-baseline")])
    faults: list[Fault] = []
    entries = [_entry(row, f"accepted[{i + 1}]", name, faults) for i, row in enumerate(rows)]
    if faults:
        raise InputError(faults)
    return Baseline(entries={(e.program, e.fingerprint): e for e in entries})


def _entry(row: Any, key: str, name: str, faults: list[Fault]) -> Entry:  # noqa: ANN401 - as JSON gives it
    """Return one entry; what is wrong with it is noted."""

    def fault(what: str, sub: str = "") -> None:
        faults.append(Fault(file=name, what=f"{key}{sub} {what}", code="bad-baseline", key=key + sub))

    given: dict[str, Any] = row if isinstance(row, dict) else {}
    texts = {k: given.get(k) or "" for k in _TEXTS}
    strut, use, blocks = given.get("strut") or 0, given.get("use"), given.get("blocks", 1)
    for k, value in texts.items():
        if not isinstance(value, str) or (not value and k in ("program", "limit", "fingerprint")):
            fault("must be a text", f".{k}")
    if not isinstance(use, int | float) or not math.isfinite(use):
        fault("must be a number", ".use")
    if type(strut) is not int or type(blocks) is not int:
        fault("must have whole numbers under strut and blocks")
    if isinstance(texts["expires"], str) and texts["expires"] and _day(texts["expires"]) is None:
        fault(f"is {texts['expires'][:40]}; write a date as YYYY-MM-DD", ".expires")
    return Entry(**texts, strut=strut, use=use if isinstance(use, int | float) else 0.0, blocks=blocks)


def _day(text: str) -> date | None:
    """Return a date, ``None`` if it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def expired(entry: Entry, today: date) -> bool:
    """Return whether the entry's last day has passed."""
    last = _day(entry.expires) if entry.expires else None
    return last is not None and today > last


def worse(entry: Entry, found: Finding) -> bool:
    """Return whether a finding is worse than what was accepted."""
    return found.ratio > entry.use * (1.0 + WORSE) or found.blocks > entry.blocks


def updated(before: Baseline, cases: Iterable[Case], mended: Iterable[Entry]) -> bytes:
    """Return the text of the baseline after this run: mended entries gone, all that fails taken in.

    Reason, name and date of an entry stay; an entry that has expired stays expired until somebody edits it. Entries
    of programs that were not looked at stay as they are.
    """
    entries = dict(before.entries)
    for entry in mended:
        entries.pop((entry.program, entry.fingerprint), None)
    for case in cases:
        for judged in case.findings:
            if judged.state == "warning":
                continue
            f = judged.found
            fresh = Entry(
                program=case.name,
                limit=f.limit.name,
                strut=f.strut,
                text=f.text,
                fingerprint=f.fingerprint,
                use=math.ceil(f.ratio * 1e6) / 1e6,
                blocks=f.blocks,
            )
            old = entries.get((case.name, f.fingerprint), fresh)
            entries[case.name, f.fingerprint] = replace(
                fresh, reason=old.reason, accepted_by=old.accepted_by, expires=old.expires
            )
    rows = [_row(e) for _, e in sorted(entries.items())]
    return (json.dumps({"format": FORMAT, "accepted": rows}, indent=1, ensure_ascii=False) + "\n").encode()


def _row(entry: Entry) -> dict[str, object]:
    """Return an entry as plain values, for people to edit."""
    return {
        "program": entry.program,
        "limit": entry.limit,
        "strut": entry.strut or None,
        "text": entry.text,
        "use": entry.use,
        "blocks": entry.blocks,
        "fingerprint": entry.fingerprint,
        "reason": entry.reason,
        "accepted_by": entry.accepted_by,
        "expires": entry.expires,
    }
