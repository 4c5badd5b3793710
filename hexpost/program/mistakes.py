"""What is wrong with a line that is no block: the fault, and how to fix it."""

import re
from dataclasses import dataclass

from lark import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from hexpost.errors import Fault
from hexpost.program.model import WHOLE_BLOCK, caret, decoded
from hexpost.program.parse import parse

MOST_IN_BLOCK = 5
"""So many faults of one block are listed."""
NEXT_WORD = re.compile(r"(?<![A-Z])[A-MP-Z](?![A-Z])", re.IGNORECASE)
"""Where reading goes on behind a word that is spoilt."""
COMMENT = re.compile(r"\([^()]*\)|;.*")
PEOPLE = re.compile(r"[A-Za-z]{5,}|(?<![A-Za-z])[A-Za-z]{3,}(?=[^A-Za-z].*(?<![A-Za-z])[A-Za-z]{3})")
"""Text for people: a run of five letters, or two runs of three."""
NO_PEOPLE = re.compile(r"[\[\]#=<>{}|]")
"""What stands in expressions, whose functions have long names, and not in text."""
BRACKETED = re.compile(r"\[[^\]]*\]?")
BLANKS = " \t"
COMMA, COMMA_DIGITS = re.compile(r"[A-Z][+-]?[0-9]+$", re.IGNORECASE), re.compile(r",([0-9]+)")
"""A word ahead of a decimal comma, and the digits after it."""


@dataclass(frozen=True, slots=True)
class SyntaxMistake:
    """A common mistake: known by the text ``behind`` the caret (searched) and ``ahead`` of it (matched).

    ``wants`` is "number" for mistakes where a letter waits for its number, "word" for those where it does not.
    """

    code: str
    ahead: str
    hint: str
    behind: str = ""
    wants: str = ""


WRITTEN_OUT = "variables, expressions, macro calls, IF and GOTO are not run: write the blocks out with their numbers"
"""What is said of programs that compute."""
MISTAKES = (
    SyntaxMistake(
        "control-flow",
        r"(F[ \t]*[\[#(]|OTO(?![A-Z])|HILE(?![A-Z])|HEN(?![A-Z])|E(LSE|NDIF|ND[ \t]*[0-9]+)(?![A-Z]))",
        WRITTEN_OUT,
        behind=r"(^|[^A-Z])[IGWT]?$",
    ),
    SyntaxMistake("control-flow", r"(UB|ENDSUB|ALL)(?![A-Z])", WRITTEN_OUT, behind=r"^[ \t]*O[ \t]*[0-9]+[ \t]+[SC]?$"),
    SyntaxMistake(
        "letter-for-zero",
        r"[+-]?\.?O(?![A-Z]*[A-NP-Z][A-Z]*([^-+.0-9A-Z]|$))",
        "write the digit 0 instead of the letter O",
        behind=r"[A-Z0-9.+-]$",
    ),
    SyntaxMistake("text-outside-comment", r"[A-Z]{2}", "put text for people in parentheses", behind=r"[A-Z]$"),
    SyntaxMistake(
        "comment-too-deep",
        r"(\([^()]*){5}",
        "parentheses in a comment may be nested four deep",
    ),
    SyntaxMistake(
        "comment-in-word",
        r"\([^()]*\)|;",
        "take the comment out from between the letter and its number",
        wants="number",
    ),
    SyntaxMistake("comment-not-closed", r"\(", "the comment is not closed: put ) at its end"),
    SyntaxMistake("comment-not-opened", r"\)", "there is no comment to close: put ( before it, or delete the )"),
    SyntaxMistake(
        "word-behind-percent",
        r"%",
        "what follows % on its line is the name of the program; put words on a line of their own",
        behind=r"^[ \t]*$",
    ),
    SyntaxMistake("percent-not-alone", r"%", "put % (program start or end) on a line of its own"),
    SyntaxMistake("skip-not-first", r"/", "put / (block skip) first in its block, and once"),
    SyntaxMistake("label-not-first", r"[NO:][ \t]*[0-9]", "put N, O and : numbers before the first word, one a block"),
    SyntaxMistake("label-not-whole", r"\.", "N, O and : numbers are whole numbers", behind=r"[NO:][ \t]*[0-9]+$"),
    SyntaxMistake("label-without-number", r"[NO:]", "N, O and : need a whole number right after them"),
    SyntaxMistake("comma", r",", "write the decimal point as . and no comma between words"),
    SyntaxMistake("exponent", r"E", "numbers have no exponent: write 0.001 in place of 1E-3", behind=r"[0-9.]$"),
    SyntaxMistake("address-e", r"E", "E is no address here; write feeds with F"),
    SyntaxMistake("two-signs", r"[+-][ \t]*[+-]", "a number has one sign", wants="number"),
    SyntaxMistake("blank-in-number", r"[+-][ \t]+\.?[0-9]", "take the blank out of the number", wants="number"),
    SyntaxMistake("blank-in-number", r"\.[ \t]+[0-9]", "take the blank out of the number", wants="number"),
    SyntaxMistake("point-alone", r"[+-]?\.", "a point alone is no number: write 0. or 0", wants="number"),
    SyntaxMistake("sign-alone", r"[+-]", "a sign alone is no number", wants="number"),
    SyntaxMistake("two-points", r"\.", "a number has one decimal point", behind=r"\.[0-9]*$", wants="word"),
    SyntaxMistake(
        "number-too-long", r"[0-9]", "a number has at most twenty digits on either side of the point", r"[0-9]{20}$"
    ),
    SyntaxMistake(
        "number-without-address",
        r"[+-]?\.?[0-9]",
        "put an address letter before the number, or take the blank out of it",
        wants="word",
    ),
    SyntaxMistake(
        "letter-for-one",
        r"[LI][0-9.]",
        "write the number that was forgotten; or is the digit 1 meant?",
        wants="number",
    ),
    SyntaxMistake(
        "number-missing", r"[A-Z]|$", "write the number that was forgotten, or delete the letter", wants="number"
    ),
    SyntaxMistake("variable", r"[#\[\]=<>*&|{}]", WRITTEN_OUT),
    SyntaxMistake(
        "control-character", r"[\x00-\x1f\x7f]", "delete the byte that is no text; was the file damaged on its way?"
    ),
    SyntaxMistake(
        "beyond-ascii",
        r"[\x80-\xff]",
        "outside comments only plain ASCII is read; a dash or blank from a text processor looks right and is not",
    ),
)

