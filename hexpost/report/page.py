"""The page of a job: one file that needs no network and no script, of a size that does not grow with the job."""

from collections.abc import Sequence
from pathlib import Path

from hexpost.audit.model import Finding
from hexpost.machine.model import Machine
from hexpost.pages.html import document, parts, safe
from hexpost.program.model import Program
from hexpost.report.budget import budget_page
from hexpost.report.forecast import forecast_spoken
from hexpost.report.model import Report
from hexpost.report.moment import moment
from hexpost.report.page_charts import PageCharts
from hexpost.report.page_findings import findings, listing
from hexpost.report.page_tables import against, duty_table, facts, losses, remarks, setup_sheet, table_guide, use_table
from hexpost.report.page_views import views
from hexpost.report.picture import FINE, Drawing
from hexpost.report.sag import sag_spoken
from hexpost.report.shaken import shaken_spoken
from hexpost.report.text import smoothed_text
from hexpost.report.verdict import feed_name, loud, machine_name, verdict
from hexpost.voice import duration, not_looked_at, plural

MOST_BYTES = 400_000
MOST_FINDINGS = 120
"""Findings on the page; report.json lists more."""
_FINE = (FINE, FINE // 2, 0)
"""Columns of the charts that the script may zoom into: as many as there is room for."""


def page(report: Report, drawing: Drawing | None, program: Program, machine: Machine) -> bytes:
    """Return the page as UTF-8, at most ``MOST_BYTES``; ``drawing`` is ``None`` for a program without motion.

    Of a busy job charts are kept less finely; with many long findings fewer of them are shown, and the page says so.
    """
    most, fine = MOST_FINDINGS, list(_FINE)
    while True:
        shown = report.findings[:most]
        charts = None if drawing is None else PageCharts(drawing=drawing, shown=shown, fine=fine[0])
        out = _whole(report, charts, program, machine, shown).encode()
        if len(out) <= MOST_BYTES or most == 0:
            return out
        if len(fine) > 1:
            del fine[0]
        else:
            most //= 2


def _whole(
    report: Report, charts: PageCharts | None, program: Program, machine: Machine, shown: Sequence[Finding]
) -> str:
    drawing = None if charts is None else charts.drawing
    head, _, rest = verdict(report).partition(":")
    curves = "" if report.smoothed is None else f"<p>{safe(smoothed_text(report.smoothed))}.</p>"
    sections = [
        ("findings", "Findings", findings(report, shown)),
        ("limits", "Use of the limits", use_table(report) + (charts.use() if charts else "")),
        ("struts", "The six struts", charts.struts() if charts else ""),
        ("pose", "How the tool leans, and how well it is held", charts.curves(forecast=False) if charts else ""),
        ("path", "Where the tool goes", views(drawing) + curves),
        ("time", "Where time is lost", (charts.feed() if charts else "") + losses(report.reasons)),
        ("compared", "Compared with an ordinary machine", against(report)),
        ("forecast", "What the position loops make of it", _forecast(report, charts)),
        ("sag", "How far struts give way", sag_spoken(report.behaviour.sag).page()),
        ("shaking", "How the platform vibrates", shaken_spoken(report.behaviour.shaken).page()),
        ("drives", "What drives bear", duty_table(report.behaviour.duty)),
        ("budget", "Error budget", budget_page(report)),
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
    return document(title, whole, styles=("report.css",), scripts=("job.js", "report.js", "charts.js", "view.js"))


def _forecast(report: Report, charts: PageCharts | None) -> str:
    """Return what the position loops make of the job."""
    return forecast_spoken(report.behaviour.forecast).page() + (charts.curves(forecast=True) if charts else "")
