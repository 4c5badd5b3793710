"""The survey as one HTML page without outside parts: what the library needs, and all programs in a sortable table."""

from collections.abc import Iterable
from html import escape

from hexpost.library.page_parts import SCRIPT, STYLE
from hexpost.survey import text
from hexpost.survey.model import Sight, Survey
from hexpost.voice import clean

_STATES = {"read": ("read", "pass"), "open": ("questions open", "note"), "text": ("by no setting", "fail")}
_COLUMNS = ("State", "Program", "Lines", "Units", "Faults", "Tools", "Extents", "What is wrong")
_NUMBERS = ("Lines", "Faults")


def to_page(survey: Survey) -> str:
    """Return the page."""
    summary = escape(" ".join(text.headline(survey)))
    parts = (
        ("Words that nothing reads", text.words(survey.words)),
        ("Units", text.units(survey)),
        ("Readings that matter", text.readings(survey)),
        ("Tools and offsets", text.numbers(survey)),
        ("Extents", text.extents(survey)),
        ("Programs that no setting makes readable", text.troubles(survey.of("text"))),
    )
    heads = "".join(
        f'<th scope="col" data-kind="{"number" if name in _NUMBERS else "text"}"><button>{name}</button></th>'
        for name in _COLUMNS
    )
    rows = "\n".join(_row(s) for s in survey.sights)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Survey of a library: {summary}</title><style>{STYLE}pre{{overflow-x:auto}}</style></head><body>"
        f"<h1>Survey of a library</h1><p>{summary}</p>{''.join(_part(title, lines) for title, lines in parts)}"
        "<h2>Programs</h2>"
        '<p><label>Show <input id="filter" type="search" placeholder="part of a path"></label></p>'
        f'<div class="wide"><table id="programs"><thead><tr>{heads}</tr></thead><tbody>\n{rows}\n</tbody></table></div>'
        "<h2>Cautions</h2><p>A program that is read is not yet one that may run: a survey looks at no limit. Who "
        "decides what a word means must know the machine that the program was written for.</p>"
        f"<script>{SCRIPT}</script></body></html>\n"
    )


def _part(title: str, lines: Iterable[str]) -> str:
    """Return a part of the page; nothing where there is nothing to say."""
    body = "\n".join(escape(line) for line in lines)
    return f"<h2>{title}</h2><pre>{body}</pre>" if body else ""


def _row(s: Sight) -> str:
    said, style = _STATES[s.state]
    tools = " ".join(f"T{n.number}" for n in s.numbers if n.kind == "T")
    wrong = "; ".join(f"{t.name} (line {t.line})" if t.line else t.name for t in s.troubles)
    cells = (
        f'<span class="{style}">{said}</span>', _text(s.name), f"{s.lines:,}", s.units or "not stated", f"{s.faults:,}",
        tools, _text(text.size(s.extents)), _text(wrong),
    )  # fmt: skip
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"


def _text(said: str) -> str:
    return escape(clean(said))
