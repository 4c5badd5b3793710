"""Words that do not exist in blocks that could not be read because another word is spoilt."""

import re
from collections.abc import Sequence

import numpy as np

from hexpost.errors import Fault
from hexpost.machine.wording import DialectWord
from hexpost.moves.words import group_of
from hexpost.program.model import OF_A_WORD, Program

NOT_READ = re.compile(rb"\([^()]*\)|[;(].*")
"""Comments."""
CODE = re.compile(rb"(?<![A-Za-z])([GMgm])([0-9]{1,4}(?:\.[0-9]+)?)(?![^\s])")
"""A preparatory or miscellaneous word that stands by itself."""


def unknown_words(program: Program, before: Sequence[Fault], dialect: Sequence[DialectWord]) -> list[Fault]:
    """Return the unknown G and M words of the blocks whose faults (among ``before``) are all of single words."""
    own = [f for f in before if f.file == program.name and f.line is not None]
    spoilt = {f.line for f in own if f.code not in OF_A_WORD}
    named = {word.word for word in dialect}
    out = []
    for line in sorted({f.line for f in own if f.line is not None} - spoilt):
        raw = NOT_READ.sub(lambda comment: b" " * len(comment[0]), program.raw(line))
        for found in CODE.finditer(raw):
            letter, value = found[1].decode().upper(), float(found[2])
            if group_of(letter, np.array([value]))[0] or not named.isdisjoint({letter, f"{letter}{value:g}"}):
                continue
            written = found[0].decode().upper()
            out.append(program.fault(line, found.start() + 1, "unknown-word", f"unknown word {written}"))
    return out
