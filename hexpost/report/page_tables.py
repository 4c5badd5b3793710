"""Figures of the page: what a person asks first, the use of every limit, lost time, remarks, how to read the table."""

from collections.abc import Iterable, Sequence

import numpy as np

from hexpost.audit.model import Duty, Worst
from hexpost.feed.model import Reasons, cause_text
from hexpost.machine.model import Machine
from hexpost.pages.html import fact_list, safe, scrolled
from hexpost.report.against import HELD, against_facts, against_rows
from hexpost.report.beside import beside_text
from hexpost.report.duty import HEADS, TITLE, cells, note
from hexpost.report.feeds import optimum_text
from hexpost.report.model import Report
from hexpost.report.sheet_words import OFFSET_HEAD, STRUT_HEAD, TOOL_HEAD, notes, offset_rows, strut_rows, tool_rows
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE
from hexpost.voice import APPROACH, duration, in_line, nearest, number, owned, percent, plural, used

_ROWS = 10
_LEAST_S = 5e-4


def facts(report: Report) -> str:
    """Return the numbers on top."""
    uses = [w for s in report.struts for w in s.worst]
    worst = max(uses, key=lambda w: w.ratio, default=None)
    items = [("Time", duration(report.duration), plural(report.rows, "setpoint"))]
    if report.beside is not None and report.beside.rows:
        whole = "not known" if report.beside.missing else duration(report.duration + report.beside.seconds)
        items.append(("In the shop", whole, safe(beside_text(report.beside, report.duration))))
    if worst is not None:
        items.append(
            ("Worst strut use", percent(worst.ratio), f"{owned(worst.limit, worst.strut)}, {in_line(worst.line)}")
        )
    items.append(("Blocks to fix", f"{report.blocks_total:,}", plural(report.findings_total, "finding")))
    return fact_list(items)


def use_table(report: Report) -> str:
    """Return the worst use of each limit by each strut, with the line where it is."""
    limits = list(dict.fromkeys(w.limit for s in report.struts for w in s.worst))
    rows = []
    for limit in limits:
        found = [next((w for w in s.worst if w.limit == limit), None) for s in report.struts]
        rows.append((limit.name, found))
    head = ["limit", *(f"strut {s.strut}" for s in report.struts)]
    body = "".join(f"<tr><th scope=row>{name}</th>{''.join(_use(w) for w in uses)}</tr>" for name, uses in rows)
    ends = (("shortest, mm", [s.shortest for s in report.struts]), ("longest, mm", [s.longest for s in report.struts]))
    body += "".join(row([n, *(f"{x:.3f}" for x in xs)]) for n, xs in ends)
    tool = "".join(
        f"<p>Worst {safe(used(w))}, {_line(w.line, 'line ')}. {safe(w.limit.note)}</p>" for w in report.whole
    )
    tool += "".join(f"<p>{safe(nearest(n))}, {_line(n.worst.line, 'line ')}.</p>" for n in report.nearest)
    return table(head, body, "Worst use of each limit, and the line where it is", "Worst use by strut") + tool


def duty_table(found: Duty | None) -> str:
    """Return what drives bear when the job is repeated; nothing for none."""
    if found is None:
        return ""
    body = "".join(row(cells(d)) for d in found.drives)
    return table(list(HEADS), body, TITLE, "Loads of the drives") + f"<p>{safe(note(found))}</p>"


def losses(reasons: Reasons | None) -> str:
    """Return what keeps the job from its programmed feed, and the blocks that lose most."""
    if reasons is None:
        return ""
    causes = [(k, x) for k, x in reasons.total.items() if x >= _LEAST_S][:_ROWS]
    if not causes:
        return "<p>No time is lost: the programmed feed is kept all the way.</p>"
    total = sum(reasons.total.values())
    most = causes[0][1]
    body = "".join(
        f'<tr><th scope=row>{safe(cause_text(k))}</th><td>{x:.3f}</td><td class="w"><span class="bar" '
        f'style="width:{8 * x / most:.2f}em"></span></td></tr>'
        for k, x in causes
    )
    out = f"<p>{duration(total)} more than at the programmed feed all the way, held by:</p>"
    out += table(["cause", "seconds", "share"], body, "Seconds lost, by cause", "Lost time by cause")
    out += f"<p>{near}</p>" if (near := optimum_text(reasons)) else ""
    body = "".join(row(_block(reasons, i)) for i in _costly(reasons))
    head = ["line", "seconds lost", "F programmed", "F reached", "held most by"]
    return out + table(head, body, "Blocks that lose most, feeds in mm/min (deg/min in turns)", "Lost time by block")


def against(report: Report) -> str:
    """Return the job beside the same program on an ordinary machine."""
    found = report.compared
    if found is None:
        return ""
    facts = against_facts(found, report.beside, report.duration, runs=report.clean)
    told = [f"{found.name} ({found.file})", *facts, HELD]
    out = "".join(f"<p>{safe(t)}</p>" for t in told)
    for head, rows in against_rows(found):
        body = "".join(row([safe(c) for c in cells]) for cells in rows)
        out += table(head, body, "Here and there, where they differ most", head[0]) if rows else ""
    return out


