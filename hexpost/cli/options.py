"""Options that several commands share."""

from collections.abc import Callable
from math import isnan
from typing import Any

import click

from hexpost.cli.terminal import QUIET


class NumberWithin(click.FloatRange):
    """A number within a range; what is no number is within none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401 - click's own signature
        """Return the number."""
        found = float(super().convert(value, param, ctx))
        if isnan(found):
            self.fail(f"{value!r} is no number; write one in the range {self._describe_range()}", param, ctx)
        return found


Decorated = Callable[..., Any]
Option = Callable[[Decorated], Decorated]

INPUTS = (
    click.option(
        "--machine", type=click.Path(), metavar="FILE", help="Machine file (default: built-in demonstration)."
    ),
    click.option("--tools", type=click.Path(), metavar="FILE", help="Tools file (default: every tool has length 0)."),
    click.option(
        "--setup", type=click.Path(), metavar="FILE", help="Setup file (default: all offsets are the pallet)."
    ),
)


def _feed_caps(ctx: click.Context, _: click.Parameter, value: tuple[str, ...]) -> tuple[Any, ...]:  # noqa: ARG001
    from hexpost.errors import HexpostError
    from hexpost.machine.feed_caps import feed_caps

    try:
        return feed_caps(value)
    except HexpostError as error:
        raise click.BadParameter(str(error)) from None


AT_MOST = (
    click.option(
        "--at-most",
        multiple=True,
        callback=_feed_caps,
        metavar="A:B=F",
        help="Feed of the tip in lines A to B, mm/min, for a clamp or a thin wall. May be given several times.",
    ),
)
CALM = (
    click.option(
        "--calm-lowest",
        is_flag=True,
        help="Make averages of the speed whole periods of the lowest natural frequency, so that the tool rests calmer.",
    ),
)
EFFORT = (
    click.option(
        "--effort",
        type=click.Choice(["usual", "best"]),
        callback=lambda _, __, value: value == "best",
        default="usual",
        show_default=True,
        help="Planning that keeps the struts: at most a tenth of the motion's time, or all that the shortest takes.",
    ),
)
COMPARED = (
    click.option(
        "--compare-with",
        type=click.Path(),
        metavar="FILE",
        help="An ordinary machine by its axes: the same program there and here, by operation and by block.",
    ),
)


UNITS = (
    click.option(
        "--units",
        type=click.Choice(["mm", "inch"]),
        help="Units of a program that states none (default: the machine file's, else it is refused).",
    ),
)


def motion(*feeds: str) -> tuple[Option, ...]:
    """Return the options of the schedule; ``feeds`` are the choices of ``--feed``, the first the default."""
    return (
        click.option(
            "--feed",
            type=click.Choice(feeds),
            default=feeds[0],
            show_default=True,
            help="Schedule: what an ordinary machine would do, or the fastest motion that breaks no strut limit.",
        ),
        click.option("--period-ms", type=float, metavar="MS", help="Control period (default: the machine file's)."),
    )


def refuse_effort(feed: str, *, effort: bool) -> None:
    """Raise ``UsageError`` where nothing is planned that all ``effort`` could make shorter."""
    if effort and feed == "as-programmed":
        raise click.UsageError("--effort best shortens what keeps the struts; add --feed strut-limited")


SWITCHES = (
    click.option("--stops/--no-stops", default=True, help="M01 stops (default), or is passed over."),
    click.option("--skip/--no-skip", default=False, help="Pass over blocks that begin with /, or run them (default)."),
)
MOST = (
    click.option(
        "--most-rows",
        type=click.IntRange(1, 10**12),
        metavar="N",
        help="Refuse longer jobs (default: 720 million).",
    ),
)
YAW = (
    click.option(
        "--yaw",
        type=click.Choice(["fixed", "best", "follow"]),
        default="fixed",
        show_default=True,
        help="Yaw of the platform about a round tool: as it is, the best angle, or one that follows the path.",
    ),
)
PROVING = (
    click.option("--override", type=NumberWithin(1, 100), default=100.0, metavar="PERCENT", help="Slower dry run."),
    click.option("--lift", type=NumberWithin(0, 1e4), default=0.0, metavar="MM", help="Dry run above the work."),
    click.option("--single-block", is_flag=True, help="Rest, and a segment of the table, after every block."),
    click.option(
        "--from-line",
        default="",
        metavar="LINE",
        help="Begin again at a line of the file (23) or a block number (N170); N170@2: the second time it runs.",
    ),
)
CORES = (
    click.option(
        "--jobs",
        type=click.IntRange(1, 64),
        metavar="N",
        help="Work on N processes (default: one per core for a long job; 1: this process alone). Same bytes.",
    ),
)
WORKERS = (
    click.option("--jobs", type=click.IntRange(1, 1024), metavar="N", help="Worker processes (default: one per core)."),
    click.option("--serial", is_flag=True, help="Work in this process alone."),
    click.option("--cluster", metavar="ADDRESS", help="Work on a running dask.distributed scheduler."),
    click.option("--memory-mb", type=click.IntRange(256), metavar="MB", help="Most data of a worker (default: 4096)."),
)


def _may_say_little(ctx: click.Context, _: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's own signature
    ctx.meta[QUIET] = value


LITTLE = (
    click.option(
        "--quiet",
        "-q",
        is_flag=True,
        expose_value=False,
        callback=_may_say_little,
        help="Say nothing but what is wrong: no progress, no remarks, no report.",
    ),
)
JSON = (
    click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else."),
    *LITTLE,
)
"""How much is said, and in which form."""


def scheduled(*feeds: str, proving: tuple[Option, ...] = ()) -> tuple[Option, ...]:
    """Return the options of commands that run a job: what it is made of, how it is planned, and what bounds it."""
    planning = (*motion(*feeds), *EFFORT, *YAW, *SWITCHES, *AT_MOST, *CALM)
    return (*INPUTS, *UNITS, *planning, *proving, *COMPARED, *MOST)


def shared(*groups: tuple[Option, ...]) -> Option:
    """Return a decorator that adds groups of options in the order given."""

    def add(function: Decorated) -> Decorated:
        for option in reversed([option for group in groups for option in group]):
            function = option(function)
        return function

    return add
