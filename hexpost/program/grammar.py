"""The compiled grammar of part programs."""

from functools import lru_cache

from lark import Lark

from hexpost.grammar_text import grammar_text


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
