"""The survey as one HTML page without outside parts: what the library needs, and all programs in a sortable table."""

from collections.abc import Iterable
from pathlib import PurePosixPath

from hexpost.pages.html import document, fact_list, parts, safe, scrolled
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
_CAUTION = (
    "<p>A program that is read is not yet one that may run: a survey looks at no limit. Who decides what a word means "
    "must know the machine that the program was written for.</p>"
)


def to_page(survey: Survey) -> str:
    """Return the page."""
    summary = " ".join(text.headline(survey))
    found = (
        ("words", "Words that nothing reads", _lines("Words that nothing reads", text.words(survey.words))),
        ("units", "Units", _lines("Units", text.units(survey))),
        ("readings", "Readings that matter", _lines("Readings that matter", text.readings(survey))),
        ("numbers", "Tools and offsets", _lines("Tools and offsets", text.numbers(survey))),
        ("extents", "Extents", _lines("Extents", text.extents(survey))),
        ("never", "Programs that no setting makes readable",
         _lines("Programs that no setting makes readable", text.troubles(survey.of("text")))),
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
            ("By no setting", f"{len(survey.of('text')):,}", ""),
            ("Words nobody reads", f"{len(survey.words):,}", ""),
        ]
    )


def _lines(title: str, lines: Iterable[str]) -> str:
    """Return a part of the page as text; nothing where there is nothing to say."""
    body = "\n".join(safe(line) for line in lines)
    return scrolled(f"<pre>{body}</pre>", f"{title}, in full") if body else ""


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
