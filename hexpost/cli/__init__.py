"""The command line: options in, text and exit code out. Commands are imported only when they run.

In: arguments, environment, standard input.
Out: standard output for results, standard error for what happens on the way, an exit code.
Idea: one file a command, which only translates: options to the arguments of a stage, faults to text (or to the JSON
document of an error). Streams that are closed or full end a run in an orderly way.
Rule: 0 no limit broken, 1 a limit broken, 2 cannot go on, 130 interrupted. ``hexpost --help`` imports neither numpy nor
a stage.
Start with ``COMMANDS`` below, then ``run.py``.
"""

import gc
import importlib
import io
import json
import os
import sys
from contextlib import suppress
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

from hexpost.cli.failure import error_document, usage_document
from hexpost.cli.outputs import FAILED, check
from hexpost.cli.streams import flush_streams, is_of_a_stream, open_streams, refusal_of
from hexpost.cli.terminal import columns, columns_of, complain, reflowed
from hexpost.errors import EXCERPT, HexpostError, InputError
from hexpost.version import VERSION

EXIT_CLEAN, EXIT_BROKEN, EXIT_ERROR, EXIT_INTERRUPTED = 0, 1, 2, 130

COMMANDS = {
    "convert": "Convert a part program into a job folder: setpoints, events, reports.",
    "audit": "Report which blocks of a part program break which limit; write no table.",
    "survey": "Look through a library: what it needs before its programs can be read, asked once.",
    "gate": "Check a library of programs: pass or fail, for people and for continuous integration.",
    "refeed": "Write the same program with feeds lowered to what the struts allow.",
    "verify": "Prove a finished job folder again from nothing but its files.",
    "schema": "Print the JSON Schema of a JSON output.",
    "explain": "Show a part program block by block as it was understood.",
    "words": "List the words that programs may hold: what each does, and where its meaning comes from.",
    "align": "Find a work frame from probed points and write it as a setup file.",
    "place": "Search where on the pallet a job breaks no limit and has the most margin.",
    "calibrate": "Find the as-built geometry of a machine from measured poses.",
    "diff": "Say what two revisions of a part program mean differently.",
    "machine": "Look at machine files.",
}
"""Name and one line of help; the command itself is ``hexpost.cli.NAME.command``."""


FIRST_DAY = (
    ("1 machine file", "hexpost machine show --toml > machine.toml; your figures; hexpost machine check machine.toml"),
    ("2 tools, setup", "hexpost survey PROGRAMS --machine machine.toml --propose drafts; write lengths and places in"),
    ("3 survey", "the same again until nothing is open: drafts/machine.toml then reads the shop's words, too"),
    ("4 explain", "hexpost explain PROGRAM with FILES: is each block what you meant?"),
    ("5 audit", "hexpost audit PROGRAM with FILES: which blocks break a limit, and what would help"),
    ("6 convert", "hexpost convert PROGRAM with FILES --out job: the table that the controller reads"),
    ("7 verify", "hexpost verify job: the table is what the program asks for"),
)
"""From the first day to the first job: a step and what to type."""
FILES = "FILES: --machine drafts/machine.toml --tools drafts/tools.toml --setup drafts/setup.toml"

RARELY = (100_000, 50, 50)
"""Thresholds of the collector of cycles: the stages make few of them, and a search after each 700 objects costs 2 %."""


MOST_HELP = 98
"""Columns of a help text, at most: longer lines are hard to read."""
MARGIN = 8
"""Columns beside the line of an input that is shown in a fault."""

MANUALS = Path(__file__).parent / "manual"
"""What the help of a command says after its options: one text for each command that needs one."""


