"""Rows H and D that a program names and nothing uses: kept for later, and never asked for."""

import numpy as np

from hexpost.moves.model import Remark
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.sheet import Sheet, first_rows, in_force
from hexpost.moves.window.state import State

USERS = {"H": ("tool length", 49, "G43 or G44"), "D": ("cutter radius", 40, "G41 or G42")}
"""By letter: the group of the words that use it, the code of the group that does not, and what people write."""
SHOWN = 5
"""So many rows are named in one remark."""


class UnusedRows:
    """Follows each H and D word until it is used, or replaced by the next one."""

    def __init__(self) -> None:
        self._open: dict[str, tuple[int, int]] = {}
        self._unused: dict[str, list[tuple[int, int]]] = {letter: [] for letter in USERS}

    def look(self, sheet: Sheet, state: State, complaints: Complaints) -> None:
        """Take in a window; ``state`` is what is in force ahead of it."""
        for letter, before in (("H", state.length), ("D", state.cutter)):
            group, off, _ = USERS[letter]
            words, codes = sheet.letter(letter), sheet.group(group)
            rare = first_rows(words, codes)
            if not rare.size:
                continue
            on = in_force(codes, rare, before) != off
            edges = [0, *np.searchsorted(rare, words.row).tolist(), len(rare)]
            self._used(letter, used=bool(on[: edges[1]].any()))
            lines = complaints.line(words.row).tolist()
            for k, (line, value) in enumerate(zip(lines, words.value.astype(int).tolist(), strict=True), 1):
                self._replaced(letter)
                self._open[letter] = (line, value)
                self._used(letter, used=bool(on[edges[k] : edges[k + 1]].any()))

    def remarks(self) -> tuple[Remark, ...]:
        """Return one remark for each letter, at the end of the program."""
        out = []
        for letter, (_, _, users) in USERS.items():
            self._replaced(letter)
            found = sorted(self._unused[letter])
            if found:
                names = list(dict.fromkeys(f"{letter}{value}" for _, value in found))
                shown = " ".join(names[:SHOWN]) + (" ..." if len(names) > SHOWN else "")
                text = f"names {shown}, and no {users} uses it"
                out.append(Remark(line=found[0][0], text=text, count=len(found)))
        return tuple(out)

    def _used(self, letter: str, *, used: bool) -> None:
        if used:
            self._open.pop(letter, None)

    def _replaced(self, letter: str) -> None:
        """Note what no word has used; row 0 means none, and asks for nothing."""
        if letter in self._open:
            line, value = self._open.pop(letter)
            if value:
                self._unused[letter].append((line, value))
