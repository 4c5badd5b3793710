"""The result as one HTML page without outside parts: programs in a sortable table, worst first, findings below it."""

from collections.abc import Iterable
from html import escape
from pathlib import Path
from urllib.parse import quote

from hexpost.library.model import Case, GateResult
from hexpost.library.page_parts import SCRIPT, STYLE
from hexpost.library.sarif import uri
from hexpost.library.texts import judged_sentence, mistake_sentence, notes, summary, worst_first
from hexpost.voice import percent

MOST_LISTED = 20
"""So many findings of a program stand in the page; the rest are counted."""

_COLUMNS = (
    ("Verdict", False),
    ("Program", False),
    ("Worst use", True),
    ("Limit", False),
    ("Findings", True),
    ("Cycle time [s]", True),
    ("Machine", False),
)
_ORDER = {"error": 0, "fail": 1, "pass": 2}
_WORDS = {"error": "not understood", "fail": "fails", "pass": "passes"}


def to_page(result: GateResult, place: Path) -> str:
    """Return the page that will stand at ``place``; a report beside it is linked: ``PROGRAM/report.html``."""
    cases = sorted(result.cases, key=worst_first)
    reports = {case.name: _report(case.name, place.parent) for case in cases}
    rows = "\n".join(_row(i, case, reports[case.name]) for i, case in enumerate(cases))
    details = "\n".join(_details(i, case) for i, case in enumerate(cases) if case.findings or case.record.mistakes)
    heads = "".join(
        f'<th scope="col" data-kind="{"number" if number else "text"}"><button>{name}</button></th>'
        for name, number in _COLUMNS
    )
    said = "".join(f"<p>{_text(note)}</p>" for note in notes(result))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Program library: {summary(result)}</title><style>{STYLE}</style></head><body>"
        f"<h1>Program library</h1><p>{summary(result)}</p>{said}"
        '<p><label>Show <input id="filter" type="search" placeholder="part of a path"></label></p>'
        f'<div class="wide"><table id="programs"><thead><tr>{heads}</tr></thead><tbody>\n{rows}\n</tbody></table></div>'
        f"\n<h2>Findings</h2>\n{details or '<p>None.</p>'}"
        "<h2>Cautions</h2><p>A pass says only that the limits of the machine file hold along the programmed path. It "
        "knows nothing of collisions, fixtures, wrong offsets or a machine that differs from its file, and it is no "
        "safety function: prove every job out as the machine builder and your workshop prescribe.</p>"
        f"<script>{SCRIPT}</script></body></html>\n"
    )


def _report(name: str, folder: Path) -> str | None:
    """Return the link of a program's own report, if it stands beside the page."""
    for inside in (Path(name), Path(name).with_suffix("")):
        report = inside / "report.html"
        if not inside.is_absolute() and (folder / report).is_file():
            return quote(report.as_posix())
    return None


def _row(i: int, case: Case, report: str | None) -> str:
    name = _text(case.name)
    anchor = f"#p{i}" if case.findings or case.record.mistakes else None
    link = report or anchor
    shown = f'<a href="{escape(link)}">{name}</a>' if link else name
    use, limit = case.worst
    understood = not case.record.mistakes
    cells = [
        (f'<span class="{case.verdict}">{_WORDS[case.verdict]}</span>', str(_ORDER[case.verdict])),
        (shown, None),
        (percent(use) if understood else "", f"{use:.9g}"),
        (limit, None),
        (f"{case.total:,}", None),
        (f"{case.record.duration_s:,.1f}" if understood else "", f"{case.record.duration_s:.3f}"),
        (_text(case.machine or "demonstration"), None),
    ]
    return "<tr>" + "".join(_cell(text, value) for text, value in cells) + "</tr>"


def _cell(text: str, value: str | None) -> str:
    return f"<td>{text}</td>" if value is None else f'<td data-value="{value}">{text}</td>'


def _details(i: int, case: Case) -> str:
    """Return the section of one program."""
    rows = [(m.line, mistake_sentence(m), m.text, "error") for m in case.record.mistakes]
    rows += [(j.found.line, judged_sentence(j), j.found.text, "fail" if j.fails else "note") for j in case.findings]
    more = case.total - len(rows[:MOST_LISTED])
    rest = f"<li>... and {more:,} more</li>" if more else ""
    items = "".join(_items(rows[:MOST_LISTED]))
    return (
        f'<section id="p{i}"><h3><a href="{escape(uri(case.name))}">{_text(case.name)}</a> '
        f'<span class="{case.verdict}">{_WORDS[case.verdict]}</span></h3><ul>{items}{rest}</ul></section>'
    )


def _items(rows: list[tuple[int | None, str, str, str]]) -> Iterable[str]:
    for line, sentence, text, kind in rows:
        quoted = f"<code>{_text(text[:200])}</code> " if text else ""
        yield f'<li class="{kind}">line {line or "-"}: {quoted}{_text(sentence)}</li>'


def _text(text: str) -> str:
    """Return text for HTML: control characters blank, what is no character a question mark."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return escape(plain.encode("utf-8", "replace").decode())
