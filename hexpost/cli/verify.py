"""``hexpost verify``: prove a finished job folder again."""

from pathlib import Path

import click

from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN, EXIT_ERROR, Command
from hexpost.cli.options import JSON, shared
from hexpost.cli.outputs import FolderPath
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say

WITHOUT = "the job was not made again: files that no equation reads are not proven"


@click.command("verify", cls=Command)
@click.argument("job", type=FolderPath())
@click.option("--without-remake", is_flag=True, help="Leave out making the job again and comparing every file.")
@shared(JSON)
def command(job: str, *, without_remake: bool, as_json: bool) -> None:
    """Prove the finished job folder JOB again, from nothing but its files.

    Hashes, time steps, continuity, limits, the tool's path by forward kinematics, stops and events, against the copies
    of program, machine, tools and setup in the folder. Then the job is made again from these copies, and every file
    is compared. Exit code 0: proven and clean; 1: proven, with limits broken as its report says; 2: not proven.
    """
    import json
    from dataclasses import replace

    from hexpost.verify.model import BROKEN, CLEAN, NOT_PROVEN
    from hexpost.verify.text import document, text
    from hexpost.verify.verify import NARROW, verify

    with watched("rows") as progress:
        times = 1 if without_remake else 2
        proof = verify(Path(job), lambda rows: progress.expect(times * rows), progress.step)
        if without_remake:
            proof = replace(proof, remarks=(*proof.remarks, f"{WITHOUT} (--without-remake)"))
        elif proof.proven_but(NARROW):
            from hexpost.remake import remade

            others = [c for c in proof.checks if c.name != NARROW]
            proof = replace(proof, checks=(*others, remade(Path(job), narrow=True, tick=progress.step)))
        elif proof.verdict == NOT_PROVEN:
            proof = replace(proof, remarks=(*proof.remarks, f"{WITHOUT}: it is not proven as it is"))
        else:
            from hexpost.remake import remade

            proof = replace(proof, checks=(*proof.checks, remade(Path(job), tick=progress.step)))
    if as_json:
        click.echo(json.dumps(document(proof), indent=1, allow_nan=False))
    else:
        shown = text(proof)
        say(shown, quiet="" if proof.verdict == CLEAN else shown.partition("\n")[0])
    code = {CLEAN: EXIT_CLEAN, BROKEN: EXIT_BROKEN}.get(proof.verdict, EXIT_ERROR)
    click.get_current_context().exit(code)
