"""Judge records by policy and baseline."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from hexpost.audit.model import Advice, Finding, lowest_feeds
from hexpost.library.baseline import Baseline, expired, worse
from hexpost.library.findings import fingerprint
from hexpost.library.model import CYCLE_TIME, NOT_CHECKED, Case, Entry, Judged, Record
from hexpost.library.settings import Settings


def judge(name: str, record: Record, settings: Settings, baseline: Baseline | None, today: date) -> Case:
    """Return the case of a program: its findings with what policy and baseline say of each, failing ones first."""
    found = (*record.found, *_too_long(record, settings), *_not_checked(record, settings))
    findings = [j for f in found if (j := _judged(name, f, settings, baseline, today)) is not None]
    lowest = lowest_feeds(found)
    findings = [replace(j, lowest=lowest.get(j.found.line)) for j in findings]
    findings.sort(key=lambda j: not j.fails)
    return Case(name=name, machine=settings.machine or "", record=record, findings=tuple(findings))


def mended(cases: Sequence[Case], baseline: Baseline, *, whole: bool) -> tuple[Entry, ...]:
    """Return the entries whose finding is gone, of the programs that were looked at.

    A program that was not understood proves nothing. Where the ``whole`` library was looked at, entries of programs
    that no longer exist are mended, too.
    """
    looked_at = {c.name for c in cases if not c.record.mistakes}
    seen = {(c.name, j.found.fingerprint) for c in cases for j in c.findings}
    all_names = {c.name for c in cases}
    return tuple(
        entry
        for key, entry in sorted(baseline.entries.items())
        if key not in seen
        and (entry.program in looked_at or (whole and entry.program not in all_names and _gone(entry.program)))
    )


def _gone(program: str) -> bool:
    return not Path(program).exists()


def _judged(name: str, found: Finding, settings: Settings, baseline: Baseline | None, today: date) -> Judged | None:
    """Return a finding judged; ``None`` if the policy does not speak of it."""
    rule = settings.rule(found.limit.name)
    if found.limit.remark and rule.level is None:
        rule = replace(rule, level="warn")
    if rule.level == "ignore":
        return None
    margin = rule.speaks_above
    if not (found.ratio > rule.fails_above or margin == rule.fails_above):
        return Judged(found=found, state="warning")
    entry = baseline.of(name, found) if baseline else None
    if entry is None:
        return Judged(found=found, state="new")
    if expired(entry, today):
        return Judged(found=found, state="expired", reason=f"accepted until {entry.expires}")
    if worse(entry, found):
        return Judged(found=found, state="worse", reason=f"accepted at {entry.use:.1%} of the limit")
    said = [entry.reason or "accepted", f"({entry.accepted_by})" if entry.accepted_by else ""]
    until = f"until {entry.expires}" if entry.expires else ""
    return Judged(found=found, state="accepted", reason=" ".join(x for x in (*said, until) if x))


def _too_long(record: Record, settings: Settings) -> tuple[Finding, ...]:
    """Return the finding that a program takes longer than the policy allows."""
    longest = settings.longest
    if longest is None or record.mistakes or record.duration_s <= longest:
        return ()
    return (
        Finding(
            limit=CYCLE_TIME, line=1, until=record.duration_s, peak=record.duration_s, allowed=longest,
            ratio=record.duration_s / longest, fingerprint=fingerprint(CYCLE_TIME.name, 0, "", 0),
        ),
    )  # fmt: skip


def _not_checked(record: Record, settings: Settings) -> Iterator[Finding]:
    """Yield a finding for each limit that the policy asks for and that was not looked at, all of it or in part."""
    for x in record.unseen:
        if x.limit in (settings.must_check or ()):
            name = f"{x.limit} ({x.part})" if x.part else x.limit
            fault = f"{name} must be looked at (must_check of the policy), and is not"
            advice = Advice(f"Give {x.missing}, or take the limit out of must_check.")
            limit = replace(NOT_CHECKED, fault=fault, advice=advice)
            mark = fingerprint(NOT_CHECKED.name, 0, f"{name} {x.missing}", 0)
            yield Finding(
                limit=limit, line=1, until=record.duration_s, peak=1.0, allowed=0.0, ratio=2.0, fingerprint=mark
            )
