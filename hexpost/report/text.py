"""The report for people, as plain text: ``report.txt``, of at most 100 columns."""

from collections.abc import Iterable, Sequence

from hexpost.audit.model import Finding
from hexpost.report.feeds import feeds_text, times_text
from hexpost.report.figures import figures_text, side_by_side
from hexpost.report.mending import mending
from hexpost.report.model import Report, StrutUse
from hexpost.report.sheet_words import sheet_text
from hexpost.report.verdict import feed_name, machine_name, proving_notice, verdict
from hexpost.voice import (
    APPROACH,
    advice,
    clean,
    columns,
    duration,
    in_line,
    not_looked_at,
    paragraph,
    percent,
    plural,
    used,
    what,
    when,
    where,
)

WIDTH = 100
MOST_FINDINGS = 500
"""So many findings are in the text; the JSON report lists more."""


def text(report: Report, width: int = WIDTH) -> str:
    """Return the whole text in lines of ``width`` columns.

    Verdict, time, use of limits, figures, findings worst first, remarks, cautions.
    """
    lines = paragraph(clean(verdict(report)), width)
    rule = "-" * width
    if notice := proving_notice(report):
        lines += ["", *paragraph(clean(notice), width)]
    if unseen := not_looked_at(report.unseen):
        lines += ["", *paragraph(unseen, width)]
    if report.machine.demonstration:
        lines += ["", rule, *paragraph(report.cautions[0], width), rule]
    lines += [
        "",
        *_heads(report, width),
        *_use(report, width),
        *figures_text(report.struts, width),
        *_findings(report, width),
    ]
    lines += [] if report.cycle_times is None else times_text(report.cycle_times)
    lines += [] if report.reasons is None else feeds_text(report.reasons)
    lines += sheet_text(report)
    lines += _section("How ambiguous words were read", report.readings, width)
    lines += _section("Remarks", report.warnings, width)
    lines += _section(
        "What was ignored",
        [
            f"{r.text} ({'once' if r.count == 1 else f'{r.count:,} times'}, first in line {r.line})"
            for r in report.ignored
        ],
        width,
    )
    lines += _section("Cautions", report.cautions, width)
    return "\n".join(lines) + "\n"


def _heads(report: Report, width: int) -> list[str]:
    rows = (
        ("Program", report.program),
        ("Machine", machine_name(report)),
        ("Machine file", report.machine.file),
        ("Tools", report.tools_file or "none"),
        ("Setup", report.setup_file or "none"),
        ("Feed", feed_name(report)),
        ("Time", f"{duration(report.duration)}, {plural(report.rows, 'setpoint')}"),
    )
    out = []
    for name, value in rows:
        if value:
            out += paragraph(clean(value), width, " " * 14, f"{name:14}")
    return out


def _use(report: Report, width: int) -> list[str]:
    """Return the worst use of each limit by each strut, in one table, or in two where one is too wide."""
    lines = ["", "Worst use of each limit, and the line where it is", ""]
    lines += side_by_side(report.struts, _table, width)
    lines += [f"  {used(w)}, {in_line(w.line)}" for w in report.whole]
    return [*lines, "", *(line for note in _meanings(report) for line in paragraph(note, width, "  ", "  "))]


def _meanings(report: Report) -> list[str]:
    """Return what the figures of the table mean."""
    notes = dict.fromkeys(w.limit.note for w in (*(w for s in report.struts for w in s.worst), *report.whole))
    return ["In per cent of what is allowed, @line.", *(note for note in notes if note)]


def _table(struts: Sequence[StrutUse]) -> list[str]:
    limits = list(dict.fromkeys(w.limit for s in struts for w in s.worst))
    uses = [{w.limit: f"{percent(w.ratio)} @{w.line or APPROACH}" for w in s.worst} for s in struts]
    rows = [["", *(f"strut {s.strut}" for s in struts)]]
    rows += [[limit.name, *(use.get(limit, "-") for use in uses)] for limit in limits]
    rows.append(["shortest mm", *(f"{s.shortest:.3f}" for s in struts)])
    rows.append(["longest mm", *(f"{s.longest:.3f}" for s in struts)])
    return columns(rows, [False] + [True] * len(struts))


def _findings(report: Report, width: int) -> list[str]:
    if report.clean:
        return ["", "Findings", "", "  none"]
    lines = ["", f"Findings ({report.findings_total:,}, worst first)"]
    if whole := mending(report):
        lines += ["", *(line for item in whole for line in paragraph(item, width, "    ", "  - "))]
    first: dict[str, int] = {}
    for i, f in enumerate(report.findings[:MOST_FINDINGS], 1):
        words = advice(f)
        told = first.setdefault(words, i)
        lines += ["", *_finding(i, f, words if told == i else f"As {told}.", width)]
    rest = report.findings_total - min(len(report.findings), MOST_FINDINGS)
    if rest:
        lines += ["", f"  ... and {plural(rest, 'more finding', 'more findings')}; report.json lists the worst 10,000."]
    return lines


def _finding(i: int, f: Finding, words: str, width: int) -> list[str]:
    """Return finding ``i`` with its advice."""
    number_of = f"{i:>4}  "
    indent = " " * len(number_of)
    return [
        *paragraph(clean(f"{what(f)}, {when(f)}"), width, indent, number_of),
        *paragraph(clean(f"{where(f)}: {f.text}"), width, indent + "  ", indent),
        *(paragraph(clean(words), width, indent, indent) if words else []),
    ]


def _section(title: str, items: Iterable[str], width: int) -> list[str]:
    lines = [line for item in items for line in paragraph(clean(item), width, "    ", "  - ")]
    return ["", title, "", *lines] if lines else []
