"""``hexpost machine``: look at machine files."""

from pathlib import Path

import click

from hexpost.cli import Command


@click.group("machine")
def command() -> None:
    """Look at machine files."""


@command.command("check", cls=Command)
@click.argument("file", type=click.Path())
def check(file: str) -> None:
    """Check a machine FILE: every fault of it, or one line that says it is sound."""
    from hexpost.machine.load import load_machine

    machine = load_machine(Path(file))
    click.echo(f"{machine.name}, revision {machine.revision}: no fault found")


@command.command("show", cls=Command)
@click.argument("file", type=click.Path(), required=False)
@click.option("--toml", is_flag=True, help="Print the machine file itself, ready to be copied and edited.")
def show(file: str | None, *, toml: bool) -> None:
    """Show a machine FILE, or the built-in demonstration machine."""
    from hexpost.machine.load import demonstration_machine, load_machine

    machine = load_machine(Path(file)) if file else demonstration_machine()
    if toml:
        click.echo(machine.source.decode(), nl=False)
        return
    click.echo(f"{machine.name}, revision {machine.revision}, period {machine.period * 1e3:g} ms")
    for k, strut in enumerate(machine.struts, 1):
        low, high = strut.stroke
        rates = f"{strut.speed:g} mm/s, {strut.acceleration:g} mm/s2, {strut.jerk:g} mm/s3"
        click.echo(f"strut {k}: {low:g} to {high:g} mm, {rates}")
