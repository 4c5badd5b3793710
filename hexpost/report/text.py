"""The report as text, with the worst value of each limit by each strut, to be held against a data sheet."""

from collections.abc import Callable, Sequence
from math import degrees

from hexpost.audit.model import JOINTS, Finding, Limit, Sense, Worst
from hexpost.report.against import against_text
from hexpost.report.beside import beside_text
from hexpost.report.budget import budget_text
from hexpost.report.duty import duty_text
from hexpost.report.feeds import feeds_text, times_text
from hexpost.report.forecast import forecast_spoken
from hexpost.report.model import Report, Smoothed, StrutUse
from hexpost.report.sag import sag_spoken
from hexpost.report.shaken import shaken_spoken
from hexpost.report.sheet_words import sheet_text
from hexpost.report.spoken import Spoken
from hexpost.report.verdict import feed_name, loud, machine_name, mending, shown_text, verdict
from hexpost.voice import (
    APPROACH,
    advice,
    clean,
    columns,
    duration,
    figure,
    given,
    in_line,
    nearest,
    not_looked_at,
    paragraph,
    percent,
    plural,
    used,
    what,
    when,
    where,
)

_ABSENT = "-"

Row = list[str]
Used = Sequence[Worst | None]


def figures_text(struts: Sequence[StrutUse], width: int) -> list[str]:
    """Return the table of figures with its title, as lines."""
    table = side_by_side(struts, _figures, width)
    return ["", "Worst value of each limit, and what is allowed there", "", *table]


def side_by_side(struts: Sequence[StrutUse], table: Callable[[Sequence[StrutUse]], list[str]], width: int) -> list[str]:
    """Return a table of all struts, or several of fewer struts where one would be wider than ``width``."""
    lines: list[str] = []
    for share in (6, 3, 2, 1):
        groups = [table(struts[first : first + share]) for first in range(0, len(struts), share)]
        lines = [line for group in groups for line in (*group, "")][:-1]
        if max(map(len, lines), default=0) <= width:
            break
    return lines


def _figures(struts: Sequence[StrutUse]) -> list[str]:
    limits = list(dict.fromkeys(w.limit for s in struts for w in s.worst))
    uses = [{w.limit: w for w in s.worst} for s in struts]
    rows = [["", *(f"strut {s.strut}" for s in struts), "allowed"]]
    for limit in limits:
        rows += _rows(limit, [use.get(limit) for use in uses])
    return columns(rows, [False] + [True] * (len(struts) + 1))


def _rows(limit: Limit, used: Used) -> list[Row]:
    """Return the rows of one limit: values; where they differ, what is allowed; the joint meant; the stroke left."""
    unit = limit.unit
    allowed = [_ABSENT if w is None else given(w.allowed, unit) for w in used]
    same = len({a for a in allowed if a != _ABSENT}) == 1
    one = next(a for a in allowed if a != _ABSENT) if same else ""
    out = [[f"{limit.name} {unit}", *(_ABSENT if w is None else figure(w.value, unit) for w in used), one]]
    if not same:
        out.append(["  allowed", *allowed, ""])
    if any(w is not None and w.joint for w in used):
        out.append(["  joint", *(_ABSENT if w is None else JOINTS[w.joint] for w in used), ""])
    if limit.sense is Sense.RANGE:
        out.append(["  left", *(_ABSENT if w is None else figure(_left(w), unit) for w in used), ""])
    return out


def _left(w: Worst) -> float:
    """Return the stroke that is left at the worst value, mm; less than 0 beyond the end."""
    gap = abs(w.allowed - w.value)
    return gap if w.ratio <= 1.0 else -gap


WIDTH = 100
MOST_FINDINGS = 500
"""So many findings are in the text; the JSON report lists more."""


def text(report: Report, width: int = WIDTH) -> str:
    """Return the whole text in lines of ``width`` columns.

    Verdict, time, use of limits, figures, findings worst first, remarks, cautions.
    """
    lines = paragraph(clean(verdict(report)), width)
    rule = "-" * width
    for notice in loud(report):
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
    if report.compared is not None:
        lines += against_text(report.compared, report.beside, report.duration, width, runs=report.clean)
    lines += [] if report.reasons is None else feeds_text(report.reasons, width)
    lines += forecast_spoken(report.behaviour.forecast).text(width)
    lines += sag_spoken(report.behaviour.sag).text(width)
    lines += shaken_spoken(report.behaviour.shaken).text(width)
    lines += [] if report.behaviour.duty is None else duty_text(report.behaviour.duty, width)
    lines += budget_text(report, width)
    lines += sheet_text(report)
    lines += Spoken("How ambiguous words were read", report.readings).text(width)
    lines += Spoken("Remarks", report.warnings).text(width)
    often = ((r, "once" if r.count == 1 else f"{r.count:,} times") for r in report.ignored)
    ignored = [f"{r.text} ({times}, first in line {r.line})" for r, times in often]
    lines += Spoken("What was ignored", ignored).text(width)
    lines += Spoken("Cautions", report.cautions).text(width)
    return "\n".join(lines) + "\n"


def _heads(report: Report, width: int) -> list[str]:
    rows = (
        ("Program", report.program),
        ("Machine", machine_name(report)),
        ("Machine file", report.machine.file),
        ("Tools", report.tools_file or "none"),
        ("Setup", report.setup_file or "none"),
        ("Feed", feed_name(report)),
        ("Curves", "" if report.smoothed is None else smoothed_text(report.smoothed)),
        ("Time", f"{duration(report.duration)}, {plural(report.rows, 'setpoint')}"),
        ("Samples", "" if report.shown is None else shown_text(report.shown)),
        ("Beside", "" if report.beside is None else beside_text(report.beside, report.duration)),
    )
    out = []
    for name, value in rows:
        if value:
            out += paragraph(clean(value), width, " " * 14, f"{name:14}")
    return out


def smoothed_text(s: Smoothed) -> str:
    """Return how many moves became smooth curves, and how far these leave the program."""
    off = f"at most {s.tip:.4f} mm and {degrees(s.tilt):.4f} deg off the programmed lines"
    return f"{plural(s.moves, 'short move')} joined to {plural(s.curves, 'smooth curve')}, {off}"


def _use(report: Report, width: int) -> list[str]:
    """Return the worst use of each limit by each strut, in one table, or in two where one is too wide."""
    lines = ["", "Worst use of each limit, and the line where it is", ""]
    lines += side_by_side(report.struts, _table, width)
    lines += [f"  {used(w)}, {in_line(w.line)}" for w in report.whole]
    for n in report.nearest:
        lines += paragraph(clean(f"{nearest(n)}, {in_line(n.worst.line)}"), width, "    ", "  ")
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
