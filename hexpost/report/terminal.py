"""What the terminal shows at the end: at most one screen."""

from collections.abc import Sequence

from hexpost.audit.model import Limit, Worst
from hexpost.report.against import against_brief
from hexpost.report.beside import beside_text
from hexpost.report.feeds import feed_not_reached, times_text
from hexpost.report.model import Report
from hexpost.report.verdict import block_rows, feed_name, loud, mending, remarks, shown_text, verdict
from hexpost.voice import APPROACH, clean, columns, duration, not_looked_at, paragraph, percent, plural

SCREEN_LINES = 24
LEAST_BLOCKS = 3
"""Advice for the whole job stands on the screen only beside more than so many lines for blocks."""
_RED, _GREEN, _YELLOW, _PLAIN = "\x1b[1;31m", "\x1b[1;32m", "\x1b[1;33m", "\x1b[0m"


def summary(
    report: Report,
    width: int = 80,
    *,
    colour: bool = False,
    more: str = "see the report",
    place: str = "in the report",
) -> str:
    """Return the summary, at most ``SCREEN_LINES`` lines of ``width`` columns, a newline at the end.

    ``more`` says how the rest can be read, ``place`` where it stands.
    """
    tint = _GREEN if report.clean else _RED
    head = [_tinted(line, tint, colour) for line in paragraph(clean(verdict(report)), width)]
    for notice in loud(report):
        head += paragraph(clean(notice), width)
    if report.clean and (unseen := not_looked_at(report.unseen)):
        head += paragraph(unseen, width)
    if report.machine.demonstration:
        head += [_tinted(line, _YELLOW, colour) for line in paragraph(report.cautions[0], width)]
    head += ["", *_facts(report, width, place), ""]
    if report.cycle_times is not None:
        head += [*(line[:width] for line in times_text(report.cycle_times)[3:]), ""]
    worst = columns(_worst(report), [False, True, True, True])
    said = remarks(report)
    room = SCREEN_LINES - len(head) - 3
    lines = head + [line[:width] for line in worst[:room]]
    room -= len(worst)
    lines += _findings(report, width, room, more) if room > 0 and not report.clean else []
    lines = lines[: SCREEN_LINES - 1 - bool(report.clean and said)]
    lines += _remarks(said, width, SCREEN_LINES - 1 - len(lines), place if report.clean else "")
    return "\n".join(lines) + "\n"


def _remarks(said: Sequence[str], width: int, room: int, place: str) -> list[str]:
    """Return remarks in at most ``room`` lines; what is left is counted, where it is to be told in what ``place``."""
    out: list[str] = []
    for i, text in enumerate(said):
        lines = paragraph(clean(text), width, "  ", "Remark: ")
        if len(out) + len(lines) + (i + 1 < len(said) and bool(place)) > room:
            left = plural(len(said) - i, "more remark" if i else "remark")
            return [*out, f"... and {left} {place}" if i else f"{left} {place}"] if place else out
        out += lines
    return out


def _facts(report: Report, width: int, place: str) -> list[str]:
    facts = f"{duration(report.duration)}, {plural(report.rows, 'setpoint')}; {feed_name(report)}"
    if report.beside is not None and report.beside.rows:
        facts += f"; {beside_text(report.beside, report.duration)}"
    if report.compared is not None:
        other = report.compared
        facts += f"; {duration(other.duration)} on {clean(other.name)}: {against_brief(other, report.duration)}"
    if report.reasons is not None and (lost := feed_not_reached(report.reasons, place)):
        facts += f"; {lost}"
    if report.shown is not None:
        facts += f"; {shown_text(report.shown)}"
    if report.unseen and not report.clean:
        limits = len({x.limit for x in report.unseen})
        facts += f"; {plural(limits, 'limit')} not looked at (which: {place})"
    if (notes := len(remarks(report))) and not report.clean:
        facts += f"; {plural(notes, 'remark')} {place}"
    return paragraph(facts, width)


def _worst(report: Report) -> list[list[str]]:
    """Return, for each limit, the strut that uses it most."""
    best: dict[Limit, Worst] = {}
    for w in (w for s in (*(u.worst for u in report.struts), report.whole) for w in s):
        if w.limit not in best or w.ratio > best[w.limit].ratio:
            best[w.limit] = w
    rows = [[w.limit.name, percent(w.ratio), str(w.strut or "-"), str(w.line or APPROACH)] for w in best.values()]
    return [["limit", "worst use", "strut", "line"], *rows]


def _findings(report: Report, width: int, room: int, more: str) -> list[str]:
    """Return the blocks with findings, worst first, and what would mend the job, in at most ``room`` lines."""
    advice: list[str] = []
    for text in mending(report):
        told = [*(advice or [""]), *paragraph(text, width)]
        if room - len(told) > LEAST_BLOCKS:
            advice = told
    room -= len(advice)
    rows = block_rows(report.findings)
    listed = min(len(rows), room)
    lines = [""]
    for row in rows[:listed]:
        line = clean(f"  {row}")
        lines.append(line if len(line) <= width else line[: width - 3] + "...")
    rest = report.blocks_total - listed
    if rest > 0:
        lines.append(f"  ... and {plural(rest, 'more block')}: {more}")
    return [*lines, *advice]


def _tinted(text: str, tint: str, colour: bool) -> str:  # noqa: FBT001 - used here alone
    return f"{tint}{text}{_PLAIN}" if colour else text
