"""What ``convert`` and ``audit`` share: files in, progress, summary out, exit code."""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from math import isfinite
from pathlib import Path

import click

from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN
from hexpost.cli.progress import waited
from hexpost.cli.terminal import colours, columns, columns_of, note, say
from hexpost.errors import HexpostError, InputError
from hexpost.machine.ordinary import OrdinaryMachine, load_ordinary
from hexpost.moves.model import Switches
from hexpost.pipeline import MOST_ROWS, Files, Job, load, schedule, spared
from hexpost.proving import AS_PROGRAMMED, Proving
from hexpost.report.document import to_json
from hexpost.report.model import Report
from hexpost.report.terminal import summary
from hexpost.report.text import WIDTH, text
from hexpost.report.verdict import verdict
from hexpost.workers.engines import cores

LONG_JOB = 200_000
"""Samples from which more than one process is worth its start."""

MOST_WORKERS = 8
"""Beyond so many, more processes only wait: what is done in order is then the slowest."""


def workers_of(job: Job, jobs: int | None) -> int:
    """Return on how many processes a job is worked out: as asked for, or what is fastest; 1 is this one alone.

    Starting processes takes some 5 ms each; the samples of ``LONG_JOB`` take 0.3 s and more.
    """
    return jobs or (_most_workers() if job.timing.ticks >= LONG_JOB else 1)


def _most_workers() -> int:
    return min(cores(), MOST_WORKERS)


def inputs_of(
    program: Path,
    files: Mapping[str, str | None],
    feed: str,
    period_ms: float | None,
    switches: Switches,
    *,
    yaw: str = "fixed",
    proving: Proving = AS_PROGRAMMED,
    most_rows: int | None = None,
    jobs: int | None = None,
) -> Job:
    """Return the scheduled job of a command line; what was done about its yaw is said on standard error."""
    given = replace(files_of(program, files), switches=switches, proving=proving, most_rows=most_rows or MOST_ROWS)
    period = None if period_ms is None else period_of(period_ms)
    with waited("reading and planning"):
        if yaw == "fixed":
            return schedule(spared(load(given, period)), feed, jobs or _most_workers())
        job = schedule(load(given, period), feed, jobs or _most_workers())
    if proving != AS_PROGRAMMED:
        raise HexpostError("--yaw does not go with an override, a lift or single block: prove out with --yaw fixed")
    from hexpost.setup.yaw import free_yaw

    with waited("searching the yaw"):
        chosen = free_yaw(job, yaw, switches)
    note(chosen.text)
    return chosen.job


@contextmanager
def ordinary_beside(
    file: str | None, proving: Proving = AS_PROGRAMMED
) -> Iterator[Callable[[], OrdinaryMachine | None]]:
    """Read an ordinary machine beside the other files of a job: the faults of all come in one run.

    Yields what returns it, ``None`` where no file is given.
    """
    if file is not None and proving != AS_PROGRAMMED:
        raise HexpostError("--compare-with does not go with a job for proving out: compare the one that cuts")
    found, wrong = None, InputError([])
    try:
        found = None if file is None else load_ordinary(file)
    except InputError as error:
        wrong = error
    try:
        yield lambda: found
    except InputError as error:
        raise InputError([*wrong.faults, *error.faults], wrong.total + error.total) from None
    if wrong.faults:
        raise wrong


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


def show(report: Report, *, as_json: bool, full: bool = False, folder: Path | None = None) -> None:
    """Print the report in the form asked for and exit with its code."""
    wrong = "" if report.clean else verdict(report)
    if as_json:
        click.echo(to_json(report), nl=False)
    elif full:
        say(text(report, columns_of(sys.stdout) or WIDTH), quiet=wrong)
    else:
        written = folder is not None
        shown = summary(
            report,
            columns(),
            colour=colours(sys.stdout),
            more="see the report" if written else "--full shows them, with what to do",
            place="in the report" if written else "with --full",
        )
        last = "" if folder is None else f"\nwritten: {click.format_filename(folder)} (start with report.html)\n"
        say(shown + last, quiet=wrong)
    click.get_current_context().exit(EXIT_CLEAN if report.clean else EXIT_BROKEN)
