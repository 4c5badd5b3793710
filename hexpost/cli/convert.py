"""``hexpost convert``: program to job folder."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hexpost.cli import Command
from hexpost.cli.options import CORES, JSON, PROVING, NumberWithin, refuse_effort, scheduled, shared
from hexpost.cli.outputs import OutFolder, job_folder
from hexpost.cli.progress import watched
from hexpost.cli.terminal import note

if TYPE_CHECKING:
    from hexpost.machine.feed_caps import FeedCap
    from hexpost.pipeline import Job


WITHIN_UM = 0.1
"""How near cubics between knots stay to the rows, unless it is said."""


@click.command("convert", cls=Command)
@click.argument("program", type=click.Path())
@shared(scheduled("as-programmed", "strut-limited", proving=PROVING))
@click.option("--out", type=OutFolder(), metavar="DIR", help="Job folder (default: PROGRAM's name and -job, here).")
@click.option("--overwrite", is_flag=True, help="Replace the job that the folder holds.")
@click.option(
    "--table",
    type=click.Choice(["csv", "npy", "parquet"]),
    default="csv",
    show_default=True,
    help="Format of the setpoint table.",
)
@click.option(
    "--columns",
    metavar="NAMES",
    default="",
    help="Columns or groups of the table, with commas (default: time, length, speed, acceleration, line; command, too, "
    "where drives follow more than lengths).",
)
@click.option("--rows-per-file", type=click.IntRange(1), metavar="N", help="Cut the table into files (default: one).")
@click.option(
    "--stride", type=click.IntRange(2), metavar="N", help="Add a CSV table of every N-th row, to read by eye."
)
@click.option("--knots", is_flag=True, help="Add knots.csv: a few rows whose cubics stay beside all of them.")
@click.option("--within-um", type=NumberWithin(0.01, 1000.0), metavar="UM", help="How near they stay (default: 0.1).")
@click.option(
    "--proof/--no-proof", default=True, help="Prove the table (default), or name it not proven: never to be run."
)
@shared(CORES, JSON)
def command(
    program: str,
    *,
    feed: str,
    period_ms: float | None,
    yaw: str,
    stops: bool,
    skip: bool,
    override: float,
    lift: float,
    single_block: bool,
    from_line: str,
    at_most: "tuple[FeedCap, ...]",
    calm_lowest: bool,
    effort: bool,
    compare_with: str | None,
    most_rows: int | None,
    out: str | None,
    overwrite: bool,
    table: str,
    columns: str,
    rows_per_file: int | None,
    stride: int | None,
    knots: bool,
    within_um: float | None,
    proof: bool,
    jobs: int | None,
    as_json: bool,
    **files: str | None,
) -> None:
    """Convert PROGRAM into a job folder: setpoint table, events, reports, copies of the inputs, manifest.

    The table is proven to be what the program asks for before it gets its name; a job that is not is not written.
    One that breaks a limit is written as not runnable. With --overwrite the new job is built beside the old one and
    exchanged with it: whatever stops the run, a whole job is under the name, or beside it, where the next run puts it
    back. Only jobs of hexpost are replaced, and none with a file that was added or changed since.

    Exit code 0: no limit broken; 1: at least one; 2: the program or another file is not understood, the table is not
    proven, or the folder cannot be written.
    """
    from hexpost.cli.run import inputs_of, ordinary_beside, show, workers_of
    from hexpost.convert import Output, convert
    from hexpost.moves.model import Switches
    from hexpost.proving import Proving

    proving = Proving(override=override, lift=lift, single_block=single_block, from_line=from_line)
    refuse_effort(feed, effort=effort)
    with ordinary_beside(compare_with, proving) as other:
        switches = Switches(stops=stops, skip=skip, at_most=at_most, calm=calm_lowest, effort=effort)
        given = Path(program), files, feed, period_ms, switches
        job = inputs_of(*given, yaw=yaw, proving=proving, most_rows=most_rows, jobs=jobs)
    chosen = tuple(name for name in columns.split(",") if name.strip())
    output = Output(
        folder=job_folder(program, out), overwrite=overwrite, table=table, columns=chosen, proof=proof,
        rows_per_file=rows_per_file or 0, stride=stride or 0, knots_within=_within(within_um, knots=knots),
    )  # fmt: skip
    _note_columns(chosen, job)
    with watched("setpoints", job.timing.ticks + 1) as progress:
        report = convert(job, output, progress.step, workers_of(job, jobs), other=other())
    show(report, as_json=as_json, folder=output.folder)


def _note_columns(names: tuple[str, ...], job: "Job") -> None:
    """Say what should be known of the columns that were asked for."""
    from hexpost.tables.columns import choose, notices

    for notice in notices(choose(names, job.gearing), geared=job.gearing is not None):
        note(notice)


def _within(within_um: float | None, *, knots: bool) -> float | None:
    """Return how near the cubics between knots stay to the rows, mm; ``None`` without knots."""
    if within_um is not None and not knots:
        raise click.UsageError("--within-um belongs to --knots; add it, or leave this out")
    return (within_um or WITHIN_UM) * 1e-3 if knots else None
