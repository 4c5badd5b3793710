"""A file in pieces of whole lines, made ready for the readers."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO

from hexpost.errors import Fault
from hexpost.program.scan import LONGEST_LINE

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
UTF_16 = (b"\xff\xfe", b"\xfe\xff")
END_OF_TEXT = re.compile(rb"\x1a+(?=[ \t\n]*\Z)")
"""How CP/M, and many a DOS editor after it, end a text file (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Some whole lines of a file: the bytes as they are, and as the readers want them.

    ``text`` starts ``lead`` bytes into ``source`` (a byte-order mark is left out); every line of it ends with LF, and
    a mark at the end of the file is blank. All other bytes keep their places.
    """

    source: bytes
    text: bytes
    lead: int


def pieces(file: BinaryIO, size: int) -> Iterator[Piece]:
    """Yield ``file`` in pieces of about ``size`` bytes; stop behind a line that is too long to be one."""
    rest, first = b"", True
    while data := file.read(size):
        rest += data
        if cut := last_end(rest):
            yield piece(rest[:cut], first=first)
            rest, first = rest[cut:], False
        if len(rest) > LONGEST_LINE + len(BYTE_ORDER_MARK):
            break
    if rest:
        last = piece(rest, first=first)
        yield replace(last, text=END_OF_TEXT.sub(lambda mark: b" " * len(mark[0]), last.text))


def last_end(data: bytes) -> int:
    """Return the offset behind the last line end of ``data``, 0 if there is none; CR and LF are never parted."""
    return data.rfind(b"\n") + 1 or data.rfind(b"\r", 0, len(data) - 1) + 1


def piece(source: bytes, *, first: bool) -> Piece:
    """Return a piece of a file; ``first``: a byte-order mark may stand ahead of it."""
    lead = len(BYTE_ORDER_MARK) if first and source.startswith(BYTE_ORDER_MARK) else 0
    text = source[lead:] if lead else source
    if b"\r" in text:
        text = text.replace(b"\r\n", b" \n").replace(b"\r", b"\n")
    return Piece(source, text if text.endswith(b"\n") else text + b"\n", lead)


TOML = re.compile(rb"\s*(?:#[^\n]*\n\s*)*(\[\[?[A-Za-z_][\w.-]*\]\]?\s*(?:#|\n|$)|[A-Za-z_]\w{2,}\s*=\s*[\"\[\dtf+-])")
"""How a TOML file begins: comments, then a heading or a key with its value (TOML 1.0)."""


def other_file(name: str, part: Piece) -> Fault | None:
    """Return the fault of a first piece that is a TOML file: a machine, tools, setup or policy file."""
    found = TOML.match(part.text)
    if found is None:
        return None
    line = part.text.count(b"\n", 0, found.start(1)) + 1
    what = "this is a TOML file, as machine, tools, setup and policy are, and no part program"
    hint = "give the part program here, and the file by --machine, --tools, --setup or --policy"
    return Fault(file=name, what=what, code="toml-given", line=line, hint=hint)


def no_text(name: str, part: Piece, line0: int) -> Fault | None:
    """Return the fault of a piece that holds a NUL byte (binary, UTF-16, padding), ``line0`` lines into a file."""
    at = part.text.find(b"\0")
    if at < 0:
        return None
    hint = "give a text file"
    if line0 == 0 and part.source.startswith(UTF_16):
        hint = "the file is in UTF-16: save it as plain text (ASCII or UTF-8)"
    elif not part.text[at:].strip(b"\0\n "):
        hint = "the file is padded with NUL bytes: cut them off"
    return Fault(
        file=name,
        what="a NUL byte is no text; the file was read no further",
        code="not-text",
        line=line0 + part.text.count(b"\n", 0, at) + 1,
        column=at - (part.text.rfind(b"\n", 0, at) + 1) + 1,
        hint=hint,
    )
