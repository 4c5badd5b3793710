"""Where the grammar files are: in a wheel, a source tree and an editable install."""

from pathlib import Path

from hexpost.errors import HexpostError

PACKAGE = Path(__file__).resolve().parent


def grammar_text(name: str, package: Path = PACKAGE) -> str:
    """Return the text of a grammar file.

    An installed package holds the grammars in a folder of its own; in a source tree (or an editable install) they
    lie beside the package. The working directory plays no part.

    Raises
    ------
    HexpostError
        When the file is in neither place: the installation is damaged.
    """
    places = [package / "grammars" / name, package.parent / "grammars" / name]
    for place in places:
        if place.is_file():
            return place.read_text(encoding="utf-8")
    looked = " and ".join(str(place.parent) for place in places)
    raise HexpostError(f"grammar {name} is missing from the installation (looked in {looked}): install it again")
