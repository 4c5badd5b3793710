"""``hexpost audit``: the report alone."""

from pathlib import Path

import click

from hexpost.cli import Command
from hexpost.cli.options import INPUTS, JSON, MOTION, shared


@click.command("audit", cls=Command)
@click.argument("program", type=click.Path())
@shared(INPUTS, MOTION, JSON)
def command(program: str, feed: str, period_ms: float | None, as_json: bool, **files: str | None) -> None:  # noqa: FBT001 - an option of the command line
    """Report which blocks of PROGRAM break which limit of which strut, and what would mend it.

    Nothing is written. Exit code 0: no limit broken; 1: at least one; 2: the program or another file is not understood.
    """
    from hexpost.cli.run import audit

    click.get_current_context().exit(audit(Path(program), files, feed, period_ms, as_json=as_json))
