"""``hexpost diff``: what changed in meaning between two revisions of a program."""

from pathlib import Path

import click

from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN, Command
from hexpost.cli.documents import tell
from hexpost.cli.options import INPUTS, JSON, UNITS, NumberWithin, shared
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say

STEPS = 3
"""Each program is read, and both are compared."""


@click.command("diff", cls=Command)
@click.argument("old", type=click.Path())
@click.argument("new", type=click.Path())
@shared(INPUTS, UNITS)
@click.option(
    "--tolerance",
    type=NumberWithin(min=0.0, max=1.0),
    default=0.0005,
    show_default=True,
    metavar="MM",
    help="Places that differ by no more (mm, and degrees) are the same; programs in inches may need 0.002.",
)
@shared(JSON)
def command(old: str, new: str, *, tolerance: float, as_json: bool, **files: str | None) -> None:
    """Say what NEW means differently from OLD: moves, feeds, offsets, tools, stops, events; not their text.

    Numbering, comments, modal or repeated words and the unit of length make no difference. Exit code 0: the same
    meaning; 1: a different one; 2: a program or another file is not understood.
    """
    from hexpost.cli.run import files_of
    from hexpost.explain.difference import difference
    from hexpost.explain.difference_text import document, text
    from hexpost.pipeline import load
    from hexpost.voice import clean, plural

    with watched("steps", STEPS) as progress:
        meanings = []
        for name in (old, new):
            meanings.append(load(files_of(Path(name), files)).meaning)
            progress.step(1)
        found = difference(meanings[0], meanings[1], tolerance)
        progress.step(1)
    if as_json:
        tell(document(found, old, new, tolerance))
    else:
        names = click.format_filename(old), click.format_filename(new)
        wrong = "" if found.same else f"{names[0]} and {names[1]} differ in {plural(len(found.changes), 'place')}"
        say("\n".join(text(found, *names)), quiet=clean(wrong))
    click.get_current_context().exit(EXIT_CLEAN if found.same else EXIT_BROKEN)
