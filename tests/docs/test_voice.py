"""Documents, manuals, samples and all texts of the code in plain words: none of those that a machinist would not say.

Another folder of the code is looked at once it is in ``ROOMS``: every text in it but docstrings and what has no blank.
"""

import ast
import json
import re
import tomllib
from pathlib import Path

import pytest

from hexpost.audit.limits import LIMITS
from hexpost.cli import MANUALS
from hexpost.cli.words import NOTES
from hexpost.machine.load import DEMONSTRATION

ROOT = Path(__file__).parent.parent.parent
PACKAGE = ROOT / "hexpost"
AVOIDED = re.compile(r"\b(stands?|standing|stood|tells?|told|mend(s|ed|ing)?|behind|asks? of)\b", re.IGNORECASE)
ROOMS = (
    "audit", "cli", "convert.py", "errors.py", "explain", "feed", "library", "machine", "moves", "pages",
    "pipeline.py", "program", "proving.py", "reach", "refeed", "report", "selfcheck.py", "setup", "survey", "tables",
    "verify", "voice.py", "workers",
)  # fmt: skip
"""Where texts are kept to the list."""

FAULT_FIRST = tuple(room for room in ROOMS if room not in ("audit", "refeed", "verify"))
"""Where a fault begins with what is wrong, not with what the grammar would take."""
EXPECTED = re.compile(r"^\W*expected\b", re.IGNORECASE)

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


def texts(file):
    """Return the texts of a module with their lines: constants with a blank, and such parts of formatted ones."""
    tree = ast.parse(file.read_text())
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}  # docstrings
    constants = [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and id(node) not in silent]
    found = [(node.lineno, node.value) for node in constants if isinstance(node.value, str)]
    return [(line, text) for line, text in found if " " in text.strip()]


def helps(file):
    """Return the docstrings of commands, which are their help."""
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.FunctionDef) and node.name == "command":
            yield node.lineno, ast.get_docstring(node) or ""


def descriptions(schema):
    """Return all descriptions and titles of a schema."""
    if isinstance(schema, dict):
        for key, value in schema.items():
            if key in ("description", "title") and isinstance(value, str):
                yield 0, value
            else:
                yield from descriptions(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from descriptions(value)


def shown(room):
    """Return all texts of a room, with where they are."""
    for file in sorted((PACKAGE / room).rglob("*.py")) if (PACKAGE / room).is_dir() else [PACKAGE / room]:
        for line, text in [*texts(file), *(helps(file) if room == "cli" else [])]:
            yield f"{file.relative_to(PACKAGE)}:{line}", text


@pytest.mark.parametrize("room", ROOMS)
def test_texts_do_not_use_forbidden_words(room):
    found = [f"{place}: {text!r}" for place, text in shown(room) if AVOIDED.search(text)]
    assert not found


@pytest.mark.parametrize("room", FAULT_FIRST)
def test_faults_begin_with_what_is_wrong(room):
    assert not [f"{place}: {text!r}" for place, text in shown(room) if EXPECTED.search(text)]


def test_schemas_and_scripts_do_not_either():
    files = [
        *(PACKAGE / "pages").glob("*.*s"),
        *(PACKAGE / "schemas").glob("*.json"),
    ]
    assert len(files) > 5
    for file in files:
        whole = file.read_text()
        parts = descriptions(json.loads(whole)) if file.suffix == ".json" else enumerate(whole.splitlines(), 1)
        assert not [f"{file.name}:{line}: {text}" for line, text in parts if AVOIDED.search(text)]


def test_rows_of_limits_are_short_sentences():
    for row in LIMITS:
        for text in (row.meaning, *(row.advice.words(case) for case in range(6))):
            sentences = [s for s in re.split(r"(?<=[.:])\s+", text) if s]
            assert all(len(s.split()) <= 25 for s in sentences), text


def test_the_list_finds_what_it_is_for():
    assert AVOIDED.search("it stands in no workshop") and AVOIDED.search("Mended") and not AVOIDED.search("it is")
    assert EXPECTED.search(": expected a number, found 3") and not EXPECTED.search("not what was expected")
    assert len(list(shown("report"))) > 100
