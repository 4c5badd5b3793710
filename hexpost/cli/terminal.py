"""What the terminal takes: how wide it is, whether it colours; what is said fits into it, or into silence."""

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Iterator
from itertools import groupby
from typing import TextIO

import click

LEAST, MOST = 60, 160
"""Columns that are made use of, at least and at most."""
ELSEWHERE = 80
"""Columns of a screen where there is no terminal."""
QUIET = "hexpost.quiet"
"""Key of what is known of a run: only what is wrong is to be said."""
_PLACE = re.compile(r"\S.*?:(\d+|-)(:\d+)?: ")
"""``file:line: message``, which other programs look for: it is never broken."""
_EXCERPT = re.compile(r" {4}(?!hint:)")
"""A line of an input, and the caret below it."""
_PROSE = re.compile(r" {2}(?![$. ])")
"""A line of a paragraph, not of an example."""
_VERDICT = re.compile(r"^(CLEAN|PROVEN, CLEAN|PROVEN, BROKEN|NOT PROVEN|BROKEN|pass|FAIL|ERROR)\b", re.MULTILINE)
_GOOD = {"CLEAN", "PROVEN, CLEAN", "pass"}


def columns_of(stream: TextIO) -> int | None:
    """Return how many columns to use of a terminal, ``LEAST`` to ``MOST``; ``None`` where there is none.

    COLUMNS of the environment counts before the terminal, and says that there is one.
    """
    if not (stream.isatty() or os.environ.get("COLUMNS", "").isdecimal()):
        return None
    return min(max(shutil.get_terminal_size((ELSEWHERE, 24)).columns, LEAST), MOST)


def columns() -> int:
    """Return how many columns to use of standard output."""
    return columns_of(sys.stdout) or ELSEWHERE


def colours(stream: TextIO) -> bool:
    """Return whether to colour: on a terminal that can, or where FORCE_COLOR asks for it; NO_COLOR counts before both.

    A variable that is empty asks for nothing.
    """
    said = os.environ
    if said.get("NO_COLOR"):
        return False
    return bool(said.get("FORCE_COLOR")) or (stream.isatty() and said.get("TERM") != "dumb")


def is_quiet() -> bool:
    """Return whether only what is wrong is to be said."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.meta.get(QUIET))


def say(text: str, quiet: str = "") -> None:
    """Print what a command found; of a quiet run only ``quiet``, which says what is wrong."""
    said = quiet if is_quiet() else text
    if said:
        _echo(said, sys.stdout)


def note(text: str) -> None:
    """Say on standard error what is no fault; a quiet run does not."""
    if not is_quiet():
        _echo(text, sys.stderr)


def complain(text: str) -> None:
    """Say on standard error what is wrong."""
    colour = colours(sys.stderr)
    shown = fitted(text, columns_of(sys.stderr), keeps=_EXCERPT)
    click.echo(click.style(shown, fg="red") if colour else shown, err=True, color=colour)


def fitted(text: str, width: int | None, keeps: re.Pattern[str] | None = None) -> str:
    """Return a text whose long lines are broken at blanks, and go on two columns further in.

    Whole stay words, lines that begin with ``file:line:``, and those that ``keeps`` matches.
    """
    return "\n".join(part for line in text.split("\n") for part in _fitted(line, width, keeps))


def reflowed(text: str, width: int) -> str:
    """Return a text with its paragraphs, which are two columns in, broken anew; all else is as it was."""
    out: list[str] = []
    for paragraph, lines in groupby(text.split("\n"), lambda line: bool(_PROSE.match(line))):
        if paragraph:
            words = " ".join(line.strip() for line in lines)
            out += textwrap.wrap(
                words,
                width,
                initial_indent="  ",
                subsequent_indent="  ",
                break_long_words=False,
                break_on_hyphens=False,
            )
        else:
            out += lines
    return "\n".join(out)


def _fitted(line: str, width: int | None, keeps: re.Pattern[str] | None) -> Iterator[str]:
    if width is None or len(line) <= width or _PLACE.match(line) or (keeps and keeps.match(line)):
        yield line
        return
    further = " " * (len(line) - len(line.lstrip(" ")) + 2)
    yield from _wrapped(line, width, "", further)


def _wrapped(text: str, width: int, first: str, further: str) -> list[str]:
    """Return a text in lines that begin so; words stay whole."""
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=further, replace_whitespace=False,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


def _echo(text: str, stream: TextIO) -> None:
    """Print a text with a line end, its verdicts in colour."""
    colour = colours(stream)
    shown = fitted(text.removesuffix("\n"), columns_of(stream))
    if colour:
        shown = _VERDICT.sub(_tinted, shown)
    click.echo(shown, err=stream is sys.stderr, color=colour)


def _tinted(found: re.Match[str]) -> str:
    return click.style(found[0], fg="green" if found[0] in _GOOD else "red", bold=True)
