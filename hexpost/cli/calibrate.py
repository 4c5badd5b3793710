"""``hexpost calibrate``: as-built geometry from measured poses."""

from pathlib import Path

import click

from hexpost.cli import Command
from hexpost.cli.documents import tell
from hexpost.cli.options import JSON, NumberWithin, shared
from hexpost.cli.outputs import OVERWRITE, OutFile, lines_of, write_all
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say


@click.command("calibrate", cls=Command)
@click.argument("poses", type=click.Path(), required=False)
@click.option("--machine", type=click.Path(), metavar="NOMINAL", help="Nominal machine file (default: demonstration).")
@click.option(
    "-o",
    "--output",
    type=OutFile("machine file", "list of poses"),
    required=True,
    metavar="FILE",
    help="Machine file (or plan) to write.",
)
@click.option(
    "--plan", type=click.IntRange(7, 500), metavar="N", help="Propose the N poses in reach that are worth most."
)
@click.option(
    "--estimate",
    type=click.Choice(["nothing", "measuring", "target", "both"]),
    default="nothing",
    show_default=True,
    help="Frames of the measurement that are not known and are estimated, too.",
)
@click.option(
    "--sigma-mm",
    type=NumberWithin(min=0.0, min_open=True),
    default=0.01,
    show_default=True,
    help="Standard uncertainty of a measured coordinate or distance.",
)
@click.option(
    "--sigma-deg",
    type=NumberWithin(min=0.0, min_open=True),
    default=0.001,
    show_default=True,
    help="Standard uncertainty of a measured angle.",
)
@click.option(
    "--most-mm",
    type=NumberWithin(min=0.0, min_open=True),
    default=5.0,
    show_default=True,
    help="A joint, or a length, farther from the nominal machine cannot be meant.",
)
@shared(OVERWRITE, JSON)
def command(
    poses: str | None,
    *,
    machine: str | None,
    output: str,
    plan: int | None,
    estimate: str,
    sigma_mm: float,
    sigma_deg: float,
    most_mm: float,
    as_json: bool,
) -> None:
    """Find the as-built geometry of a machine from measured POSES (CSV) and write it as a new machine file.

    Columns: length_1_mm ... length_6_mm as commanded, and x_mm, y_mm, z_mm with or without a_deg, b_deg, c_deg of the
    platform in the base frame; or distance_mm from fixed_x_mm ... to target_x_mm ... of the platform. Optional:
    target_x_mm ... of positions, sigma_mm, sigma_deg, name. With --plan no POSES are needed.
    """
    from hexpost.machine.load import demonstration_machine, load_machine, machine_from
    from hexpost.reach.standing import refuse_what_cannot_stand
    from hexpost.setup.calibrate import FITS, calibrate
    from hexpost.setup.calibration_report import document, machine_text, plan_csv, text
    from hexpost.setup.choose_poses import TURNS, choose_poses
    from hexpost.setup.identify import Frames
    from hexpost.setup.measured import Noise
    from hexpost.units import RAD_PER_DEG

    built = load_machine(Path(machine)) if machine else demonstration_machine()
    noise = Noise(place=sigma_mm, turn=sigma_deg * RAD_PER_DEG)
    if (plan is None) == (poses is None):
        raise click.UsageError("give either POSES or --plan N")
    if plan is not None:
        with watched("choices", plan * TURNS) as progress:
            chosen = choose_poses(built, plan, noise, progress.step)
        written = write_all((output, lambda: plan_csv(chosen).encode()))
        said: dict[str, object] = {"poses": plan, "condition": chosen.condition, "usual_condition": chosen.usual}
        shown = f"{plan} poses: condition number {chosen.condition:.3g}, {chosen.usual:.3g} for poses spread evenly\n"
    else:
        free = Frames(measuring=estimate in ("measuring", "both"), target=estimate in ("target", "both"))
        with watched("fits", FITS) as progress:
            found = calibrate(Path(poses or ""), built, free, noise, most_mm, tick=progress.step)
        new = machine_text(found)
        refuse_what_cannot_stand(machine_from(new.encode(), f"the machine found (of {built.file})"))
        written = write_all((output, new.encode))
        said, shown = document(found), text(found)
    if as_json:
        tell({**said, "written": output if written else None})
    else:
        say(shown + lines_of(written))