RULES = tuple((m, re.compile(m.ahead, re.IGNORECASE), re.compile(m.behind, re.IGNORECASE)) for m in MISTAKES)


def syntax_faults(file: str, line: int, raw: bytes, error: UnexpectedInput) -> list[Fault]:
    """Return the faults of a ``line`` (from 1) with the bytes ``raw``, which the parser refused with ``error``.

    What stands behind a fault is read as if nothing stood ahead of it, unless the fault is one of the whole block.
    """
    text = raw.decode("latin-1")
    out: list[Fault] = []
    while True:
        at, _ = place(text, error)
        people = _people(text)
        if people is not None and people.start() <= at <= people.end():
            told, column = text[people.start() :].strip()[:40], caret(raw, people.start() + 1)
            what, hint = (
                f"text for people outside parentheses: {told!r}",
                "put it in parentheses, or after a semicolon",
            )
            code, shown = "text-outside-comment", decoded(raw)
            return [*out, Fault(file=file, what=what, code=code, line=line, column=column, text=shown, hint=hint)]
        out.append(syntax_fault(file, line, raw, text, error))
        bare = COMMENT.sub(lambda comment: " " * len(comment[0]), text)
        bracket = BRACKETED.match(bare, at)
        word = NEXT_WORD.search(bare, bracket.end() if bracket else at + 1)
        if out[-1].code in WHOLE_BLOCK or word is None or len(out) == MOST_IN_BLOCK:
            return out
        text = " " * word.start() + text[word.start() :]
        try:
            parse(text)
        except UnexpectedInput as another:
            error = another
        else:
            return out


def _people(text: str) -> re.Match[str] | None:
    """Return the first run of letters of text for people that stands outside comments."""
    bare = COMMENT.sub(lambda comment: " " * len(comment[0]), text)
    if NO_PEOPLE.search(bare) or FLOW.search(bare) or "%" in bare:
        return None
    return PEOPLE.search(bare)


FLOW = re.compile(
    r"((?<![A-Za-z])(IF|GOTO|WHILE|THEN|ELSE|ENDIF)|^[ \t]*O[ \t]*[0-9]+[ \t]+(SUB|ENDSUB|CALL))(?![A-Za-z])",
    re.IGNORECASE,
)


def syntax_fault(file: str, line: int, raw: bytes, text: str, error: UnexpectedInput) -> Fault:
    """Return one fault of a ``line``: ``text``, its bytes ``raw`` or blanks instead of them, was refused."""
    at, expected = place(text, error)
    wants = "number" if expected == {"NUMBER"} else "word"
    mistake = next(
        (
            m
            for m, ahead, behind in RULES
            if m.wants in ("", wants) and ahead.match(text, at) and behind.search(text[:at])
        ),
        SyntaxMistake("unexpected-character", "", ""),
    )
    if wants == "number":
        what = f"{text[:at].rstrip(BLANKS)[-1:].upper()} has no number; {found(raw, at)} follows"
    else:
        label = "" if text[:at].strip(BLANKS) else "a label, "
        what = f"{found(raw, at)} does not fit here; a word, {label}a comment or the end of the block would"
    if mistake.code == "word-behind-percent":
        what = "words on the line of a %, where only the name of the program may be"
    elif mistake.code == "control-flow":
        what = "a block that computes, jumps or calls (IF, GOTO, WHILE, THEN, ELSE, END, SUB, CALL)"
    comma = COMMA.search(text[:at]) if mistake.code == "comma" else None
    fraction = COMMA_DIGITS.match(text, at)
    return Fault(
        file=file,
        what=what,
        code=mistake.code,
        line=line,
        column=caret(raw, at + 1),
        text=decoded(raw),
        hint=f"write {comma[0].upper()}.{fraction[1]}" if comma and fraction else mistake.hint,
    )


def place(text: str, error: UnexpectedInput) -> tuple[int, set[str]]:
    """Return where the parser stopped (from 0), and the terminals that it would have taken."""
    if isinstance(error, UnexpectedCharacters):
        return error.column - 1, set(error.allowed or ()) - {"BLANK"}
    assert isinstance(error, UnexpectedToken)
    start = error.token.start_pos
    at = len(text.rstrip(" \t")) if start is None or error.token.type == "$END" else start
    return at, set(error.expected)


def found(raw: bytes, at: int) -> str:
    """Return the name of what stands at offset ``at`` of a line."""
    if at >= len(raw):
        return "the end of the block"
    if number := re.match(rb"[0-9]+", raw[at:]):
        digits = number[0].decode()
        return digits if len(digits) <= 20 else digits[:20] + "..."
    character = decoded(raw)[caret(raw, at + 1) - 1]
    return f"{character!r}" if character.isprintable() else f"the byte 0x{raw[at]:02X}"
