"""A table of programs on a page: the script sorts and filters it, and without the script all of it can be read."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from hexpost.pages.html import cut, safe, scrolled
from hexpost.voice import clean

PLAIN, NUMBER, LONG = "text", "number", "long"
"""How the cells of a column are laid out and sorted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramCell:
    """A cell: HTML, and what to sort by where that is another."""

    html: str
    value: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramRow:
    """A row: its cells, and what filters look at, by the name of the filter; ``name`` is the path of the program."""

    name: str
    cells: Sequence[ProgramCell]
    filters: Mapping[str, Sequence[str]]


FILTERS = '<div class="tools" id="filters" hidden></div>'
"""Where the script puts the filters of the table; it is hidden without one."""


def table(columns: Sequence[tuple[str, str]], rows: Iterable[ProgramRow]) -> str:
    """Return the table with its filters; ``columns`` are names and layouts."""
    heads = "".join(
        f'<th scope="col" class="{kind}" data-kind="{kind}"><button>{name}</button></th>' for name, kind in columns
    )
    kinds = [kind for _, kind in columns]
    body = "\n".join(_row(row, kinds) for row in rows)
    whole = f'<table id="programs"><thead><tr>{heads}</tr></thead><tbody>\n{body}\n</tbody></table>'
    return FILTERS + scrolled(whole, "Table of programs", "tall")


def filters(row: ProgramRow) -> str:
    """Return the attributes by which the script filters what belongs to a program."""
    held = "".join(
        f' data-{key}="{safe(json.dumps([clean(v) for v in values]))}"' for key, values in row.filters.items()
    )
    return f' data-name="{safe(row.name)}"{held}'


def link(name: str, address: str | None, most: int = 48) -> str:
    """Return the name of a program, cut in the middle where it is long, as a link where there is an address."""
    return f'<a href="{safe(address)}">{cut(name, most)}</a>' if address else cut(name, most)


def _row(row: ProgramRow, kinds: Sequence[str]) -> str:
    cells = "".join(_cell(cell, kind) for kind, cell in zip(kinds, row.cells, strict=True))
    return f"<tr{filters(row)}>{cells}</tr>"


def _cell(cell: ProgramCell, kind: str) -> str:
    value = "" if cell.value is None else f' data-value="{safe(cell.value)}"'
    return f'<td class="{kind}"{value}>{cell.html}</td>'
