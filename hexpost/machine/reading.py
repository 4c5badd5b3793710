"""Read a TOML file of bounded size; a syntax error has its line and column."""

import re
import tomllib
from pathlib import Path
from stat import S_ISREG

from hexpost import shelf
from hexpost.errors import Fault, InputError
from hexpost.machine.table import Table
from hexpost.shelf import Text

MOST_BYTES = 1_000_000
"""A machine, tools or setup file is not longer than this."""

MOST_PARTS = 64
"""A key has no more parts between its dots: time to read one grows with their square."""
_PIECES = re.compile(r"[=,#\[\]{}\r\n]")
_DOT = re.compile(r"\.[ \t]*[\w\"'-]")


def read_bytes(path: str | Path, most: int = MOST_BYTES) -> bytes:
    """Return the bytes of the file at ``path``.

    Raises
    ------
    InputError
        As ``read_text`` does.
    """
    source = read_text(path, most)
    return source if isinstance(source, bytes) else source[:]


def read_text(path: str | Path, most: int) -> Text:
    """Return the text of the file at ``path``, which may be long.

    Raises
    ------
    InputError
        If it is missing, no regular file (a pipe would be waited for without end), or longer than ``most``.
    """
    name = str(path)
    try:
        if not S_ISREG(Path(path).stat().st_mode):
            raise InputError([Fault(file=name, what="is a folder, a pipe or a device; give a file", code="file")])
        with Path(path).open("rb") as file:
            source = shelf.text(file, most + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError([Fault(file=name, what=f"cannot be read: {reason}", code="unreadable")]) from None
    if len(source) > most:
        raise InputError([Fault(file=name, what=f"is longer than {most:,} bytes", code="too-large")])
    return source


def parse(source: bytes, name: str) -> Table:
    """Return the root table of a TOML text.

    Raises
    ------
    InputError
        If the text is not UTF-8 or not TOML; the fault has the line and the column.
    """
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = source.count(b"\n", 0, error.start) + 1
        what = f"the byte {source[error.start]:#04x} is no UTF-8 text; save the file as UTF-8"
        raise InputError([Fault(file=name, what=what, code="bad-toml", line=line)]) from None
    if any(len(_DOT.findall(piece)) >= MOST_PARTS for piece in _PIECES.split(text)):
        what = f"a key has more than {MOST_PARTS} parts"
        raise InputError([Fault(file=name, what=what, code="bad-toml")])
    try:
        values: dict[str, object] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError([_syntax_fault(str(error), text, name)]) from None
    except (RecursionError, ValueError):
        what = "tables or lists are nested too deep, or a number has too many digits"
        raise InputError([Fault(file=name, what=what, code="bad-toml")]) from None
    return Table(values, "", name, [])


def _syntax_fault(message: str, text: str, name: str) -> Fault:
    """Return the fault of a TOML syntax error; its line and column are taken out of the message."""
    lines = text.splitlines() or [""]
    found = re.search(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    what = "not TOML: " + (message[: found.start()] if found else message)
    if found and found[1]:
        line, column = int(found[1]), int(found[2])
    else:
        line, column = len(lines), len(lines[-1]) + 1
    shown = lines[line - 1] if line <= len(lines) else ""
    return Fault(file=name, what=what, code="bad-toml", line=line, column=column, text=shown)
