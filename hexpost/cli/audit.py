"""``hexpost audit``: the report alone."""

from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hexpost.cli import Command
from hexpost.cli.options import CORES, JSON, refuse_effort, scheduled, shared
from hexpost.cli.outputs import OVERWRITE, OutFile, lines_of, write_all
from hexpost.cli.progress import ShownProgress, watched
from hexpost.cli.terminal import say
from hexpost.errors import HexpostError

if TYPE_CHECKING:
    from collections.abc import Callable

    from hexpost.machine.feed_caps import FeedCap
    from hexpost.pipeline import Job
    from hexpost.report.both import Both
    from hexpost.report.model import Report
    from hexpost.setpoints.model import Setpoints


@click.command("audit", cls=Command)
@click.argument("program", type=click.Path())
@shared(scheduled("as-programmed", "strut-limited", "both"))
@click.option("--full", is_flag=True, help="Print the whole report, not one screen of it.")
@click.option(
    "--html", type=OutFile("page of both schedules"), metavar="FILE", help="With --feed both: write both as one page."
)
@shared(OVERWRITE, CORES, JSON)
def command(
    program: str,
    *,
    feed: str,
    period_ms: float | None,
    yaw: str,
    stops: bool,
    skip: bool,
    at_most: "tuple[FeedCap, ...]",
    calm_lowest: bool,
    effort: bool,
    compare_with: str | None,
    most_rows: int | None,
    full: bool,
    html: str | None,
    jobs: int | None,
    as_json: bool,
    **files: str | None,
) -> None:
    """Report which blocks of PROGRAM break which limit of which strut, and what to do about it.

    Feeds that are advised were tried, all together, and are those that refeed writes; the report says how much more is
    too fast. In long jobs they are worked out alone, and the report says so, and by how much they may be too low.
    Nothing is written but the page of --html. Path, singular poses and stops are proven again on the samples, by
    equations of their own; the rest of the proof is that of convert. Exit code 0: no limit broken; 1: at least one; 2:
    the program or another file is not understood, or the samples are not proven.
    """
    from hexpost.cli.run import inputs_of, ordinary_beside, show, workers_of
    from hexpost.convert import report_of
    from hexpost.moves.model import Switches
    from hexpost.pipeline import schedule

    if html and feed != "both":
        raise HexpostError("--html shows both schedules: add --feed both; the page of one job is written by convert")
    one = "as-programmed" if feed == "both" else feed
    refuse_effort(feed, effort=effort)
    switches = Switches(stops=stops, skip=skip, at_most=at_most, calm=calm_lowest, effort=effort)
    with ordinary_beside(compare_with) as other:
        job = inputs_of(Path(program), files, one, period_ms, switches, yaw=yaw, most_rows=most_rows, jobs=jobs)
    with watched("setpoints", job.timing.ticks + 1) as progress:

        def run(see: "Callable[[Setpoints], None]" = lambda _: None) -> "Report":
            return report_of(job, progress.step, workers_of(job, jobs), other=other(), prove=True, see=see)

        limited = schedule(job.inputs, "strut-limited", workers_of(job, jobs)) if html else None
        both = _both(job, limited, run, progress, jobs) if limited else None
        report = both.sides[0].report if both else run()
        if feed == "both":
            from hexpost.refeed.compare import compared

            trials = count(1)
            what = "of one share for all feeds, setpoints"

            def watch(total: int) -> "Callable[[int], None]":
                return progress.follow(f"trial {next(trials)} {what}", total).step

            report = compared(job, report, watch, limited=limited, workers=workers_of(job, jobs))
    if both:
        _write(html, both, quiet=as_json)
    show(report, as_json=as_json, full=full)


def _both(
    job: "Job", limited: "Job", run: "Callable[[Callable[[Setpoints], None]], Report]", progress: ShownProgress,
    jobs: int | None,
) -> "Both":  # fmt: skip
    """Return a job as programmed, which ``run`` works out, beside the strut-limited one."""
    from hexpost.cli.run import workers_of
    from hexpost.convert import report_of
    from hexpost.side_by_side import side_by_side

    def follow(one: "Job", see: "Callable[[Setpoints], None]") -> "Report":
        if one is job:
            return run(see)
        step = progress.follow("setpoints, strut-limited", one.timing.ticks + 1).step
        return report_of(one, step, workers_of(one, jobs), see=see)

    return side_by_side(job, limited, follow)


def _write(html: str | None, both: "Both", *, quiet: bool) -> None:
    from hexpost.report.both import both_page

    written = lines_of(write_all((html, lambda: both_page(both))))
    if not quiet:
        say(written.rstrip())
