"""Findings on the page, worst first, and the part of the program that they are about."""

from collections.abc import Sequence

from hexpost.audit.model import Chart, Finding, quoted
from hexpost.pages.html import coded, safe
from hexpost.program.model import Program
from hexpost.report.model import Report
from hexpost.report.page_tables import named_lines
from hexpost.report.verdict import mending
from hexpost.voice import advice, plural, what, when, where

MOST_LINES = 320
"""A program up to this long is on the page as a whole."""
_AROUND = 2
_WIDE = 110


def findings(report: Report, shown: Sequence[Finding]) -> str:
    """Return the list of findings, with links to the block and to its place in the charts."""
    if report.clean:
        return "<p>None: no limit of the machine file is broken.</p>"
    tools = (
        '<div class="tools" id="find" hidden><label for="search">Search</label><input id="search" type="search">'
        '<label for="sort">Sort by</label><select id="sort"><option value="use">use of the limit</option>'
        '<option value="line">program line</option><option value="time">time</option></select>'
        '<output id="shown" for="search"></output></div>'
    )
    items = "".join(_finding(i + 1, f) for i, f in enumerate(shown))
    rest = report.findings_total - len(shown)
    more = f"<p>{plural(rest, 'more finding', 'more findings')} not shown here; report.json lists the worst 10,000.</p>"
    whole = "".join(f"<p>{coded(x)}</p>" for x in mending(report))
    return f'{whole}{tools}<ol class="found">{items}</ol>{more if rest else ""}'


def listing(report: Report, program: Program, shown: Sequence[Finding]) -> str:
    """Return the program, or of a long one the lines that other parts of the page name; every line can be linked to."""
    hits: dict[int, list[int]] = {}
    for i, f in enumerate(shown):
        hits.setdefault(f.line, []).append(i + 1)
    lines = program.lines
    whole = lines <= MOST_LINES
    if whole:
        wanted = list(range(1, lines + 1))
    else:
        near = {n + d for n in hits for d in range(-_AROUND, _AROUND + 1)} | set(range(1, 6))
        wanted = sorted(n for n in near | named_lines(report) if 1 <= n <= lines)
    out = []
    last = 0
    for n in wanted:
        if n != last + 1:
            out.append(f"<span><i></i>... {plural(n - last - 1, 'line')} left out</span>")
        out.append(_line(n, program, hits.get(n, [])))
        last = n
    if last < lines:
        out.append(f"<span><i></i>... {plural(lines - last, 'line')} left out</span>")
    around = ", those around findings" if hits else ""
    note = (
        ""
        if whole
        else f"<p>{plural(lines, 'line')}; shown are the first ones{around} and those that the tables name.</p>"
    )
    name = safe(report.program)
    return f'{note}<pre tabindex="0" role="region" aria-label="Program {name}">{"".join(out)}</pre>'


def _finding(i: int, f: Finding) -> str:
    link = f'<a href="#L{f.line}">{safe(where(f))}</a>' if f.line else where(f)
    places = [link, f'<a href="#u{i}">in the chart of all limits</a>']
    if f.strut and f.limit.chart is Chart.OWN:
        places.append(f'<a href="#m{i}">in the chart of strut {f.strut}</a>')
    code = f"<p><code>{safe(_cut(f.text))}</code></p>" if f.text else ""
    return (
        f'<li id="f{i}" data-n="{i}" data-line="{f.line}" data-time="{f.time:.6f}" data-until="{f.until:.6f}"><p>'
        f'<span class="n">{i}. '
        f"{safe(what(f))}</span>, {when(f)}</p>{code}<p>{safe(advice(f))}</p>"
        f"<p>{' · '.join(places)}</p></li>"
    )


def _line(n: int, program: Program, hits: Sequence[int]) -> str:
    text = safe(_cut(quoted(program.text(n))))
    links = "".join(f'<a href="#f{i}" aria-label="finding {i}">finding {i}</a>' for i in hits[:4])
    mark = ' class="hit"' if hits else ""
    return f'<span id="L{n}"{mark}><i>{n}</i>{text}{links}</span>'


def _cut(text: str) -> str:
    return text if len(text) <= _WIDE else text[: _WIDE - 4] + " ..."
