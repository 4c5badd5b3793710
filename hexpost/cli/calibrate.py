"""``hexpost calibrate``: as-built geometry from measured poses."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hexpost.cli import Command
from hexpost.cli.documents import tell
from hexpost.cli.options import JSON, NumberWithin, shared
from hexpost.cli.outputs import OVERWRITE, OutFile, lines_of, write_all
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say

if TYPE_CHECKING:
    from hexpost.machine.model import Machine
    from hexpost.setup.identify import Frames
    from hexpost.setup.measured import Noise


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
@click.option("--stiffness", is_flag=True, help="Find the stiffness of the six struts, too.")
@click.option(
    "--load-kg",
    type=NumberWithin(min=0.0, min_open=True, max=1e5),
    metavar="M",
    help="With --plan --stiffness: poses with and without a weight on the platform.",
)
@click.option(
    "--load-at-mm",
    type=(float, float, float),
    default=(0.0, 0.0, 0.0),
    metavar="X Y Z",
    help="Where its centre of mass is, in the platform frame (default: the origin).",
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
    stiffness: bool,
    load_kg: float | None,
    load_at_mm: tuple[float, float, float],
    sigma_mm: float,
    sigma_deg: float,
    most_mm: float,
    as_json: bool,
) -> None:
    """Find the as-built geometry of a machine from measured POSES (CSV) and write it as a new machine file.

    Columns: length_1_mm ... length_6_mm as commanded, and x_mm, y_mm, z_mm with or without a_deg, b_deg, c_deg of the
    platform in the base frame; or distance_mm from fixed_x_mm ... to target_x_mm ... of the platform. Optional:
    target_x_mm ... of positions, sigma_mm, sigma_deg, name, and load_kg, load_x_mm ... of a weight on the platform.
    With --plan no POSES are needed.
    """
    from hexpost.machine.load import demonstration_machine, load_machine
    from hexpost.setup.identify import Frames
    from hexpost.setup.measured import Noise
    from hexpost.units import RAD_PER_DEG

    if (plan is None) == (poses is None):
        raise click.UsageError("give either POSES or --plan N")
    built = load_machine(Path(machine)) if machine else demonstration_machine()
    noise = Noise(place=sigma_mm, turn=sigma_deg * RAD_PER_DEG)
    load = None if load_kg is None else (load_kg, *load_at_mm)
    if plan is not None:
        said, shown, new = _planned(built, plan, noise, stiffness=stiffness, load=load)
    else:
        if load is not None:
            raise click.UsageError("--load-kg goes with --plan; measured poses have a column load_kg")
        free = Frames(
            measuring=estimate in ("measuring", "both"), target=estimate in ("target", "both"), stiffness=stiffness
        )
        said, shown, new = _found(built, Path(poses or ""), free, noise, most_mm)
    written = write_all((output, new.encode))
    if as_json:
        tell({**said, "written": output if written else None})
    else:
        say(shown + lines_of(written))


def _planned(
    machine: "Machine", count: int, noise: "Noise", *, stiffness: bool, load: tuple[float, ...] | None
) -> tuple[dict[str, object], str, str]:
    """Return what JSON and a terminal say of a plan, and its table."""
    import numpy as np

    from hexpost.setup.calibration_report import plan_csv
    from hexpost.setup.choose_poses import LEAST_ELASTIC, TURNS, choose_poses

    if load is not None and not stiffness:
        raise click.UsageError("--load-kg is of use with --stiffness alone: give both")
    if stiffness and count < LEAST_ELASTIC:
        raise click.UsageError(f"--stiffness needs 48 numbers: give --plan {LEAST_ELASTIC} or more")
    with watched("choices", count * TURNS) as progress:
        weight = None if load is None else np.array(load)
        chosen = choose_poses(machine, count, noise, progress.step, stiffness=stiffness, load=weight)
    said: dict[str, object] = {"poses": count, "condition": chosen.condition, "usual_condition": chosen.usual}
    shown = f"{count} poses: condition number {chosen.condition:.3g}, {chosen.usual:.3g} for poses spread evenly\n"
    return said, shown, plan_csv(chosen)


def _found(
    machine: "Machine", poses: Path, free: "Frames", noise: "Noise", most: float
) -> tuple[dict[str, object], str, str]:
    """Return what JSON and a terminal say of a calibration, and the machine file."""
    from hexpost.machine.load import machine_from
    from hexpost.reach.standing import refuse_what_cannot_stand
    from hexpost.setup.calibrate import FITS, calibrate
    from hexpost.setup.calibration_report import document, machine_text, text

    with watched("fits", FITS + free.stiffness) as progress:
        found = calibrate(poses, machine, free, noise, most, tick=progress.step)
    new = machine_text(found)
    refuse_what_cannot_stand(machine_from(new.encode(), f"the machine found (of {machine.file})"))
    return document(found), text(found), new
