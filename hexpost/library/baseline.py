"""The baseline: findings that were accepted, with why, by whom and until when."""

import json
import math
import os
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from hexpost.audit.model import Finding
from hexpost.errors import Fault, InputError
from hexpost.library.findings import SHORT
from hexpost.library.model import UNACCEPTABLE, Case, Entry, Record, State
from hexpost.machine.reading import read_bytes
from hexpost.voice import plural

FORMAT = 1
MOST_BYTES = 50_000_000
"""A baseline is not longer than this."""
WORSE = 1e-3
"""Use may grow by this share before an accepted finding counts as worse: a block's peak moves a little with those
beside it."""

NOTICE_DAYS = 14
"""So many days before an entry expires a run begins to say so."""

_TEXTS = ("program", "limit", "text", "fingerprint", "sha256", "reason", "accepted_by", "expires")
_ALIKE = re.compile(r"([0-9a-f]{16})=(\d+(?:\.\d+)?(?:e[+-]?\d+)?)")

Accepted = tuple[Entry, float]
"""What was accepted of a block: its entry, and the use of its limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """Accepted findings by program and fingerprint; ``blocks``: each of their blocks by its short fingerprint."""

    entries: Mapping[tuple[str, str], Entry]
    blocks: Mapping[tuple[str, str], Accepted] = field(init=False)

    def __post_init__(self) -> None:
        """Find the blocks of all entries."""
        blocks = {(e.program, mark): (e, use) for e in self.entries.values() for mark, use in e.alike}
        blocks |= {(e.program, e.fingerprint[:SHORT]): (e, e.use) for e in self.entries.values() if not e.alike}
        object.__setattr__(self, "blocks", blocks)

    def block(self, program: str, mark: str) -> Accepted | None:
        """Return what was accepted of a block."""
        return self.blocks.get((program, mark[:SHORT]))

    def of(self, program: str, found: Finding) -> Accepted | None:
        """Return what was accepted of a finding, alone or as one of many blocks."""
        return self.block(program, found.fingerprint)

    def renames(self, records: Mapping[str, Record]) -> tuple[tuple[str, str], ...]:
        """Return programs that are gone and have come back under another name with the same content: old, new.

        A content that several new programs share follows none of them.
        """
        known = {e.program for e in self.entries.values()}
        new = [(record.sha256, name) for name, record in records.items() if record.sha256 and name not in known]
        count = Counter(content for content, _ in new)
        by_content = {content: name for content, name in new if count[content] == 1}
        old: dict[str, set[str]] = {}
        for e in self.entries.values():
            old.setdefault(e.program, set()).add(e.sha256)
        moved = {p: by_content[next(iter(x))] for p, x in old.items() if len(x) == 1 and next(iter(x)) in by_content}
        taken = Counter(moved.values())
        return tuple((was, name) for was, name in sorted(moved.items()) if taken[name] == 1 and gone(was))

    def renamed(self, renames: Iterable[tuple[str, str]]) -> "Baseline":
        """Return the baseline with the entries of programs under their new names."""
        names = dict(renames)
        entries = [replace(e, program=names.get(e.program, e.program)) for e in self.entries.values()]
        return Baseline(entries={(e.program, e.fingerprint): e for e in entries})

    def expiring(self, today: date) -> tuple[tuple[Entry, int], ...]:
        """Return the entries that expire soon, with the days that they still count, the first to go first."""
        last = [(e, _day(e.expires)) for _, e in sorted(self.entries.items()) if e.expires]
        soon = [(e, (day - today).days) for e, day in last if day is not None]
        return tuple(sorted((x for x in soon if 0 <= x[1] <= NOTICE_DAYS), key=lambda x: x[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """What is said of findings that are accepted now: why, and until when (YYYY-MM-DD); empty where nothing is."""

    reason: str = ""
    expires: str = ""


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
    alike = _ALIKE.findall(given["alike"]) if isinstance(given.get("alike"), str) else []
    if given.get("alike") not in (None, _alike(alike)):
        fault("must be a list of blocks as the gate writes it", ".alike")
    return Entry(
        **texts, strut=strut, use=use if isinstance(use, int | float) else 0.0, blocks=blocks,
        alike=tuple((mark, float(x)) for mark, x in alike),
    )  # fmt: skip


def _alike(each: Iterable[tuple[str, object]]) -> str:
    """Return the blocks of an entry as text."""
    return " ".join(f"{mark}={use}" for mark, use in each)


def gone(program: str) -> bool:
    """Return whether there is no such file."""
    return not os.path.lexists(program)


def _day(text: str) -> date | None:
    """Return a date, ``None`` if it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def verdict(known: Accepted | None, ratio: float, today: date, blocks: int = 1) -> tuple[State, str]:
    """Return what a baseline says of a finding or a block with this ratio, and why."""
    if known is None:
        return "new", ""
    entry, use = known
    last = _day(entry.expires) if entry.expires else None
    if last is not None and today > last:
        return "expired", f"accepted until {entry.expires}"
    if ratio > use * (1.0 + WORSE):
        return "worse", f"accepted at {use:.1%} of the limit"
    if blocks > entry.blocks and not entry.alike:
        return "worse", f"accepted for {plural(entry.blocks, 'block')}, now {blocks:,}"
    said = [entry.reason or "accepted", f"({entry.accepted_by})" if entry.accepted_by else ""]
    until = f"until {entry.expires}" if entry.expires else ""
    return "accepted", " ".join(x for x in (*said, until) if x)


