"""``hexpost audit``: the report alone."""

from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hexpost.cli import Command
from hexpost.cli.options import AT_MOST, CALM, COMPARED, CORES, INPUTS, JSON, MOST, SWITCHES, UNITS, YAW, motion, shared
from hexpost.cli.progress import watched

if TYPE_CHECKING:
    from hexpost.machine.feed_caps import FeedCap


@click.command("audit", cls=Command)
@click.argument("program", type=click.Path())
@shared(INPUTS, UNITS, motion("as-programmed", "strut-limited", "both"), YAW, SWITCHES, AT_MOST, CALM, COMPARED, MOST)
@click.option("--full", is_flag=True, help="Print the whole report, not one screen of it.")
@shared(CORES, JSON)
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
    compare_with: str | None,
    most_rows: int | None,
    full: bool,
    jobs: int | None,
    as_json: bool,
    **files: str | None,
) -> None:
    """Report which blocks of PROGRAM break which limit of which strut, and what to do about it.

    Feeds that are advised were tried, all together, and are those that refeed writes; the report says how much more is
    too fast. In long jobs they are worked out alone, and the report says so, and by how much they may be too low.
    Nothing is written. Path, singular poses and stops are proven again on the samples, by equations of their own; the
    rest of the proof is that of convert. Exit code 0: no limit broken; 1: at least one; 2: the program or another file
    is not understood, or the samples are not proven.
    """
    from hexpost.cli.run import inputs_of, ordinary_beside, show, workers_of
    from hexpost.convert import report_of
    from hexpost.moves.model import Switches

    one = "as-programmed" if feed == "both" else feed
    switches = Switches(stops=stops, skip=skip, at_most=at_most, calm=calm_lowest)
    with ordinary_beside(compare_with) as other:
        job = inputs_of(Path(program), files, one, period_ms, switches, yaw=yaw, most_rows=most_rows)
    with watched("setpoints", job.timing.ticks + 1) as progress:
        report = report_of(job, progress.step, workers_of(job, jobs), other=other(), prove=True)
        if feed == "both":
            from hexpost.refeed.compare import compared

            trials = count(1)
            what = "of one share for all feeds, setpoints"
            report = compared(job, report, lambda total: progress.follow(f"trial {next(trials)} {what}", total).step)
    show(report, as_json=as_json, full=full)
