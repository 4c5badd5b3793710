"""The page of a job: one file that needs no network and no script, of a size that does not grow with the job."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from hexpost.audit.model import Chart, Finding, Limit
from hexpost.machine.model import Machine
from hexpost.pages.html import document, parts, safe
from hexpost.program.model import Program
from hexpost.report.charts import Mark, Plot, Scale, chart, scale
from hexpost.report.forecast import forecast_page
from hexpost.report.model import Report
from hexpost.report.moment import moment
from hexpost.report.page_findings import findings, listing
from hexpost.report.page_tables import against, facts, losses, remarks, setup_sheet, table_guide, use_table
from hexpost.report.page_views import views
from hexpost.report.picture import Drawing
from hexpost.report.sag import sag_page
from hexpost.report.shaken import shaken_page
from hexpost.report.text import smoothed_text
from hexpost.report.verdict import feed_name, loud, machine_name, verdict
from hexpost.units import SECONDS_PER_MINUTE
from hexpost.voice import amount, duration, figure, not_looked_at, number, percent, plural

MOST_BYTES = 400_000
MOST_FINDINGS = 120
"""Findings on the page; report.json lists more."""
_CHARTS = (
    "<p>Each column of a chart spans the smallest and the largest value in its share of the time, so a peak of one "
    "sample shows. Dashed: the limits, with their numbers; shaded: what is beyond them. Upright bands: findings.</p>"
)


def page(report: Report, drawing: Drawing | None, program: Program, machine: Machine) -> bytes:
    """Return the page as UTF-8, at most ``MOST_BYTES``; ``drawing`` is ``None`` for a program without motion.

    With many long findings fewer of them are shown, and the page says so.
    """
    most = MOST_FINDINGS
    while True:
        out = _whole(report, drawing, program, machine, report.findings[:most]).encode()
        if len(out) <= MOST_BYTES or most == 0:
            return out
        most //= 2


def _whole(
    report: Report, drawing: Drawing | None, program: Program, machine: Machine, shown: Sequence[Finding]
) -> str:
    head, _, rest = verdict(report).partition(":")
    curves = "" if report.smoothed is None else f"<p>{safe(smoothed_text(report.smoothed))}.</p>"
    sections = [
        ("findings", "Findings", findings(report, shown)),
        ("limits", "Use of the limits", use_table(report) + _use_chart(drawing, shown)),
        ("struts", "The six struts", _struts(drawing, shown)),
        ("path", "Where the tool goes", views(drawing) + curves),
        ("time", "Where time is lost", _feed_chart(drawing) + losses(report.reasons)),
        ("compared", "Compared with an ordinary machine", against(report)),
        ("forecast", "What the position loops make of it", forecast_page(report.forecast)),
        ("sag", "How far struts give way", sag_page(report.sag)),
        ("shaking", "How the platform vibrates", shaken_page(report.shaken)),
        ("setup", "Setup sheet", setup_sheet(report)),
        ("assumed", "What was assumed and ignored", remarks(report)),
        ("program", "Program", listing(report, program, shown)),
        ("table", "Reading the table yourself", table_guide(report, machine)),
        ("cautions", "Cautions", "".join(f"<p>{safe(c)}</p>" for c in report.cautions)),
    ]
    sections = [s for s in sections if s[2]]
    body = "".join(f'<section aria-labelledby="{k}"><h2 id="{k}">{n}</h2>{t}</section>' for k, n, t in sections)
    notices = [*loud(report), *(report.cautions[:1] if report.machine.demonstration else ())]
    told = "".join(f'<p class="loud">{safe(notice)}</p>' for notice in notices)
    unseen = f"<p>{safe(left)}</p>" if (left := not_looked_at(report.unseen)) else ""
    whole = (
        f'<a class="skip" href="#findings">To the findings</a>'
        f'<header class="{"clean" if report.clean else "broken"}"><div><p class="soft">{safe(report.program)} on '
        f"{safe(machine_name(report))}; {safe(feed_name(report))}</p><h1><b>{head}</b>:{safe(rest)}</h1>{unseen}"
        f"{facts(report)}{told}{parts([(k, n) for k, n, _ in sections])}</div></header>"
        f"<main>{moment(drawing, program, machine)}{body}</main>"
        f"<footer><div><p>{plural(report.rows, 'setpoint')}; {duration(report.duration)}. The numbers of this page "
        f"are in report.json, the setpoints in the table beside it.</p></div></footer>"
    )
    title = f"{head}: {Path(report.program).name}"
    return document(title, whole, styles=("report.css",), scripts=("job.js", "report.js", "view.js"))


def _marks(drawing: Drawing, shown: Sequence[Finding], limit: Limit | None = None, strut: int = 0) -> list[Mark]:
    """Return the marks of the findings of one limit of one strut (all findings, without a limit)."""
    until = max(drawing.until, 1e-9)
    out = []
    for i, f in enumerate(shown):
        if limit is None or (f.limit == limit and f.strut == strut):
            start, end = (min(max(t / until, 0.0), 1.0) for t in (f.time, f.until))
            out.append(Mark(number=i + 1, share=start, until=end))
    return out


def _use_chart(drawing: Drawing | None, shown: Sequence[Finding]) -> str:
    if drawing is None:
        return ""
    most = float(drawing.use.max())
    title = f"The most used limit of any strut, in per cent: at most {percent(most)} (dashed: all of a limit)"
    use = 100.0 * drawing.use
    plot = Plot(
        name="use",
        title=title,
        low=np.zeros_like(use),
        high=use,
        bounds=(100.0,),
        unit=" %",
        scale=Scale(low=0.0, high=1.08 * max(100.0, 100.0 * most)),
        marks=_marks(drawing, shown),
        prefix="u",
        times=tuple(drawing.until * k / 4 for k in range(5)),
    )
    return chart(plot)


def _feed_chart(drawing: Drawing | None) -> str:
    """Return the feed of the tip beside the one that is programmed for it."""
    if drawing is None:
        return ""
    low, high = (SECONDS_PER_MINUTE * x for x in drawing.feed)
    asked, most = SECONDS_PER_MINUTE * drawing.asked, float(high.max())
    top = max(most, float(np.nanmax(asked, initial=0.0)), 1.0)
    plot = Plot(
        name="feed",
        title=f"Feed of the tool tip: real, at most {amount(most, 'mm/min')}; line: programmed (none in rapids)",
        low=low,
        high=high,
        bounds=(),
        scale=Scale(low=0.0, high=1.08 * top),
        marks=(),
        prefix="v",
        times=tuple(drawing.until * k / 4 for k in range(5)),
        asked=asked,
    )
    return chart(plot)


def _struts(drawing: Drawing | None, shown: Sequence[Finding]) -> str:
    if drawing is None:
        return ""
    out = [_CHARTS]
    own = [q for q, one in enumerate(drawing.charted) if one.limit.chart is Chart.OWN]
    for k in range(drawing.low.shape[1]):
        charts = "".join(_strut(drawing, q, k, shown) for q in own)
        out.append(f"<h3>Strut {k + 1}</h3>{charts}")
    return "".join(out)


def _strut(drawing: Drawing, q: int, k: int, shown: Sequence[Finding]) -> str:
    """Return the chart of one limit of a strut."""
    limit, a, b = drawing.charted[q].limit, float(drawing.charted[q].low[k]), float(drawing.charted[q].high[k])
    low, high = drawing.low[q, k], drawing.high[q, k]
    least, most = float(low.min()), float(high.max())
    name = limit.quantity or limit.name
    allowed = f"±{number(b)} allowed" if a == -b else f"{number(a)} to {number(b)} allowed"
    plot = Plot(
        name=f"s{k + 1}-{name}",
        title=f"Strut {k + 1} {name}: {figure(least, limit.unit)} to {amount(most, limit.unit)}, {allowed}",
        low=low,
        high=high,
        bounds=(a, b),
        scale=scale(a, b, least, most),
        marks=_marks(drawing, shown, limit, k + 1),
        prefix="m",
        times=(0.0, drawing.until),
    )
    return chart(plot)
