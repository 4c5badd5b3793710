"""The result as one HTML page without outside parts: numbers, programs in a table, worst first, findings folded."""

import os
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath
from urllib.parse import quote

from hexpost.library.model import Case, GateResult, Verdict
from hexpost.library.sarif import uri
from hexpost.library.texts import (
    basis,
    counts,
    judged_sentence,
    mistake_sentence,
    notes,
    summary,
    verdict_sentence,
    worst_first,
)
from hexpost.pages.html import document, fact_list, parts, safe
from hexpost.pages.programs import LONG, NUMBER, PLAIN, ProgramCell, ProgramRow, filters, link, table
from hexpost.voice import duration, percent, plural

MOST_LISTED = 20
"""So many findings of a program are on the page; the rest are counted."""
_MOST_QUOTED = 200
_COLUMNS = (
    ("Verdict", PLAIN),
    ("Program", LONG),
    ("Worst use", NUMBER),
    ("Limit", PLAIN),
    ("Findings", NUMBER),
    ("Cycle time [s]", NUMBER),
    ("Machine", LONG),
)
_ORDER: dict[Verdict, int] = {"error": 0, "fail": 1, "pass": 2}
_WORDS: dict[Verdict, str] = {"error": "not understood", "fail": "fails", "pass": "passes"}
_SECTIONS = (
    ("all", "Programs"),
    ("findings", "Findings"),
    ("notes", "What else there is to say"),
    ("cautions", "Cautions"),
)
_CAUTION = (
    "<p>A pass says only that the limits of the machine file hold along the programmed path. It knows nothing of "
    "collisions, fixtures, wrong offsets or a machine that differs from its file, and it is no safety function: prove "
    "every job out as the machine builder and your workshop prescribe.</p>"
)


def to_page(result: GateResult, place: Path) -> str:
    """Return the page that is written to ``place``; a report beside it is linked: ``PROGRAM/report.html``."""
    cases = sorted(result.cases, key=worst_first)
    reports = {case.name: _report(case.name, place.parent) for case in cases}
    rows = [_row(i, case, reports[case.name]) for i, case in enumerate(cases)]
    details = "\n".join(
        _details(i, case, row, place.parent, reports[case.name])
        for i, (case, row) in enumerate(zip(cases, rows, strict=True))
        if _shown(case)
    )
    said = "".join(f"<li>{safe(note)}</li>" for note in notes(result))
    bodies = (table(_COLUMNS, rows), details or "<p>None.</p>", f"<ul>{said}</ul>" if said else "", _CAUTION)
    sections = [(key, name, inner) for (key, name), inner in zip(_SECTIONS, bodies, strict=True) if inner]
    body = "".join(
        f'<section aria-labelledby="{key}"><h2 id="{key}">{name}</h2>{inner}</section>' for key, name, inner in sections
    )
    links = parts([(key, name) for key, name, _ in sections])
    return document(
        f"Program library: {summary(result)}",
        f'<a class="skip" href="#findings">To the findings</a>{_head(result, links)}<main>{body}</main>'
        f"<footer><div><p>{safe(summary(result))} {safe(basis(result))}.</p></div></footer>",
        styles=("library.css",),
        scripts=("programs.js",),
    )


def _head(result: GateResult, links: str) -> str:
    """Return verdict, the bar of outcomes, numbers, and the ``links`` to the parts of the page."""
    word, rest = verdict_sentence(result)
    n, kind = counts(result), "broken" if result.exit_code else "clean"
    judged = f"{n['findings_accepted']:,} accepted, {plural(n['findings_warning'], 'warning')}"
    known = [case.record.duration_s for case in result.cases if not case.record.mistakes]
    numbers = fact_list(
        [
            ("Checked", f"{n['checked']:,}", f"of {plural(n['programs'], 'program')}"),
            ("Findings that fail", f"{n['findings_failing']:,}", judged),
            ("Faults", f"{n['faults']:,}", f"in {plural(n['errors'], 'program')} not understood"),
            ("Cycle time of all", duration(sum(known)), f"of {plural(len(known), 'program')}"),
            ("Machines", f"{len({case.machine for case in result.cases}):,}", ""),
        ]
    )
    invented = sum(not case.machine for case in result.cases)
    of = f"{plural(invented, 'program')} of {len(result.cases):,}"
    loud = f'<p class="loud">{of}: judged on the invented demonstration machine.</p>' if invented else ""
    return (
        f'<header class="{kind}"><div><p class="soft">{safe(basis(result))}</p><h1><b>{word}</b>: {safe(rest)}</h1>'
        f"{_outcomes(result)}{numbers}{loud}{links}</div></header>"
    )


