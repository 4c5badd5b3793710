"""``hexpost gate``: a library of programs."""

import click

from hexpost.cli import Command
from hexpost.cli.options import INPUTS, JSON, UNITS, WORKERS, NumberWithin, shared
from hexpost.cli.outputs import FolderPath, OutFile

_WHAT = (
    click.option("--policy", type=click.Path(), metavar="FILE", help="Policy of the library (default: ./gate.toml)."),
    click.option(
        "--feed", type=click.Choice(["as-programmed", "strut-limited"]), help="Schedule (default: as-programmed)."
    ),
    click.option("--root", type=FolderPath(), metavar="DIR", help="The policy may name files in DIR or below."),
    click.option("--changed", is_flag=True, help="Only programs in the list on standard input, or whose files are."),
    click.option("--allow-empty", is_flag=True, help="A list without a file that is there passes."),
    click.option("--shard", metavar="I/N", help="Only part I of N of the programs, by a hash of the path."),
    click.option("--against", type=click.Path(), metavar="MACHINE", help="Say what changes with this machine file."),
)
_BASELINE = (
    click.option(
        "--baseline",
        type=OutFile("baseline", only_with="update_baseline"),
        metavar="FILE",
        help="Findings that were accepted.",
    ),
    click.option("--update-baseline", is_flag=True, help="Accept what fails now, drop what is fixed."),
    click.option("--reason", default="", metavar="TEXT", help="Why it is accepted now."),
    click.option(
        "--expires", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="Last day on which that counts."
    ),
)
_OUT = (
    click.option("--sarif", type=OutFile("SARIF file"), metavar="FILE", help="Write SARIF 2.1.0."),
    click.option("--junit", type=OutFile("JUnit file"), metavar="FILE", help="Write JUnit XML."),
    click.option(
        "--html", type=OutFile("page of a library"), metavar="FILE", help="Write a page: all programs, worst first."
    ),
    click.option(
        "--markdown", type=OutFile("summary of a library"), metavar="FILE", help="Write a summary for a change request."
    ),
)
_HOW = (
    click.option("--cache", type=FolderPath(), metavar="DIR", help="Where results are kept (default: user's cache)."),
    click.option("--no-cache", is_flag=True, help="Check everything anew, keep nothing."),
    click.option(
        "--cache-key",
        type=click.Path(),
        metavar="FILE",
        help="Key that seals kept results (default: cache.key of hexpost in your configuration folder).",
    ),
    click.option(
        "--recheck",
        type=NumberWithin(0, 100),
        default=1.0,
        show_default=True,
        metavar="PERCENT",
        help="Share of kept results to compute again; one that differs ends the run with 2.",
    ),
)


@click.command("gate", cls=Command)
@click.argument("paths", nargs=-1, required=True, type=click.Path(), metavar="PATH...")
@shared(INPUTS, UNITS, _WHAT, _BASELINE, _OUT, _HOW, WORKERS, JSON)
def command(**options: object) -> None:
    """Check a library of programs: which of them pass on their machine, which break a limit, and where.

    PATH is a folder, a program, a pattern, or - for a list on standard input. What the command line says counts
    before the policy.

    Exit code 0: all pass; 1: a limit is broken; 2: a program or another file is not understood.
    """
    from hexpost.cli.gate_run import GateOptions, main

    click.get_current_context().exit(main(GateOptions.of(options)))
