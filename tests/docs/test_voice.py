"""Documents, manuals and samples in plain words: none of those that a machinist would not say, and short sentences."""

import re
import tomllib
from pathlib import Path

import pytest

from hexpost.cli import MANUALS
from hexpost.cli.words import NOTES
from hexpost.machine.load import DEMONSTRATION

ROOT = Path(__file__).parent.parent.parent
AVOIDED = re.compile(r"\b(stands?|standing|stood|tells?|told|mend(s|ed|ing)?|behind|asks? of)\b", re.IGNORECASE)
MOST_WORDS = 34
"""Words between two full stops, colons or semicolons; lists make some sentences longer than 25."""


def prose(path):
    """Return the sentences of a text: code, tables and dialogues left out."""
    text = path.read_text()
    if path == NOTES:
        text = "\n\n".join(note["text"] for note in tomllib.loads(text)["note"])
    elif path.suffix == ".toml":
        text = "\n\n".join(re.findall(r"# (.*)$", text, re.MULTILINE))
    text = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    text = re.sub(r"^(\|.*\||#.*|!\[.*)$", "", text, flags=re.MULTILINE)
    text = re.sub(r"^  \$ .*\n(?:  .*\n)*", "", text, flags=re.MULTILINE)
    for paragraph in re.split(r"\n\s*\n|\n(?=- )", text):
        yield from re.split(r"(?<=[.!?:;])\s+", " ".join(paragraph.split()))


FILES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", NOTES, DEMONSTRATION, *sorted(MANUALS.glob("*.txt")),
         *sorted((ROOT / "samples").glob("*.toml"))]  # fmt: skip


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_plain_words(path):
    sentences = list(prose(path))
    assert not [s for s in sentences if AVOIDED.search(s)]
    assert sentences or path.name == "setup_corner.toml"
    if path.suffix != ".toml" and path.name != "DEVELOPERS.md":
        assert not [s for s in sentences if len(s.split()) > MOST_WORDS]
