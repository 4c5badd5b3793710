"""``hexpost refeed``: the same program with feeds that the struts can hold."""

from pathlib import Path

import click

from hexpost.cli import Command
from hexpost.cli.options import INPUTS, JSON, UNITS, shared
from hexpost.cli.outputs import OVERWRITE, OutFile


@click.command("refeed", cls=Command)
@click.argument("program", type=click.Path())
@click.option("-o", "--output", type=OutFile("part program"), required=True, metavar="NEW", help="Program to write.")
@click.option("--split", is_flag=True, help="Cut long straight blocks where parts with feeds of their own save time.")
@shared(OVERWRITE, INPUTS, UNITS, JSON)
def command(program: str, *, output: str, split: bool, as_json: bool, **files: str | None) -> None:
    """Write PROGRAM anew with feeds lowered to what the struts allow; all else stays byte for byte.

    A head comment says from what, and for which machine. Where no feed has to be lowered, NEW is a copy of PROGRAM.
    Exit code 0: as programmed, the new program breaks no limit; 1: something is left that a lower feed does not
    fix; 2: cannot go on.
    """
    from hexpost.cli.refeed_run import run

    click.get_current_context().exit(run(Path(program), Path(output), files, split=split, as_json=as_json))
