"""The grammars: where their files are, and the compiled grammar of part programs."""

from functools import lru_cache
from pathlib import Path

from lark import Lark

from hexpost.errors import HexpostError

PACKAGE = Path(__file__).resolve().parents[1]


def grammar_text(name: str, package: Path = PACKAGE) -> str:
    """Return the text of a grammar file.

    An installed package holds the grammars in a folder of its own; in a source tree (or an editable install) they
    lie beside the package. The working directory plays no part.

    Raises
    ------
    HexpostError
        When the file is in neither place: the installation is damaged.
    """
    places = [package / "grammars" / name, package.parent / "grammars" / name]
    for place in places:
        if place.is_file():
            return place.read_text(encoding="utf-8")
    looked = " and ".join(str(place.parent) for place in places)
    raise HexpostError(f"grammar {name} is missing from the installation (looked in {looked}): install it again")


@lru_cache(maxsize=1)
def part_programs() -> Lark:
    """Return the compiled grammar of part programs; starts ``program`` (a file) and ``block`` (one line)."""
    return Lark(
        grammar_text("part_program.lark"),
        parser="lalr",
        start=["program", "block"],
        maybe_placeholders=False,
    )


def terminal(name: str) -> str:
    """Return the regular expression of a terminal of the part program grammar."""
    return next(t.pattern.to_regexp() for t in part_programs().terminals if t.name == name)
