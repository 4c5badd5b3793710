"""The same text read line by line by the parser alone, and by the reader under test: rows to compare."""

import re
import struct
from io import BytesIO

from lark import UnexpectedInput

from hexpost.program.mistakes import syntax_faults
from hexpost.program.parse import parse
from hexpost.program.read import windows


def bits(value):
    """Return the bits of a double: -0.0 differs from 0.0."""
    return struct.pack("d", value)


def by_parser(data):
    """Return (words, skips, comments, faults) of every line by Lark, which is the authority."""
    words, skips, comments, faults, start = [], [], [], [], 0
    for number, m in enumerate(re.finditer(rb"([^\r\n]*)(\r\n|\r|\n|$)", data), 1):
        start, raw = m.start(), m[1]
        if start == len(data) and data[-1:] in b"\r\n":
            break
        try:
            line = parse(raw.decode("latin-1"))
        except UnexpectedInput as error:
            faults += [(f.line, f.column, f.code) for f in syntax_faults("t", number, raw, error)]
            continue
        words += [(letter, bits(v), pointed, number, column) for letter, v, pointed, column in line.words]
        skips += [(number, line.skip)] if line.skip else []
        comments += [(number, start + a, start + b) for a, b in line.comments]
    return words, skips, comments, faults


def by_reader(data, size=1 << 18):
    """Return (words, skips, comments, faults) by the reader under test, in windows of ``size`` bytes."""
    words, skips, comments, faults, offset = [], [], [], [], 0
    for p in windows(BytesIO(data), "t", faults, size):
        columns = (p.letter.tolist(), map(bits, p.value), p.pointed.tolist(), p.line.tolist(), p.column.tolist())
        words += zip(*columns, strict=True)
        skips += zip(p.skip.tolist(), p.skip_level.tolist(), strict=True)
        spans = ((p.comment_start + offset).tolist(), (p.comment_end + offset).tolist())
        comments += zip(p.comment_line.tolist(), *spans, strict=True)
        offset += len(p.source)
    whole = ("word-behind-program-end", "no-block", "more-faults")
    return words, skips, comments, [(f.line, f.column, f.code) for f in faults if f.code not in whole]
