"""Write the table of words into the README: ``python tests/docs/words_table.py``."""

from pathlib import Path

from hexpost.moves.words import markdown

README = Path(__file__).parent.parent.parent / "README.md"
BEGIN, END = "<!-- words -->\n", "<!-- /words -->"


def with_table(text: str) -> str:
    """Return the README with the table of words between its marks, made of the one table in the code."""
    before, rest = text.split(BEGIN)
    return before + BEGIN + markdown().strip() + "\n" + END + rest.split(END)[1]


if __name__ == "__main__":
    README.write_text(with_table(README.read_text()))
