"""The compiled grammar of part programs."""

from functools import lru_cache
from typing import TYPE_CHECKING

from hexpost.grammar_text import grammar_text

if TYPE_CHECKING:
    from lark import Lark


@lru_cache(maxsize=1)
def part_programs() -> "Lark":
    """Return the compiled grammar of part programs; starts ``program`` (a file) and ``block`` (one line)."""
    from lark import Lark  # many programs have no line that needs it

    return Lark(
        grammar_text("part_program.lark"),
        parser="lalr",
        start=["program", "block"],
        maybe_placeholders=False,
    )
