"""``hexpost verify``: prove a finished job folder again."""

from pathlib import Path

import click

from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN, EXIT_ERROR, Command
from hexpost.cli.options import JSON, shared


@click.command("verify", cls=Command)
@click.argument("job", type=click.Path())
@shared(JSON)
def command(job: str, *, as_json: bool) -> None:
    """Prove the finished job folder JOB again, from nothing but its files.

    Hashes, time steps, continuity, limits, the tool's path by forward kinematics, stops and events, against the copies
    of program, machine, tools and setup in the folder. Exit code 0: proven and clean; 1: proven, with limits broken as
    its report says; 2: not proven.
    """
    import json

    from hexpost.verify.model import BROKEN, CLEAN
    from hexpost.verify.text import document, text
    from hexpost.verify.verify import verify

    proof = verify(Path(job))
    click.echo(json.dumps(document(proof), indent=1, allow_nan=False) if as_json else text(proof))
    code = {CLEAN: EXIT_CLEAN, BROKEN: EXIT_BROKEN}.get(proof.verdict, EXIT_ERROR)
    click.get_current_context().exit(code)
