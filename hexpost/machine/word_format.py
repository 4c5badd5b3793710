"""The shorthand of a format sheet (``N4G2X+24Y+24F31``) as digits ahead of and behind an implied point."""

from collections.abc import Mapping

from hexpost.grammar_text import grammar_text
from hexpost.machine.table import Table
from hexpost.machine.wording import Digits


def word_format(t: Table, key: str) -> Mapping[str, Digits]:
    """Return the digits by address letter that a key of the machine file states; none where it is missing.

    Letters that hold whole numbers (one digit in the shorthand) have no implied point and are left out.
    """
    if not t.has(key):
        return {}
    text = t.text(key)
    try:
        return shorthand(text) if text else {}
    except ValueError as error:
        t.fault(key, str(error), "bad-value", "for example X+53Y+53Z+53F40")
        return {}


def shorthand(text: str) -> dict[str, Digits]:
    """Return the digits by address letter of a shorthand.

    Raises
    ------
    ValueError
        When it does not follow ``grammars/word_format.lark``, or names a letter twice.
    """
    from lark import Lark, Tree, UnexpectedInput

    try:
        tree = Lark(grammar_text("word_format.lark"), parser="lalr", start="format").parse(text)
    except UnexpectedInput as error:
        at = error.column - 1 if error.column > 0 else len(text)
        raise ValueError(
            f"is not the shorthand of a format sheet: {text[at : at + 20]!r} at character {at + 1}"
        ) from None
    out: dict[str, Digits] = {}
    seen: set[str] = set()
    for word in tree.children:
        assert isinstance(word, Tree)
        letter, digits = str(word.children[0]).upper(), str(word.children[-1])
        if letter in seen:
            raise ValueError(f"has {letter} twice; give each letter once")
        seen.add(letter)
        if len(digits) == 2:
            out[letter] = Digits(int(digits[0]), int(digits[1]))
        elif len(digits) == 3:
            last = digits[2] == "0"
            whole, fraction = (digits[0], digits[1]) if last else (digits[1], digits[2])
            out[letter] = Digits(int(whole), int(fraction), trailing=last)
    return out
