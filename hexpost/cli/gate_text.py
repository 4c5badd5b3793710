"""What ``hexpost gate`` says to people: a table of programs and what is wrong with them."""

from collections.abc import Sequence
from dataclasses import replace

from hexpost.library.compare import KINDS, Comparison, count
from hexpost.library.model import Case, GateResult
from hexpost.library.texts import (
    checked,
    judged_sentence,
    mistake_sentence,
    notes,
    strut_of,
    summary,
    worst_first,
)  # fmt: skip
from hexpost.voice import clean, columns, duration, percent, plural

MOST_PASSING = 20
"""Passing programs are listed up to so many, else only counted."""

MOST_FINDINGS = 3
MOST_PROGRAMS = 200
_SHOWN = {"pass": "pass", "fail": "FAIL", "error": "ERROR"}


def table(result: GateResult) -> str:
    """Return the table, worst programs first, what is wrong below it, and how many were checked as the last line."""
    cases = sorted(result.cases, key=worst_first)
    few = result.count("pass") <= MOST_PASSING
    shown = [c for c in cases if few or c.verdict != "pass"][:MOST_PROGRAMS]
    rows = [["verdict", "worst use", "limit", "time", "program"], *(_row(c) for c in shown)]
    lines = columns(rows, [False, True, False, True, False], indent=0) if shown else []
    left = len([c for c in cases if c.verdict != "pass"]) - len([c for c in shown if c.verdict != "pass"])
    lines += [f"... and {plural(left, 'program')} more that fail"] if left else []
    for case in shown:
        lines += _details(case)
    for entry in result.mended[:MOST_PROGRAMS]:
        lines.append(clean(f"fixed: {entry.program}: {entry.limit}{strut_of(entry)} in {entry.text}"))
    lines += ["", *map(clean, notes(result)), summary(result)]
    return "\n".join(lines) + "\n"


def failures(result: GateResult) -> str:
    """Return what is wrong alone, worst programs first, and how many were checked; nothing where all passed."""
    cases = [c for c in sorted(result.cases, key=worst_first) if c.verdict != "pass"]
    lines = [line for case in cases[:MOST_PROGRAMS] for line in _details(case) if line]
    return "\n".join([*lines, summary(result)]) if result.exit_code else ""


def _row(case: Case) -> list[str]:
    use, limit = case.worst
    known = not case.record.mistakes
    time = duration(case.record.duration_s) if known else "-"
    return [_SHOWN[case.verdict], percent(use) if known else "-", limit or "-", time, clean(case.name)]


def _details(case: Case) -> list[str]:
    """Return what is wrong with a program, the worst of it."""
    said = [f"{case.name}:{m.line or '-'}: {mistake_sentence(m)}" for m in case.record.mistakes]
    said += [f"{case.name}:{j.found.line}: {judged_sentence(j)}" for j in case.findings if j.state != "accepted"]
    total = case.record.mistakes_total + len(said) - len(case.record.mistakes)
    lines = [""] if said else []
    lines += map(clean, said[:MOST_FINDINGS])
    if total > MOST_FINDINGS:
        lines.append(f"    ... and {total - MOST_FINDINGS:,} more")
    return lines


def changed_text(found: Sequence[Comparison], machine: str, result: GateResult) -> str:
    """Return what another machine file changes: the programs that break other limits, the time, and the counts.

    ``result``: the library on the other machine.
    """
    lines = []
    for kind in KINDS[:-1]:
        for c in (c for c in found if c.kind == kind):
            lines += _change(c)
    total = [sum(c.record.duration_s for c in side) for side in ([c.before for c in found], [c.after for c in found])]
    numbers = {kind: count(found, kind) for kind in KINDS}
    lines += ["", *map(clean, notes(result))]
    lines.append(f"All cycle times {duration(total[0])} -> {duration(total[1])}.")
    lines.append(
        f"{checked(result)} against {clean(machine)}: {numbers['newly-fails']:,} newly fail, "
        f"{numbers['breaks-more']:,} break more, {numbers['not-compared']:,} not compared, "
        f"{numbers['newly-passes']:,} newly pass."
    )
    return "\n".join(lines) + "\n"


def _change(c: Comparison) -> list[str]:
    """Return what another machine file means to one program: what it breaks that it did not break before."""
    before, after = c.before, c.after
    times = f"{duration(before.record.duration_s)} -> {duration(after.record.duration_s)}"
    uses = f"{percent(before.worst[0])} -> {percent(after.worst[0])}"
    gone = f", {plural(c.gone, 'finding')} gone" if c.gone else ""
    line = clean(f"{c.kind.replace('-', ' ')}: {before.name}: worst use {uses}, time {times}{gone}")
    return [line, *_details(after if after.record.mistakes else replace(after, findings=c.news))]