def setup_sheet(report: Report) -> str:
    """Return what must be in the spindle and on the table, and how far the struts go."""
    if report.sheet is None or not report.sheet.tools:
        return ""
    tools = "".join(row([safe(c) for c in cells]) for cells in tool_rows(report))
    out = table(TOOL_HEAD, tools, "Tools in the order in which they come", "Tools")
    if offsets := offset_rows(report):
        body = "".join(row(cells) for cells in offsets)
        out += table(OFFSET_HEAD, body, "Work frames in the pallet frame, mm and degrees", "Work offsets")
    out += table(
        STRUT_HEAD, "".join(row(cells) for cells in strut_rows(report)), "How far the struts go", "Strut lengths"
    )
    return out + "".join(f"<p>{safe(note)}</p>" for note in notes(report))


def remarks(report: Report) -> str:
    """Return how open words were read, what was noticed, what was ignored."""
    ignored = [f"{r.text}, {plural(r.count, 'time')}, first in line {r.line}" for r in report.ignored]
    parts = (
        ("Remarks", report.warnings),
        ("How ambiguous words were read", report.readings),
        ("Ignored", ignored),
    )
    return "".join(_list(name, items) for name, items in parts) or "<p>Nothing.</p>"


def table_guide(report: Report, machine: Machine) -> str:
    """Return how anybody can read the table and agree, or not, with the verdict."""
    head = ["strut", "length, mm", "speed, mm/s", "acceleration, mm/s²", "jerk, mm/s³"]
    body = "".join(
        row([
            str(k), f"{number(s.stroke[0])} to {number(s.stroke[1])}",
            f"±{number(s.speed)}",
            f"±{number(s.acceleration)}"
            + ("" if s.deceleration is None else f", ±{number(s.deceleration)} where it slows down"),
            f"±{number(s.jerk)}",
        ])
        for k, s in enumerate(machine.struts, 1)
    )  # fmt: skip
    name = f"setpoints{'' if report.proven else '.not-proven'}{'' if report.clean else '.not-runnable'}"
    return (
        f"<p>The table ({name}, CSV, NumPy or Parquet) has one row every {number(report.period * 1e3)} ms: "
        "<code>time_s</code>, <code>length_1_mm</code> to <code>length_6_mm</code> (joint centre to joint centre), "
        "<code>speed_1_mm_s</code> to <code>speed_6_mm_s</code>, <code>acceleration_1_mm_s2</code> to "
        "<code>acceleration_6_mm_s2</code>, and <code>line</code>, the program line. Any program that reads tables can "
        "look for the smallest and the largest value of each column; these are the limits (jerk: the change of "
        "acceleration from row to row, over the period):</p>"
    ) + table(head, body, f"Limits of {safe(machine.name)}", "Limits of the struts")


def named_lines(report: Report) -> set[int]:
    """Return the program lines that these tables name."""
    worst = [*report.whole, *(w for s in report.struts for w in s.worst)]
    reasons = report.reasons
    costly = [] if reasons is None else [int(reasons.line[i]) for i in _costly(reasons)]
    return {*(w.line for w in worst), *costly}


def _costly(reasons: Reasons) -> list[int]:
    """Return where the blocks that lose most stand in the columns of ``reasons``."""
    return [int(i) for i in reasons.slowest(_ROWS) if reasons.lost[i] >= _LEAST_S]


def _line(line: int, word: str = "") -> str:
    """Return a link to a line of the program; the approach of a restart stands in none."""
    return f'<a href="#L{line}">{word}{line}</a>' if line else APPROACH


def _use(w: Worst | None) -> str:
    if w is None:
        return "<td>-</td>"
    over = ' class="over"' if w.ratio > 1.0 else ""
    return f"<td{over}>{percent(w.ratio)}<br><small>{_line(w.line, 'line ')}</small></td>"


def _block(reasons: Reasons, i: int) -> list[str]:
    scale = SECONDS_PER_MINUTE * (DEG_PER_RAD if reasons.turning[i] else 1.0)
    feed = "rapid" if np.isinf(reasons.programmed[i]) else number(float(f"{reasons.programmed[i] * scale:.5g}"))
    reached = number(float(f"{reasons.reached[i] * scale:.4g}"))
    return [
        _line(int(reasons.line[i])),
        f"{reasons.lost[i]:.3f}",
        feed,
        reached,
        safe(cause_text(int(reasons.cause[i]))),
    ]


def row(cells: Sequence[str]) -> str:
    """Return a row of a table; cells are HTML."""
    return f"<tr><th scope=row>{cells[0]}</th>{''.join(f'<td>{c}</td>' for c in cells[1:])}</tr>"


def table(head: Sequence[str], body: str, caption: str, label: str) -> str:
    """Return a table with its rows, in a frame that scrolls."""
    titles = "".join(f"<th scope=col>{h}</th>" for h in head)
    whole = f"<table><caption>{caption}</caption><thead><tr>{titles}</tr></thead><tbody>{body}</tbody></table>"
    return scrolled(whole, label)


def _list(name: str, items: Iterable[str]) -> str:
    told = "".join(f"<li>{safe(i)}</li>" for i in items)
    return f"<h3>{name}</h3><ul>{told}</ul>" if told else ""
