"""``hexpost words``: the words that programs may hold, and how programs are read."""

import sys
import tomllib
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

import click

from hexpost.cli import Command
from hexpost.cli.documents import tell
from hexpost.cli.terminal import columns_of, say
from hexpost.machine.words import WORDS, Word, near_words
from hexpost.voice import paragraph

WIDTH = 100

NOTES = Path(__file__).with_suffix(".toml")


def _begun(_: click.Context, __: click.Parameter, incomplete: str) -> list[str]:
    """Return the words that begin so: for completion by a shell."""
    return [word.name for word in WORDS if word.name.startswith(incomplete.upper())]


@click.command("words", cls=Command)
@click.argument("names", nargs=-1, metavar="[WORD]...", shell_complete=_begun)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def command(names: tuple[str, ...], *, as_json: bool) -> None:
    """List the words that part programs may hold: what each does, and where its meaning comes from.

    WORD, for example G41 or M06, shows those words alone, and what there is to know about them.
    """
    words = WORDS if not names else tuple(dict.fromkeys(_word(name) for name in names))
    asked = {w.name for w in words}
    notes = [
        (note["about"], " ".join(note["text"].split()))
        for note in tomllib.loads(NOTES.read_text("utf-8"))["note"]
        if not names or asked & set(note["words"].split())
    ]
    if as_json:
        rows = [{"word": w.name, "group": w.group, "source": w.source, "does": w.does} for w in words]
        told = [{"about": head, "text": text} for head, text in notes]
        tell({"words": rows, "notes": told})
        return
    width = columns_of(sys.stdout) or WIDTH
    say("\n".join([*_table(words, width), *_paragraphs(notes, width)]))


def _word(name: str) -> Word:
    """Return the word that is called so: ``g1`` is ``G01``."""
    letter, digits = name[:1].upper(), name[1:]
    for word in WORDS:
        code = None if word.code is None else f"{word.code:g}"
        if word.letter == letter and (digits.lstrip("0") or "0" if digits else None) == code:
            return word
    near = near_words(name.upper())
    hint = f"; did you mean {' or '.join(near)}?" if near else "; hexpost words lists all words"
    raise click.BadParameter(f"{name[:20]} is not a word{hint}", param_hint="WORD")


def _table(words: Sequence[Word], width: int) -> Iterator[str]:
    """Yield the rows of words, under the names of their groups."""
    wide = max(len(w.source) for w in words)
    for group, members in groupby(words, lambda w: w.group):
        yield group
        for w in members:
            head = f"  {w.name:<3}  {w.source:<{wide}}  "
            yield from paragraph(w.does, width, " " * len(head), head)


def _paragraphs(notes: Sequence[tuple[str, str]], width: int) -> Iterator[str]:
    """Yield what there is to know about these words beside the table."""
    for head, text in notes:
        yield ""
        yield f"{head}:"
        yield from paragraph(text, width, "  ")
