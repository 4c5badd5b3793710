"""``hexpost explain``: block by block, what was understood."""

import re
from pathlib import Path

import click

from hexpost.cli import Command
from hexpost.cli.documents import tell
from hexpost.cli.options import INPUTS, SWITCHES, UNITS, shared
from hexpost.cli.progress import waited
from hexpost.cli.terminal import say

EVERY = (1, 2**31 - 1)


def span(_: click.Context, __: click.Parameter, value: str | None) -> tuple[int, int]:
    """Return the first and the last line that ``A:B`` names; either may be left out, and ``A`` alone is one line."""
    if value is None:
        return EVERY
    found = re.fullmatch(r"([0-9]{1,9})?(:)?([0-9]{1,9})?", value.strip())
    if found is None or not (found[1] or found[3]):
        raise click.BadParameter(f"{value!r} is no range of lines; write A:B, for example 10:20")
    first = int(found[1] or 1)
    last = int(found[3]) if found[3] else EVERY[1] if found[2] else first
    if not 1 <= first <= last:
        raise click.BadParameter(f"{value!r}: lines count from 1, and the first must not be after the last")
    return first, last


@click.command("explain", cls=Command)
@click.argument("program", type=click.Path())
@shared(INPUTS, UNITS, SWITCHES)
@click.option("--lines", callback=span, metavar="A:B", help="Only lines A to B of the file (default: all).")
@click.option("--json", "as_json", is_flag=True, help="One JSON document a block, each on a line of its own.")
def command(
    program: str, *, lines: tuple[int, int], stops: bool, skip: bool, as_json: bool, **files: str | None
) -> None:
    """Show PROGRAM block by block as it was understood: what is in force, where the tool tip is, how fast it moves.

    Blocks come in the order in which they run, those of a subprogram each time it is called. What is in force is said
    in full at the first one and then where it changes. Places are those of the tool tip in the work frame in force;
    moves in machine coordinates are those of the spindle gauge point. Under G41 and G42 a second line says where the
    centre of the tool goes. With [programmed_axes] a move is shown as the program writes it, and then as it is here.
    Exit code 0, or 2 when the program or another file is not understood.
    """
    from dataclasses import replace

    from hexpost.cli.run import files_of
    from hexpost.errors import HexpostError
    from hexpost.explain.blocks import documents
    from hexpost.explain.text import text
    from hexpost.moves.model import Switches
    from hexpost.moves.trace import tool_centre, trace
    from hexpost.pipeline import load

    switches = Switches(stops=stops, skip=skip)
    with waited("reading"):
        job = load(replace(files_of(Path(program), files), switches=switches))
    parts = trace(job.program, job.machine, job.tools, job.setup, lines, switches=switches)
    centre = tool_centre(job.program, job.machine, job.tools, job.setup, switches)
    blocks = documents(job.program, parts, centre)
    told = False
    for block in blocks if as_json else ():
        tell(block, indent=None)
        told = True
    for line in () if as_json else text(blocks):
        say(line)
        told = True
    if not told:
        raise HexpostError(f"{program}: no blocks in these lines; the program has {job.program.lines} lines")
