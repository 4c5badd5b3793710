"""``hexpost machine``: look at machine files."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hexpost.cli import Command
from hexpost.cli.documents import tell
from hexpost.cli.options import JSON, LITTLE, WORKERS, NumberWithin, shared
from hexpost.cli.outputs import OVERWRITE, FolderPath, OutFile, OutFolder, lines_of, write_all
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say

if TYPE_CHECKING:
    from hexpost.audit.model import Unseen
    from hexpost.machine.model import Machine

NO_TIMES = "no [times]: tool change and spindle start are not counted beside the motion"
REACH = {"reach.csv": "table of reach", "reach.html": "page of reach"}
"""What a survey writes."""


@click.group("machine")
def command() -> None:
    """Look at machine files."""


@command.command("check", cls=Command)
@click.argument("file", type=click.Path())
@shared(LITTLE)
def check(file: str) -> None:
    """Check a machine FILE: every fault of it, or a summary to compare with the drawing.

    A machine that breaks its own limits at the reference pose is refused, and so are poses that it cannot reach.
    It ends within a minute on every machine: poses with the same six lengths are sought from at most 30,000 starts.
    """
    from hexpost.machine.load import load_machine
    from hexpost.reach.standing import refuse_what_cannot_stand
    from hexpost.reach.summary import summary

    machine = load_machine(Path(file))
    refuse_what_cannot_stand(machine)
    say(f"{machine.name}, revision {machine.revision}: no fault found")
    say("\n".join(summary(machine)))
    for x in unseen_with(machine):
        say(f"not looked at: {x.limit}{f' ({x.part})' * bool(x.part)} needs {x.missing}")
    say(f"next: hexpost survey PROGRAMS --machine {click.format_filename(file)} --propose drafts")


def unseen_with(machine: "Machine") -> "tuple[Unseen, ...]":
    """Return the limits that no job on a machine is checked for, and the keys that are missing."""
    from hexpost.audit.audit import Audit
    from hexpost.audit.model import LIMITS, Of
    from hexpost.machine.load import no_setup, no_tools
    from hexpost.pipeline import parse, understand

    bare = understand(parse(b"M30\n", ""), machine, no_tools(), no_setup())
    of_programs = {row.name for row in LIMITS if row.of is Of.PROGRAM}
    audit = Audit(machine, bare.tools, bare.meaning, bare.program)
    return tuple(x for x in audit.unseen if x.limit not in of_programs)


@command.command("show", cls=Command)
@click.argument("file", type=click.Path(), required=False)
@click.option("--toml", is_flag=True, help="Print the machine file itself, ready to be copied and edited.")
@click.option(
    "--svg",
    type=OutFile("picture of a machine"),
    help="Write a picture to this file: base, platform, struts, reach, and drawings with dimensions.",
)
def show(file: str | None, *, toml: bool, svg: str | None) -> None:
    """Show a machine FILE, or the built-in demonstration machine."""
    from hexpost.machine.load import demonstration_machine, load_machine

    machine = load_machine(Path(file)) if file else demonstration_machine()
    if svg:
        from hexpost.reach.picture import picture

        click.echo(lines_of(write_all((svg, lambda: picture(machine).encode()))), nl=False)
        return
    if toml:
        click.echo(machine.source, nl=False)
        return
    say(f"{machine.name}, revision {machine.revision}, period {machine.period * 1e3:g} ms")
    for k, strut in enumerate(machine.struts, 1):
        low, high = strut.stroke
        rates = f"{strut.speed:g} mm/s, {strut.acceleration:g} mm/s2, {strut.jerk:g} mm/s3"
        slower = "" if strut.deceleration is None else f", slowing down {strut.deceleration:g} mm/s2"
        say(f"strut {k}: {low:g} to {high:g} mm, {rates}{slower}")
    known = {name: x for name, x in asdict(machine.times).items() if x is not None}
    say("".join(f"{name.replace('_', ' ')}: {x:g} s\n" for name, x in known.items()).rstrip() or NO_TIMES)


@command.command("reach", cls=Command)
@click.argument("file", type=click.Path(), required=False)
@click.option("--out", type=OutFolder(REACH), required=True, help="Folder for reach.csv and reach.html.")
@click.option("--step-mm", type=NumberWithin(1.0, 1000.0), default=60.0, show_default=True, help="Step of the grid.")
@click.option("--job", type=FolderPath(), metavar="DIR", help="Job folder: draw where its gauge point goes.")
@shared(OVERWRITE, WORKERS, LITTLE)
def reach(
    file: str | None, out: str, step_mm: float, *, job: str | None, jobs: int | None, serial: bool,
    cluster: str | None, memory_mb: int | None,
) -> None:  # fmt: skip
    """Map what a machine FILE (or the demonstration machine) reaches, and how well: a table and a page of maps."""
    from hexpost.cli.workers import engine_of
    from hexpost.machine.load import demonstration_machine, load_machine
    from hexpost.reach.job_room import room_of
    from hexpost.reach.maps import page
    from hexpost.reach.places import all_places, layer_count
    from hexpost.reach.table import table
    from hexpost.remake import job_in
    from hexpost.tables.whole import writing

    machine = load_machine(Path(file)) if file else demonstration_machine()
    room = room_of(job_in(Path(job)), Path(job).name) if job else None
    folder = Path(out)
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    run = engine_of(loads="hexpost.reach.places", jobs=jobs, alone=serial, address=cluster, memory_mb=memory_mb)
    count = layer_count(machine, step_mm)
    with run as engine, watched("layers", count) as progress:
        found = all_places(machine, step_mm, engine, progress.step)
    contents = (lambda: table(found).encode(), lambda: page(machine, found, step_mm, room).encode())
    written = write_all(*zip((str(folder / name) for name in REACH), contents, strict=True))
    say(f"{int(found.reachable.sum()):,} of {found.reachable.size:,} places are within reach\n{lines_of(written)}")


@command.command("circle", cls=Command)
@click.argument("file", type=click.Path(), required=False)
@click.option("--radius-mm", type=NumberWithin(0.1, 2000.0), default=150.0, show_default=True, help="Radius.")
@click.option("--feed-mm-min", type=NumberWithin(1.0, 2e5), default=1000.0, show_default=True, help="Of the tip.")
@click.option("--plane", type=click.Choice(["XY", "YZ", "ZX"]), default="XY", show_default=True, help="Of the pallet.")
@click.option(
    "--tilt-deg",
    type=NumberWithin(-180.0, 180.0),
    nargs=3,
    default=(0, 0, 0),
    metavar="A B C",
    help="Attitude of the tool.",
)
@click.option(
    "--centre-mm",
    type=NumberWithin(-1e5, 1e5),
    nargs=3,
    metavar="X Y Z",
    help="From the pallet (default: reference pose).",
)
@click.option("--tool-mm", type=NumberWithin(0.0, 2000.0), default=0.0, show_default=True, help="Its length.")
@click.option("--as-built", type=click.Path(), metavar="BUILT", help="The machine as calibrate found it: geometry.")
@click.option("--measured", type=click.Path(), metavar="TRACE", help="CSV of angle_deg, radius_mm and way (ccw, cw).")
@click.option("--svg", type=OutFile("picture of a machine"), help="Write a picture of the traces to this file.")
@shared(OVERWRITE, JSON)
def circle(
    file: str | None, *, radius_mm: float, feed_mm_min: float, plane: str, tilt_deg: tuple[float, float, float],
    centre_mm: tuple[float, float, float] | None, tool_mm: float, as_built: str | None, measured: str | None,
    svg: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Forecast what a telescoping bar would trace on a circle, both ways, split by cause; judge a measured trace.

    Causes: geometry (--as-built), sag by gravity and acceleration (stiffness_n_um), servo ([strut.servo]), backlash
    (backlash_mm), quantisation (counts_per_turn). Circular errors and the mean bidirectional radial error are those of
    ISO 230-4, here from memory. Friction and the bar itself are left out.
    """
    import numpy as np

    from hexpost.machine.load import demonstration_machine, load_machine
    from hexpost.reach.circle import CircleTest, forecast
    from hexpost.reach.circle_report import MeasuredTrace, circle_document, circle_text, drawing, figures, judged
    from hexpost.setup.traces import read_trace
    from hexpost.units import SECONDS_PER_MINUTE

    machine = load_machine(Path(file)) if file else demonstration_machine()
    test = CircleTest(
        radius=radius_mm, feed=feed_mm_min / SECONDS_PER_MINUTE, plane=plane, tilt=np.radians(tilt_deg), tool=tool_mm,
        centre=None if centre_mm is None else np.array(centre_mm),
    )  # fmt: skip
    trace = read_trace(Path(measured), radius_mm) if measured else None
    seen = None if trace is None else MeasuredTrace(angle=trace[0], off=trace[1], way=trace[2])
    found = forecast(machine, test, load_machine(Path(as_built)) if as_built else None)
    compared = None if seen is None else judged(found, seen)
    rows = figures(found)
    written = write_all((svg, lambda: drawing(found, seen).encode())) if svg else ()
    if as_json:
        tell(circle_document(found, rows, compared))
        return
    say("\n".join([*circle_text(found, rows, compared), lines_of(written).rstrip()]).rstrip())