def accepting(cases: Iterable[Case]) -> Baseline:
    """Return a baseline of all that fails in ``cases``."""
    entries = [_fresh(case, j.found) for case in cases for j in case.findings if j.fails and _may(j.found)]
    return Baseline(entries={(e.program, e.fingerprint): e for e in entries})


def updated(before: Baseline, cases: Iterable[Case], mended: Iterable[Entry], said: Acceptance | None = None) -> bytes:
    """Return the text of the baseline after this run: mended entries gone, all that fails taken in.

    Reason, name and date of an entry stay, unless its finding fails now and ``said`` has others; an entry that has
    expired stays expired without a new date. Entries of programs that were not looked at stay as they are.
    """
    said = said or Acceptance()
    looked_at = {case.name: case for case in cases if not case.record.mistakes}
    gone_now = {(e.program, e.fingerprint) for e in mended}
    entries = {k: e for k, e in before.entries.items() if k not in gone_now and e.program not in looked_at}
    for case in looked_at.values():
        for judged in case.findings:
            if judged.state == "warning" or not _may(judged.found):
                continue
            fresh = _fresh(case, judged.found)
            marks = [fresh.fingerprint, *(mark for mark, _ in fresh.alike)]
            old = next((known[0] for mark in marks if (known := before.block(case.name, mark))), fresh)
            entries[case.name, fresh.fingerprint] = replace(
                fresh,
                reason=(said.reason if judged.fails else "") or old.reason,
                accepted_by=old.accepted_by,
                expires=(said.expires if judged.fails else "") or old.expires,
            )
    rows = [_row(e) for _, e in sorted(entries.items())]
    text = json.dumps({"format": FORMAT, "accepted": rows}, indent=1, ensure_ascii=False) + "\n"
    return "".join(f"\\u{ord(c):04x}" if "\ud800" <= c <= "\udfff" else c for c in text).encode()


def _may(found: Finding) -> bool:
    """Return whether a finding can be accepted."""
    return all(found.limit.name != limit.name for limit in UNACCEPTABLE)


def _fresh(case: Case, f: Finding) -> Entry:
    """Return the entry of a finding, uses rounded up."""
    return Entry(
        program=case.name,
        limit=f.limit.name,
        strut=f.strut,
        text=f.text,
        fingerprint=f.fingerprint,
        use=_up(f.ratio),
        blocks=f.blocks,
        alike=tuple((mark, _up(use)) for mark, use in case.record.alike.get(f.fingerprint, ())),
        sha256=case.record.sha256,
    )


def _up(use: float) -> float:
    """Return a use of a limit with six decimals, not smaller; one without measure as it is."""
    return math.ceil(use * 1e6) / 1e6 if use < 1e9 else use


def _row(entry: Entry) -> dict[str, object]:
    """Return an entry as plain values, for people to edit."""
    alike = {"alike": _alike(entry.alike)} if entry.alike else {}
    return {
        "program": entry.program,
        "limit": entry.limit,
        "strut": entry.strut or None,
        "text": entry.text,
        "use": entry.use,
        "blocks": entry.blocks,
        "fingerprint": entry.fingerprint,
        **alike,
        "sha256": entry.sha256,
        "reason": entry.reason,
        "accepted_by": entry.accepted_by,
        "expires": entry.expires,
    }
