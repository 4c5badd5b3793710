"""What a dialect table may not ignore: words after which later blocks would be other work, and nobody would see it."""

from hexpost.machine.words import CALL, ENDING, LETTERS, RETURN, code_word

ALONE = (
    "dwell", "exact stop once", "coolant", "override", "stop", "clamp", "range", "spindle mode", "polar coordinates",
    "scale factors", "turned coordinates",
)  # fmt: skip
"""Groups of words that are read and whose words leave all other blocks as they are."""
_SHIFT, _TURN, _WAY = "shifts the zero point", "turns, scales or mirrors the axes", "changes how axis words are read"
_CYCLE, _CALL, _SPEED = "repeats a cycle in blocks after it", "runs other blocks", "changes what S means"
_ELSEWHERE = {
    _SHIFT: "G10 G43.1 G43.4 G43.5 G45 G46 G47 G48 G52 G54.1 G54.2 G92.1 G92.2 G92.3",
    _TURN: "G51 G51.1 G53.1 G68 G68.1 G68.2 G68.3",
    _WAY: "G7 G7.1 G12.1 G16 G90.1 G91.1 G107 G112",
    _CYCLE: "G75 G76 G77 G78 G79",
    _CALL: "G66 G66.1 M17 M96 M97 M198",
    _SPEED: "G96",
}
"""What words that are not read do on some controls, by what it does (common practice, no source)."""
SETTING = {word: does for does, words in _ELSEWHERE.items() for word in words.split()}
"""The same by word."""


def why_not(word: str) -> str:
    """Return why a word, as short as it goes (``"M8"``, or a letter alone), is not to be ignored; nothing if it may be.

    A letter that is read may not be ignored with any number: the block would be another one.
    """
    letter, code = word[:1], word[1:]
    known = code_word(letter, float(code)) if code and letter in "GM" else None
    if known is not None:
        ends = letter == "M" and known.code in (*ENDING, CALL, RETURN)
        free = known.group in ALONE and not ends
        return "" if free else f"other blocks rest on {word} ({known.does.split(':')[0]})"
    if letter in "GM" and not code:
        return f"{letter} words move the tool and set what later blocks mean"
    if letter in LETTERS and letter not in "GM":
        return f"a block without its {letter} would be another one"
    return f"{word} {SETTING[word]} on some controls" if word in SETTING else ""
