"""``hexpost schema``: the JSON Schema of a JSON output."""

from pathlib import Path

import click

from hexpost.cli import Command

SCHEMAS = Path(__file__).parent.parent / "schemas"
"""One file for each kind of document; its version stands in ``$id`` and under ``schema_version``."""


@click.command("schema", cls=Command)
@click.argument("name", type=click.Choice(sorted(file.stem for file in SCHEMAS.glob("*.json"))))
def command(name: str) -> None:
    """Print the JSON Schema (draft 2020-12) of a JSON output; error is what --json prints with exit code 2."""
    click.echo((SCHEMAS / f"{name}.json").read_text("utf-8"), nl=False)
