"""What ``hexpost gate`` says to people: a table of programs and what is wrong with them."""

from collections.abc import Sequence

from hexpost.library.compare import Comparison
from hexpost.library.model import Case, GateResult
from hexpost.library.texts import judged_sentence, mistake_sentence, unseen_rows, worst_first
from hexpost.voice import clean, columns, duration, paragraph, percent, plural

WIDTH = 100
MOST_PASSING = 20
"""Passing programs are listed up to so many, else only counted."""

MOST_FINDINGS = 3
MOST_PROGRAMS = 200
_SHOWN = {"pass": "pass", "fail": "FAIL", "error": "ERROR"}


def table(result: GateResult) -> str:
    """Return the table, worst programs first, what is wrong below it, and the count at the end."""
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
        strut = f" of strut {entry.strut}" if entry.strut else ""
        lines.append(clean(f"fixed: {entry.program}: {entry.limit}{strut} in {entry.text}"))
    lines += ["", *paragraph(_count(result), WIDTH), *(x for row in unseen_rows(result) for x in paragraph(row, WIDTH))]
    return "\n".join(lines) + "\n"


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
    for sentence in said[:MOST_FINDINGS]:
        lines += paragraph(clean(sentence), WIDTH, "    ", "")
    if total > MOST_FINDINGS:
        lines.append(f"    ... and {total - MOST_FINDINGS:,} more")
    return lines


def _count(result: GateResult) -> str:
    accepted = sum(j.state == "accepted" for c in result.cases for j in c.findings)
    parts = [f"{result.count('pass'):,} pass", f"{result.count('fail'):,} fail"]
    parts.append(f"{result.count('error'):,} not understood")
    parts += [f"{len(result.skipped):,} skipped by the policy"] if result.skipped else []
    parts += [f"{plural(accepted, 'finding')} accepted"] if result.with_baseline else []
    if result.mended:
        parts.append(f"{len(result.mended):,} fixed (--update-baseline drops them)")
    machine = "" if all(c.machine for c in result.cases) else " Judged on the invented demonstration machine."
    return f"{plural(len(result.cases), 'program')}: " + ", ".join(parts) + "." + machine


def changed_text(found: Sequence[Comparison], machine: str) -> str:
    """Return what another machine file changes: the programs that pass no more, those that pass now, the time."""
    lines = []
    for kind in ("newly-fails", "newly-passes"):
        for c in (c for c in found if c.kind == kind):
            before, after = c.before, c.after
            times = f"{duration(before.record.duration_s)} -> {duration(after.record.duration_s)}"
            uses = f"{percent(before.worst[0])} -> {percent(after.worst[0])}"
            lines.append(clean(f"{kind.replace('-', ' ')}: {before.name}: worst use {uses}, time {times}"))
            lines += _details(after) if kind == "newly-fails" else []
    total = [sum(c.record.duration_s for c in side) for side in ([c.before for c in found], [c.after for c in found])]
    fails, passes = (sum(c.kind == kind for c in found) for kind in ("newly-fails", "newly-passes"))
    lines.append(
        f"{plural(len(found), 'program')} against {clean(machine)}: {fails:,} newly fail, {passes:,} newly pass; "
        f"all cycle times {duration(total[0])} -> {duration(total[1])}."
    )
    return "\n".join(lines) + "\n"
