"""``hexpost refeed``: the same program with feeds that the struts can hold."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hexpost.cli import Command
from hexpost.cli.options import AT_MOST, INPUTS, JSON, UNITS, shared
from hexpost.cli.outputs import OVERWRITE, OutFile

if TYPE_CHECKING:
    from hexpost.machine.feed_caps import FeedCap


@click.command("refeed", cls=Command)
@click.argument("program", type=click.Path())
@click.option("-o", "--output", type=OutFile("part program"), required=True, metavar="NEW", help="Program to write.")
@click.option("--split", is_flag=True, help="Cut long straight blocks where parts with feeds of their own save time.")
@click.option("--constant-feed", is_flag=True, help="Blocks of an operation with the same F keep the same one.")
@shared(AT_MOST, OVERWRITE, INPUTS, UNITS, JSON)
def command(
    program: str,
    *,
    output: str,
    split: bool,
    constant_feed: bool,
    at_most: "tuple[FeedCap, ...]",
    as_json: bool,
    **files: str | None,
) -> None:
    """Write PROGRAM anew with feeds lowered to what the struts allow; all else stays byte for byte.

    A head comment says from what, and for which machine. Where no feed has to be lowered, NEW is a copy of PROGRAM.
    Exit code 0: as programmed, the new program breaks no limit; 1: something is left that a lower feed does not
    fix; 2: cannot go on.
    """
    from hexpost.cli.refeed_run import run

    options = {"split": split, "constant_feed": constant_feed, "as_json": as_json}
    click.get_current_context().exit(run(Path(program), Path(output), files, at_most=at_most, **options))