def _outcomes(result: GateResult) -> str:
    """Return the bar of outcomes with its words."""
    found = [(verdict, result.count(verdict)) for verdict in _ORDER]
    found = [(verdict, n) for verdict, n in found if n]
    if not found:
        return ""
    bar = "".join(f'<span class="{verdict}" style="flex:{n}"></span>' for verdict, n in found)
    words = "".join(f'<li class="{verdict}"><i></i>{n:,} {_of_many(verdict, n)}</li>' for verdict, n in found)
    return f'<div class="outcomes" aria-hidden="true">{bar}</div><ul class="key">{words}</ul>'


def _of_many(verdict: Verdict, n: int) -> str:
    return _WORDS[verdict] if n == 1 else {"error": "not understood", "fail": "fail", "pass": "pass"}[verdict]


def _report(name: str, folder: Path) -> str | None:
    """Return the link of a program's own report, if it is there beside the page."""
    for inside in (Path(name), Path(name).with_suffix("")):
        report = inside / "report.html"
        if not inside.is_absolute() and (folder / report).is_file():
            return quote(report.as_posix())
    return None


def _address(name: str, folder: Path) -> str:
    """Return the link from a page in ``folder`` to a program, whose name counts from the working directory."""
    if Path(name).is_absolute():
        return uri(name)
    way = os.path.relpath(name, folder).replace(os.sep, "/")
    return quote(way.encode("utf-8", "surrogateescape"))


def _shown(case: Case) -> bool:
    return bool(case.findings or case.record.mistakes)


def _row(i: int, case: Case, report: str | None) -> ProgramRow:
    use, limit = case.worst
    understood = not case.record.mistakes
    machine = case.machine or "demonstration"
    also = f' <a href="{safe(report)}">job page</a>' if report else ""
    limits = list(dict.fromkeys(j.found.limit.name for j in case.findings))
    return ProgramRow(
        name=case.name,
        cells=(
            ProgramCell(
                html=f'<span class="{case.verdict}">{_WORDS[case.verdict]}</span>', value=str(_ORDER[case.verdict])
            ),
            ProgramCell(html=link(case.name, f"#p{i}" if _shown(case) else None) + also, value=case.name),
            ProgramCell(html=percent(use) if understood else "", value=f"{use:.9g}"),
            ProgramCell(html=safe(limit)),
            ProgramCell(html=f"{case.total:,}"),
            ProgramCell(
                html=f"{case.record.duration_s:,.1f}" if understood else "", value=f"{case.record.duration_s:.3f}"
            ),
            ProgramCell(html=link(machine, None, 32), value=machine),
        ),
        filters={
            "verdict": (_WORDS[case.verdict],),
            "machine": (machine,),
            "limit": limits or ([limit] if case.verdict != "pass" and limit else []),
            "folder": (str(PurePosixPath(case.name).parent),),
        },
    )


def _details(i: int, case: Case, row: ProgramRow, folder: Path, report: str | None) -> str:
    """Return what is wrong with one program, folded."""
    rows = [(m.line, mistake_sentence(m), m.text, "error") for m in case.record.mistakes]
    rows += [(j.found.line, judged_sentence(j), j.found.text, "fail" if j.fails else "note") for j in case.findings]
    more = case.total - len(rows[:MOST_LISTED])
    rest = f"<li>... and {more:,} more</li>" if more else ""
    word, kind = ("finding", "findings") if not case.record.mistakes else ("fault", "faults")
    links = f'<a href="{safe(_address(case.name, folder))}">the program</a>'
    links += f' · <a href="{safe(report)}">its job page</a>' if report else ""
    return (
        f'<details id="p{i}" class="{case.verdict}"{filters(row)}><summary>{safe(case.name)}: '
        f'<span class="{case.verdict}">{_WORDS[case.verdict]}</span>, {plural(case.total, word, kind)}</summary>'
        f"<p>{links}</p><ul>{''.join(_items(rows[:MOST_LISTED]))}{rest}</ul></details>"
    )


def _items(rows: Iterable[tuple[int | None, str, str, str]]) -> Iterator[str]:
    for line, sentence, text, kind in rows:
        quoted = f"<code>{safe(text[:_MOST_QUOTED])}</code> " if text else ""
        yield f'<li class="{kind}">line {line or "-"}: {quoted}{safe(sentence)}</li>'
