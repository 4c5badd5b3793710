"""Rows and offsets that a program uses and the tools or the setup file does not have, named together."""

import numpy as np

from hexpost.machine.model import Setup, Tools
from hexpost.moves.complaints import Complaints
from hexpost.moves.frames import FrameBook
from hexpost.moves.sheet import Sheet


def refuse_missing(sheet: Sheet, tools: Tools, setup: Setup, book: FrameBook, complaints: Complaints) -> None:
    """Report what the files lack, one fault a file; a file that is not given lacks nothing."""
    if tools.given:
        lacking: dict[str, int] = {}
        for letter in "TH":
            words = sheet.letter(letter)
            values, first = np.unique(words.value, return_index=True)
            for value, index in zip(values.astype(int).tolist(), first.tolist(), strict=True):
                if value and value not in tools.tools:
                    lacking[f"{letter}{value}"] = int(words.at[index])
        _refuse(lacking, "missing-tools", f"no such row in {tools.file or 'the tools file'}", complaints)
    if setup.given:
        words = sheet.group("work offset")
        values, first = np.unique(words.value, return_index=True)
        lacking = {
            f"G{value}": int(words.at[index])
            for value, index in zip(values.astype(int).tolist(), first.tolist(), strict=True)
            if f"G{value}" not in setup.offsets
        }
        for frame in book.frames:
            if frame.offset not in setup.offsets and frame.offset != "G53":
                lacking.setdefault(frame.offset, complaints.first_word(0))
        _refuse(lacking, "missing-offsets", f"no such offset in {setup.file or 'the setup file'}", complaints)


def _refuse(lacking: dict[str, int], code: str, what: str, complaints: Complaints) -> None:
    """Report all that one file lacks as one fault, at the first of them."""
    if not lacking:
        return
    line = complaints.program.line
    named = ", ".join(
        f"{name} (line {line[at]})" for name, at in sorted(lacking.items(), key=lambda item: (item[1], item[0]))
    )
    complaints.word(min(lacking.values()), code, f"{what}: {named}", "add them to the file, or correct the program")
