"""Rows and offsets that a program uses and the tools or the setup file does not have, named together."""

from dataclasses import replace

import numpy as np

from hexpost.errors import Fault
from hexpost.machine.model import Setup, Tools
from hexpost.moves.frames.book import FrameBook
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.modes import AXES
from hexpost.moves.window.sheet import Sheet


class Missing:
    """What the files of a job lack, by name, with the fault at its first use."""

    def __init__(self, tools: Tools, setup: Setup) -> None:
        self.tools, self.setup = tools, setup
        self._rows: dict[str, Fault] = {}
        self._offsets: dict[str, Fault] = {}

    def look(self, sheet: Sheet, book: FrameBook, complaints: Complaints) -> None:
        """Note what the words of a window and the frames so far use and the files lack."""
        if self.tools.given:
            for letter in ("T", "H", "D"):
                words = sheet.letter(letter)
                values, first = np.unique(words.value, return_index=True)
                for value, index in zip(values.astype(int).tolist(), first.tolist(), strict=True):
                    if value and value not in self.tools.tools:
                        self._rows.setdefault(f"{letter}{value}", complaints.place(int(words.at[index])))
        if self.setup.offsets:  # a setup file without any offset means the pallet frame, as no file does
            words = sheet.group("work offset")
            values, first = np.unique(words.value, return_index=True)
            for value, index in zip(values.astype(int).tolist(), first.tolist(), strict=True):
                if f"G{value}" not in self.setup.offsets:
                    self._offsets.setdefault(f"G{value}", complaints.place(int(words.at[index])))
            for frame in book.frames:
                if frame.offset not in self.setup.offsets and frame.offset != "G53":
                    self._offsets.setdefault(frame.offset, complaints.place(_first_axis_word(sheet)))

    def faults(self) -> list[Fault]:
        """Return one fault for each file that lacks something, at the first of it."""
        out = []
        for lacking, code, noun, file, add in (
            (self._rows, "missing-tools", "tool", self.tools.file or "the tools file", "[[tool]]"),
            (self._offsets, "missing-offsets", "offset", self.setup.file or "the setup file", "table [offset.G..]"),
        ):
            if lacking:
                order = sorted(lacking, key=lambda name: (lacking[name].line or 0, lacking[name].column or 0))
                named = ", ".join(f"{name} (line {lacking[name].line})" for name in order)
                many, are, each = ("s", "are", "for each") if len(order) > 1 else ("", "is", "")
                what = f"{noun}{many} {named} {are} not in {file}; add a {add} {each}".rstrip()
                hint = "or correct the program"
                out.append(replace(lacking[order[0]], what=what, code=code, hint=hint))
        return out


def _first_axis_word(sheet: Sheet) -> int:
    """Return the index of the first axis word of a window, 0 without one."""
    return min((int(sheet.letter(x).at[0]) for x in AXES if sheet.letter(x).count), default=0)
