"""``hexpost survey``: what a library needs before its programs can be read."""

import click

from hexpost.cli import Command
from hexpost.cli.options import INPUTS, JSON, UNITS, WORKERS, shared
from hexpost.cli.outputs import OVERWRITE, DraftFolder, OutFile

_OUT = (
    click.option("--policy", type=click.Path(), metavar="FILE", help="Policy of the library (default: ./gate.toml)."),
    click.option("--html", type=OutFile("page of a survey"), metavar="FILE", help="Write a page: all that was seen."),
    click.option(
        "--propose",
        type=DraftFolder(),
        metavar="DIR",
        help="Write drafts of machine, tools and setup file; what is there is kept.",
    ),
)


@click.command("survey", cls=Command)
@click.argument("paths", nargs=-1, required=True, type=click.Path(), metavar="PATH...")
@shared(INPUTS, UNITS, _OUT, OVERWRITE, WORKERS, JSON)
def command(**options: object) -> None:
    """Look through a library of programs and say what it needs, once for all of them.

    That is: words that nothing reads, units that are not stated, tools and offsets, readings that matter, extents, and
    programs that no setting makes readable. PATH is a folder, a program, a pattern, or - for a list on standard input.

    Exit code 0: the survey was made, whatever it found; 2: a file or an option is not understood.
    """
    from hexpost.cli.survey_run import SurveyOptions, main

    main(SurveyOptions.of(options))
