"""Judge records by policy and baseline."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

from hexpost.audit.model import Advice, Finding, Limit
from hexpost.library.baseline import Baseline, gone, verdict
from hexpost.library.findings import SHORT, fingerprint
from hexpost.library.model import (
    CYCLE_TIME,
    NO_MACHINE,
    NOT_CHECKED,
    NOT_JUDGED,
    UNACCEPTABLE,
    Case,
    Entry,
    Judged,
    Record,
    State,
)  # fmt: skip
from hexpost.library.settings import LimitRule, Settings


def judge(name: str, record: Record, settings: Settings, baseline: Baseline | None, today: date) -> Case:
    """Return the case of a program: its findings with what policy and baseline say of each, failing ones first."""
    own = (*_too_long(record, settings), *_not_checked(record, settings), *_never(record, settings))
    found = (*record.found, *own)
    said = _Verdicts(name, record, baseline, today)
    findings = [j for f in found if (j := said.of(f, _rule(f.limit, settings))) is not None]
    findings.sort(key=lambda j: not j.fails)
    return Case(name=name, machine=settings.machine or "", record=record, findings=tuple(findings))


def mended(cases: Sequence[Case], baseline: Baseline, *, whole: bool) -> tuple[Entry, ...]:
    """Return the entries whose finding is gone, of the programs that were looked at.

    A program that was not understood proves nothing. Where the ``whole`` library was looked at, entries of programs
    that no longer exist are mended, too.
    """
    looked_at = {c.name for c in cases if not c.record.mistakes}
    seen = {(c.name, mark[:SHORT]) for c in cases for j in c.findings for mark in _marks(c, j.found)}
    all_names = {c.name for c in cases}
    return tuple(
        entry
        for _, entry in sorted(baseline.entries.items())
        if (entry.program in looked_at or (whole and entry.program not in all_names and gone(entry.program)))
        and not any((entry.program, mark[:SHORT]) in seen for mark in (entry.fingerprint, *(x for x, _ in entry.alike)))
    )


def _marks(case: Case, found: Finding) -> Iterator[str]:
    """Yield the fingerprints of a finding and of its blocks."""
    yield found.fingerprint
    yield from (mark for mark, _ in case.record.alike.get(found.fingerprint, ()))


class _Verdicts:
    """What policy and baseline say of the findings of one program."""

    def __init__(self, name: str, record: Record, baseline: Baseline | None, today: date) -> None:
        self._name, self._alike, self._baseline, self._today = name, record.alike, baseline, today

    def of(self, found: Finding, rule: LimitRule) -> Judged | None:
        """Return a finding judged; ``None`` if the policy does not speak of it."""
        if rule.level == "ignore":
            return None
        if not rule.fails(found.ratio):
            return Judged(found=found, state="warning")
        if self._baseline is None or found.limit.name in _UNACCEPTABLE:
            return Judged(found=found, state="new")
        if found.fingerprint in self._alike:
            each = [(mark, x) for mark, x in self._alike[found.fingerprint] if rule.fails(x)]
            said = [verdict(self._baseline.block(self._name, mark), x, self._today) for mark, x in each]
        else:
            said = [verdict(self._baseline.of(self._name, found), found.ratio, self._today, found.blocks)]
        state, reason = min(said, key=lambda x: _WORST_FIRST.index(x[0]))
        if len(said) > 1 and state != "accepted":
            reason = f"{sum(x[0] != 'accepted' for x in said):,} of its blocks are not accepted"
        return Judged(found=found, state=state, reason=reason)


_WORST_FIRST: tuple[State, ...] = ("new", "worse", "expired", "accepted")
_UNACCEPTABLE = frozenset(limit.name for limit in UNACCEPTABLE)


def _rule(limit: Limit, settings: Settings) -> LimitRule:
    """Return what a limit means to a policy."""
    rule = settings.rule(limit.name)
    return replace(rule, level="warn") if limit.remark and rule.level is None else rule


def _never(record: Record, settings: Settings) -> Iterator[Finding]:
    """Yield what neither a policy nor a baseline can let pass: findings that nobody can judge, and no machine."""
    if settings.machine_required and settings.machine is None and not record.mistakes:
        mark = fingerprint(NO_MACHINE.name, 0, "", 0)
        yield Finding(limit=NO_MACHINE, line=1, until=0.0, peak=1.0, allowed=0.0, ratio=2.0, fingerprint=mark)
    for x in record.dropped:
        rule = settings.rule(x.limit)
        if rule.level != "ignore" and rule.fails(x.most_ratio):
            fault = f"{x.count:,} findings of {x.limit} are more than there is room for, so nobody can judge them"
            mark = fingerprint(NOT_JUDGED.name, 0, x.limit, 0)
            yield Finding(
                limit=replace(NOT_JUDGED, fault=fault), line=1, until=record.duration_s, peak=1.0, allowed=0.0,
                ratio=2.0, fingerprint=mark,
            )  # fmt: skip


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
