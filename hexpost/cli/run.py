"""What ``convert`` and ``audit`` share: files in, progress, summary out, exit code."""

import os
import shutil
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from math import isfinite
from pathlib import Path

import click

from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN
from hexpost.errors import HexpostError
from hexpost.moves.model import Switches
from hexpost.pipeline import MOST_ROWS, Files, Job, Progress, load, schedule, spared
from hexpost.proving import AS_PROGRAMMED, Proving
from hexpost.report.document import to_json
from hexpost.report.model import Report
from hexpost.report.terminal import summary, wants_colour
from hexpost.report.text import text
from hexpost.workers.engines import cores

LONG_JOB = 200_000
"""Samples from which a progress bar is worth its place, and more than one process its start."""

MOST_WORKERS = 8
"""Beyond so many, more processes only wait: what is done in order is then the slowest."""


def workers_of(job: Job, jobs: int | None) -> int:
    """Return on how many processes a job is worked out: as asked for, or what is fastest; 1 is this one alone.

    Starting processes takes some 5 ms each; the samples of ``LONG_JOB`` take 0.3 s and more.
    """
    return jobs or (min(cores(), MOST_WORKERS) if job.timing.ticks >= LONG_JOB else 1)


def inputs_of(
    program: Path,
    files: Mapping[str, str | None],
    feed: str,
    period_ms: float | None,
    switches: Switches,
    *,
    yaw: str = "fixed",
    proving: Proving = AS_PROGRAMMED,
    most_rows: int = MOST_ROWS,
) -> Job:
    """Return the scheduled job of a command line; what was done about its yaw is said on standard error."""
    given = replace(files_of(program, files), switches=switches, proving=proving, most_rows=most_rows)
    period = None if period_ms is None else period_of(period_ms)
    if yaw == "fixed":
        return schedule(spared(load(given, period)), feed)
    job = schedule(load(given, period), feed)
    if proving != AS_PROGRAMMED:
        raise HexpostError("--yaw does not go with an override, a lift or single block: prove out with --yaw fixed")
    from hexpost.setup.yaw import free_yaw

    chosen = free_yaw(job, yaw, switches)
    click.echo(chosen.text, err=True)
    return chosen.job


def files_of(program: Path, files: Mapping[str, str | None]) -> Files:
    """Return the files that a command line names, and the units that it asks for."""
    named = {name: None if files[name] is None else Path(str(files[name])) for name in ("machine", "tools", "setup")}
    return Files(
        program=program,
        machine=named["machine"],
        tools=named["tools"],
        setup=named["setup"],
        units=files.get("units"),
    )


def period_of(period_ms: float) -> float:
    """Return the control period in s; a period is a whole number of microseconds."""
    micros = round(period_ms * 1000) if isfinite(period_ms) else 0
    if not 1 <= micros <= 1_000_000 or abs(micros - period_ms * 1000) > 1e-6:
        what = f"{period_ms:g} is no period; write whole microseconds, from 0.001 to 1000 ms"
        raise click.BadParameter(what, param_hint="--period-ms")
    return micros / 1e6


@contextmanager
def watched(job: Job) -> Iterator[Progress | None]:
    """Show a progress bar on standard error while a long job runs, and only on a terminal."""
    total = job.timing.ticks + 1
    if total < LONG_JOB or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=total, label="setpoints", file=sys.stderr) as bar:
        yield bar.update


def show(report: Report, *, as_json: bool, full: bool = False, folder: Path | None = None) -> None:
    """Print the report in the form asked for and exit with its code."""
    if as_json:
        click.echo(to_json(report), nl=False)
    elif full:
        click.echo(text(report), nl=False)
    else:
        written = folder is not None
        colour = wants_colour(terminal=sys.stdout.isatty(), environment=os.environ)
        shown = summary(
            report,
            shutil.get_terminal_size().columns,
            colour=colour,
            more="see the report" if written else "--full shows them, with what to do",
            place="in the report" if written else "with --full",
        )
        click.echo(shown, nl=False, color=colour)
        if folder is not None:
            click.echo(f"\nwritten: {click.format_filename(folder)} (start with report.html)")
    click.get_current_context().exit(EXIT_CLEAN if report.clean else EXIT_BROKEN)
