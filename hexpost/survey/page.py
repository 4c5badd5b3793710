"""The survey as one HTML page without outside parts: what the library needs, and all programs in a sortable table."""

from collections.abc import Collection, Iterable
from pathlib import PurePosixPath

from hexpost.pages.html import coded, document, fact_list, parts, safe, scrolled
from hexpost.pages.programs import LONG, NUMBER, PLAIN, ProgramCell, ProgramRow, link, table
from hexpost.survey import text
from hexpost.survey.model import Sight, Survey
from hexpost.voice import plural

_STATES = {"read": ("read", "pass"), "open": ("questions open", "note"), "text": ("by no setting", "fail")}
_COLUMNS = (
    ("State", PLAIN),
    ("Program", LONG),
    ("Lines", NUMBER),
    ("Units", PLAIN),
    ("Faults", NUMBER),
    ("Tools", LONG),
    ("Extents", PLAIN),
    ("What is wrong", LONG),
)
_ITEM, _DETAIL = 2, 6
"""Columns by which items and their details are indented in the text; lines that go on are indented further."""
_CAUTION = (
    "<p>A program that is read is not yet one that may run: a survey looks at no limit. Who decides what a word means "
    "must know the machine that the program was written for.</p>"
)


def to_page(survey: Survey) -> str:
    """Return the page."""
    summary = " ".join(text.headline(survey))
    found = (
        ("words", "Words that nothing reads", _lines(text.words(survey.words))),
        ("units", "Units", _lines(text.units(survey))),
        ("readings", "Readings that matter", _lines(text.readings(survey))),
        ("numbers", "Tools and offsets",
         _plain("Tools and offsets", text.number_rows(survey), (1, 2)) + _lines(text.numbers_left(survey))),
        ("extents", "Extents",
         _plain("Extents", text.extent_rows(survey), (1, 3)) + _lines(text.extents_left(survey))),
        ("never", "Programs that no setting makes readable", _lines(text.troubles(survey.of("text")))),
        ("all", "Programs", table(_COLUMNS, [_row(s) for s in survey.sights])),
        ("cautions", "Cautions", _CAUTION),
    )  # fmt: skip
    sections = [section for section in found if section[2]]
    body = "".join(f'<section aria-labelledby="{k}"><h2 id="{k}">{n}</h2>{inner}</section>' for k, n, inner in sections)
    links = parts([(key, name) for key, name, _ in sections])
    kind = "clean" if len(survey.of("read")) == len(survey.sights) else "broken"
    return document(
        f"Survey of a library: {summary}",
        f'<header class="{kind}"><div>'
        f"<h1>Survey of a library</h1><p>{safe(summary)}</p>{_numbers(survey)}{links}</div></header>"
        f"<main>{body}</main>",
        styles=("library.css",),
        scripts=("programs.js",),
    )


def _numbers(survey: Survey) -> str:
    """Return the numbers on top."""
    return fact_list(
        [
            ("Programs", f"{len(survey.sights):,}", plural(sum(s.lines for s in survey.sights), "line")),
            ("Read now", f"{len(survey.of('read')):,}", ""),
            ("Questions open", f"{len(survey.of('open')):,}", "read once they are answered"),
            ("By no setting", f"{len(survey.of('text')):,}", "the text itself needs a change"),
            ("Words that nothing reads", f"{len(survey.words):,}", ""),
        ]
    )


def _lines(lines: Iterable[str]) -> str:
    """Return items and their details as paragraphs; a line that goes on is joined to the one before it."""
    said: list[tuple[int, str]] = []
    for line in lines:
        indent = len(line) - len(line.lstrip())
        if indent in (_ITEM, _DETAIL):
            said.append((indent, line.strip()))
        elif said:
            said[-1] = (said[-1][0], f"{said[-1][1]} {line.strip()}")
    return "".join(f'<p class="{"item" if indent == _ITEM else "spot"}">{_coded(x)}</p>' for indent, x in said)


def _coded(line: str) -> str:
    """Return a line; of a place with its block, two blanks between them, the block as code."""
    place, gap, block = line.partition("  ")
    return coded(place) + (f" <code>{safe(block.strip())}</code>" if gap else "")


def _plain(title: str, rows: list[list[str]], numbers: Collection[int]) -> str:
    """Return a table of texts whose first row is its head; nothing where that is all."""
    if len(rows) < 2:
        return ""
    while not any(row[-1] for row in rows[1:]):
        rows = [row[:-1] for row in rows]

    def cells(tag: str, row: list[str]) -> str:
        kinds = (' class="number"' if k in numbers else "" for k in range(len(row)))
        return "<tr>" + "".join(f"<{tag}{k}>{safe(x)}</{tag[:2]}>" for k, x in zip(kinds, row, strict=True)) + "</tr>"

    body = "\n".join(cells("td", row) for row in rows[1:])
    head = cells('th scope="col"', rows[0])
    return scrolled(f'<table class="plain"><thead>{head}</thead><tbody>\n{body}\n</tbody></table>', f"{title}, in full")


def _row(s: Sight) -> ProgramRow:
    said, style = _STATES[s.state]
    tools = " ".join(f"T{n.number}" for n in s.numbers if n.kind == "T")
    wrong = "; ".join(f"{t.name} (line {t.line})" if t.line else t.name for t in s.troubles)
    units = s.units or "not stated"
    cells = (
        f'<span class="{style}">{said}</span>', link(s.name, None), f"{s.lines:,}", units, f"{s.faults:,}",
        tools, safe(text.size(s.extents)), safe(wrong),
    )  # fmt: skip
    values = (None, s.name, *[None] * 6)
    return ProgramRow(
        name=s.name,
        cells=[ProgramCell(html=html, value=value) for html, value in zip(cells, values, strict=True)],
        filters={
            "state": (said,),
            "units": (units,),
            "folder": (str(PurePosixPath(s.name).parent),),
            "trouble": list(dict.fromkeys(t.name for t in s.troubles)),
        },
    )
