"""``hexpost align``: the work frame from probed points."""

from pathlib import Path

import click

from hexpost.cli import Command
from hexpost.cli.documents import tell
from hexpost.cli.options import JSON, NumberWithin, shared
from hexpost.cli.outputs import OVERWRITE, OutFile, lines_of, write_all
from hexpost.cli.terminal import say


@click.command("align", cls=Command)
@click.argument("points", type=click.Path())
@click.option("-o", "--output", type=OutFile("setup file"), required=True, metavar="SETUP", help="Setup file to write.")
@click.option(
    "--offset",
    type=click.Choice(["G54", "G55", "G56", "G57", "G58", "G59"]),
    default="G54",
    show_default=True,
    help="Work offset that takes the frame.",
)
@click.option("--setup", type=click.Path(), metavar="FILE", help="Setup file whose other offsets are kept.")
@click.option("--machine", type=click.Path(), metavar="FILE", help="Machine file: the order in which A, B, C turn.")
@click.option(
    "--tolerance-mm",
    type=NumberWithin(min=0.0, min_open=True),
    default=0.1,
    show_default=True,
    help="Largest residual of a point that is accepted.",
)
@click.option(
    "--noise-mm",
    type=NumberWithin(min=0.0, min_open=True),
    help="Standard deviation of a probed coordinate (default: from the residuals).",
)
@click.option(
    "--ball-mm",
    type=NumberWithin(min=0.0),
    default=0.0,
    help="Diameter of the probe ball, when its centre was recorded.",
)
@shared(OVERWRITE, JSON)
def command(
    points: str,
    *,
    output: str,
    offset: str,
    setup: str | None,
    machine: str | None,
    tolerance_mm: float,
    noise_mm: float | None,
    ball_mm: float,
    as_json: bool,
) -> None:
    """Find the work frame from probed POINTS (CSV) and write it as a setup file.

    Columns nominal_x_mm ... (work frame) and probed_x_mm ... (pallet frame), optional name, weight and normal_x ...;
    or datum (primary, secondary, tertiary), optional shape and at_mm, and probed_x_mm .... Points that leave a freedom
    open or do not fit are refused, and a wrong one is named.
    """
    from hexpost.machine.load import demonstration_machine, load_machine, load_setup, no_setup
    from hexpost.setup.align import align
    from hexpost.setup.points import Probing

    built = load_machine(Path(machine)) if machine else demonstration_machine()
    kept = load_setup(Path(setup)) if setup else no_setup()
    probing = Probing(tolerance=tolerance_mm, noise=noise_mm, ball=ball_mm)
    found = align(Path(points), offset, probing, built)
    written = write_all((output, lambda: found.setup_file(kept).encode()))
    if as_json:
        tell({**found.document(), "written": output if written else None})
    else:
        say(found.text() + lines_of(written))