class Command(click.Command):
    """A command that turns faults into one clear message and exit code 2; never a traceback."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the manual of the command, its paragraphs as wide as there is room."""
        manual = MANUALS / f"{self.name}.txt"
        if manual.exists():
            formatter.write("\n" + reflowed(manual.read_text("utf-8"), formatter.width))

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - click's own signature
        """Run the command."""
        try:
            check(ctx)
            return self._code(ctx)
        except HexpostError as error:
            fail(ctx, error)
        except MemoryError:
            fail(ctx, HexpostError("hexpost: not enough memory for this job; nothing was written"))
        except KeyboardInterrupt:
            click.echo("hexpost: interrupted; a job that was not finished is removed", err=True)
            ctx.exit(EXIT_INTERRUPTED)
        except (click.exceptions.Exit, click.ClickException, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            if os.environ.get("HEXPOST_TRACEBACK") or is_of_a_stream(error):
                raise
            if isinstance(error, OSError):
                fail(ctx, HexpostError(refusal_of(error)))
            what = f"hexpost: internal fault ({type(error).__name__}: {error}); nothing can be trusted of this run."
            fail(ctx, HexpostError(what + " Set HEXPOST_TRACEBACK=1 to see where, and report it."))

    def _code(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as invoke
        """Run the command; 2 where one of its files could not be written, whatever else it found."""
        try:
            result = super().invoke(ctx)
        except click.exceptions.Exit:
            if ctx.meta.get(FAILED):
                ctx.exit(EXIT_ERROR)
            raise
        if ctx.meta.get(FAILED):
            ctx.exit(EXIT_ERROR)
        return result


class CommandGroup(click.Group):
    """A group that knows names and helps, and imports a command when it is called."""

    def main(self, *args: Any, **extra: Any) -> Any:  # noqa: ANN401 - click's own signature
        """Run and exit; 2 also where standard output did not take all that was said, for then nobody read a verdict."""
        open_streams()
        code, refusal = self._code(*args, **extra)
        if refusal := flush_streams() or refusal:
            code = EXIT_ERROR
            with suppress(OSError, ValueError):
                click.echo(f"hexpost: standard output does not take what there is to say: {refusal}", err=True)
        sys.exit(code)

    def _code(self, *args: Any, **extra: Any) -> tuple[int, str]:  # noqa: ANN401 - click's own signature
        """Return the exit code of a run, and why its output was refused, if it was."""
        try:
            wide = columns() - 2
            code = super().main(*args, **{**extra, "standalone_mode": False, "terminal_width": min(wide, MOST_HELP)})
        except click.ClickException as error:
            shown = io.StringIO()
            error.show(shown)
            complain(shown.getvalue().rstrip("\n"))
            given = args[0] if args else extra.get("args")
            if "--json" in (sys.argv[1:] if given is None else given):
                click.echo(json.dumps(usage_document(error.format_message())))
            return EXIT_ERROR, ""
        except (click.Abort, KeyboardInterrupt):
            return EXIT_INTERRUPTED, ""
        except (OSError, SystemExit) as error:
            if isinstance(error, SystemExit) and not error.code:  # a shell has asked how a line may go on
                return EXIT_CLEAN, ""
            # of a stream: click makes an exit of a pipe that nobody reads
            return EXIT_ERROR, (isinstance(error, OSError) and error.strerror) or "nobody reads it any more"
        return code if isinstance(code, int) else EXIT_CLEAN, ""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        """Return the names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import and return the command, or ``None``."""
        if cmd_name not in COMMANDS:
            return None
        gc.set_threshold(*RARELY)
        found = importlib.import_module(f"hexpost.cli.{cmd_name}").command
        assert isinstance(found, click.Command)
        return found

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the commands, and options, that begin so; nothing is imported for them."""
        names = [CompletionItem(n, help=COMMANDS[n]) for n in self.list_commands(ctx) if n.startswith(incomplete)]
        return names + click.Command.shell_complete(self, ctx, incomplete)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; of one that does not exist the nearest name is told."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            near = get_close_matches(args[0], COMMANDS, n=1)
            if not near:
                raise
            raise click.UsageError(f"{error.message} Did you mean '{near[0]}'?", ctx) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name]) for name in self.list_commands(ctx)])
        with formatter.section("The first day"):
            formatter.write_dl(FIRST_DAY)
            formatter.write_text(FILES)


def fail(ctx: click.Context, error: HexpostError) -> None:
    """Say what is wrong on standard error (and as JSON on standard output when asked for) and exit with 2."""
    wide = columns_of(sys.stderr)
    complain(error.told(min(wide - MARGIN, EXCERPT)) if wide and isinstance(error, InputError) else str(error))
    if ctx.params.get("as_json"):
        click.echo(json.dumps(error_document(error)))
    ctx.exit(EXIT_ERROR)


@click.command(
    cls=CommandGroup,
    epilog="Exit codes: 0 no limit broken, 1 at least one limit broken, 2 cannot go on (input or usage).",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(VERSION, prog_name="hexpost")
def main() -> None:
    """Conventional part programs onto six-strut machining centres.

    Converts X Y Z A B C programs into timed strut setpoints and says which block breaks which limit of which strut.
    A clean report speaks of modelled limits only: prove every job out on the machine as its builder prescribes.
    """
