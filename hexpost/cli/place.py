"""``hexpost place``: where on the pallet a job runs best."""

from dataclasses import replace
from pathlib import Path

import click

from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN, Command
from hexpost.cli.documents import tell
from hexpost.cli.options import INPUTS, JSON, SWITCHES, UNITS, WORKERS, NumberWithin, shared
from hexpost.cli.outputs import OVERWRITE, OutFile, lines_of, write_all
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say

RANGE = "LOW HIGH"


@click.command("place", cls=Command)
@click.argument("program", type=click.Path())
@shared(INPUTS, UNITS)
@click.option(
    "--feed",
    type=click.Choice(["as-programmed", "strut-limited"]),
    default="as-programmed",
    show_default=True,
    help="Schedule the job is judged with.",
)
@click.option(
    "-o", "--output", type=OutFile("setup file"), metavar="SETUP", help="Setup file to write with the best placement."
)
@click.option(
    "--map", "map_file", type=OutFile("map of places"), metavar="CSV", help="Write the map of the sweep, too."
)
@click.option(
    "--x-mm",
    type=(float, float),
    metavar=RANGE,
    help="Range of X of the first work offset on the pallet (default: the pallet).",
)
@click.option("--y-mm", type=(float, float), metavar=RANGE, help="Range of Y (default: the pallet).")
@click.option("--z-mm", type=(float, float), metavar=RANGE, help="Range of Z (default: as it is).")
@click.option(
    "--turn-deg",
    type=(float, float),
    metavar=RANGE,
    default=(-90.0, 90.0),
    show_default=True,
    help="Range of the turn from now.",
)
@click.option("--step-mm", type=NumberWithin(min=0.1), default=100.0, show_default=True, help="Step of the sweep.")
@click.option("--step-deg", type=NumberWithin(min=0.1), default=45.0, show_default=True, help="... of the turn.")
@click.option(
    "--objective",
    type=click.Choice(["margin", "time", "nearest"]),
    default="margin",
    show_default=True,
    help="What is sought; nearest: the least change that breaks no limit.",
)
@click.option("--overhang", is_flag=True, help="Cuts may leave the pallet.")
@shared(OVERWRITE, SWITCHES, WORKERS, JSON)
def command(
    program: str,
    *,
    feed: str,
    output: str | None,
    map_file: str | None,
    x_mm: tuple[float, float] | None,
    y_mm: tuple[float, float] | None,
    z_mm: tuple[float, float] | None,
    turn_deg: tuple[float, float],
    step_mm: float,
    step_deg: float,
    objective: str,
    overhang: bool,
    stops: bool,
    skip: bool,
    jobs: int | None,
    serial: bool,
    cluster: str | None,
    memory_mb: int | None,
    as_json: bool,
    **files: str | None,
) -> None:
    """Search where on the pallet, and turned how, PROGRAM breaks no limit and has the most margin or takes least time.

    All work offsets that the program uses move as one body; a sweep over the ranges, then refined. Exit code 0: the
    best placement breaks no limit; 1: it does, too.
    """
    from hexpost.cli.run import files_of
    from hexpost.cli.workers import engine_of
    from hexpost.moves.model import Switches
    from hexpost.setup.place import Search, place
    from hexpost.setup.placement_report import document, map_csv, setup_file, text
    from hexpost.units import RAD_PER_DEG

    for name, limits in (("--x-mm", x_mm), ("--y-mm", y_mm), ("--z-mm", z_mm), ("--turn-deg", turn_deg)):
        if limits is not None and not -1e5 <= limits[0] <= limits[1] <= 1e5:
            what = f"{limits[0]:g} {limits[1]:g}: write LOW, then HIGH, each from -100000 to 100000"
            raise click.BadParameter(what, param_hint=name)
    search = Search(
        x=x_mm, y=y_mm, z=z_mm, turn=(turn_deg[0] * RAD_PER_DEG, turn_deg[1] * RAD_PER_DEG), step=step_mm,
        step_turn=step_deg * RAD_PER_DEG, objective=objective, overhang=overhang,
    )  # fmt: skip
    given = replace(files_of(Path(program), files), switches=Switches(stops=stops, skip=skip))
    run = engine_of(loads="hexpost.setup.trial", jobs=jobs, alone=serial, address=cluster, memory_mb=memory_mb)
    with run as engine, watched("runs") as progress:
        found = place(given, feed, search, engine, total=progress.expect, tick=progress.step)
    written = write_all((output, lambda: setup_file(found).encode()), (map_file, lambda: map_csv(found).encode()))
    if as_json:
        tell({**document(found), "written": output if output in written else None})
    else:
        wrong = "" if found.best.clean else "the best placement breaks a limit, too"
        say(text(found) + lines_of(written), quiet=wrong)
    click.get_current_context().exit(EXIT_CLEAN if found.best.clean else EXIT_BROKEN)
