"""Tables that say how programs are read: ``[words]``, ``[[dialect]]``, ``[programmed_axes]``, format sheets, others."""

import re
from collections.abc import Mapping

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.grammar_text import grammar_text
from hexpost.machine.ignoring import SETTING, why_not
from hexpost.machine.table import Table
from hexpost.machine.wording import (
    CENTRES,
    UNDECIDED,
    DialectWord,
    Digits,
    ProgrammedAxes,
    ReferenceReturn,
    RotaryAxis,
    Wording,
)
from hexpost.machine.words import LETTERS, known
from hexpost.units import SECONDS_PER_MINUTE

VECTOR = "IJKABC"
"""Letters that a tool vector may have."""
DIRECTIONS = {"A": (1.0, 0.0, 0.0), "B": (0.0, 1.0, 0.0), "C": (0.0, 0.0, 1.0)}


def programmed_axes(t: Table) -> ProgrammedAxes:
    """Return the axes of the table: one to three of them, each word in one axis; or the letters of a tool vector."""
    if t.has("tool_vector"):
        return _vector(t)
    axes: list[RotaryAxis] = []
    for row in t.tables("axis"):
        axis = _axis(row)
        if any(axis.word == other.word for other in axes):
            row.fault("word", f"is {axis.word} again; name each word once", "repeated")
        elif axes and axis.carries == axes[-1].carries and abs(axis.direction @ axes[-1].direction) > PARALLEL:
            what = (
                f"is that of {axes[-1].word} next to it: together they turn the tool as one; give one another direction"
            )
            row.fault("direction", what, "bad-value")
        axes.append(axis)
    out = ProgrammedAxes(
        tip=t.choice("coordinates", ("tip", "machine"), "tip") == "tip",
        axes=tuple(axes),
    )
    t.close()
    return out


def _vector(t: Table) -> ProgrammedAxes:
    """Return the letters of a tool vector; such a program has no rotary axes."""
    letters = t.texts("tool_vector")
    if len(set(letters)) != 3 or len(letters) != 3 or not set(letters) <= set(VECTOR):
        what = f"is {', '.join(x[:9] for x in letters[:9])}; write three letters of {' '.join(VECTOR)}, each once"
        t.fault("tool_vector", what, "bad-value", 'for example tool_vector = ["I", "J", "K"]')
        letters = ("I", "J", "K")
    for key in ("axis", "coordinates"):
        if t.has(key):
            t.fault(key, "does not go with tool_vector; take one of the two out", "bad-value")
            t.text(key) if key == "coordinates" else t.tables(key)
    t.close()
    return ProgrammedAxes(axes=(), vector="".join(letters))


def _axis(t: Table) -> RotaryAxis:
    """Return one rotary axis; its direction defaults to that of its letter, its sense to that of ISO 841."""
    word = t.choice("word", tuple(DIRECTIONS), None)
    usual = np.array(DIRECTIONS.get(word, DIRECTIONS["C"]))
    direction = np.array(t.numbers("direction", "x y z", usual))
    size = float(np.linalg.norm(direction))
    if not size > 1e-6:
        t.fault("direction", "has no length; write for example [1, 0, 0]", "bad-value")
        size = 1.0
    out = RotaryAxis(
        word=word,
        carries=t.choice("carries", ("table", "head"), None),
        direction=frozen(direction / size),
        sense=1 if t.choice("sense", ("tool", "part"), "tool") == "tool" else -1,
        centre=t.numbers("centre_mm", "x y z", np.zeros(3)),
    )
    t.close()
    return out


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


PARALLEL = 1.0 - 1e-6
"""Cosine of the angle between directions of rotary axes that are one."""
RETURNS = ("through-point", "direct")
DWELL = ("ms", "s", "none")
ACTIONS, TAKING = ("ignore", "same-as", *CENTRES, "refuse", UNDECIDED), ("ignore", "same-as", "refuse", UNDECIDED)
"""What can be done with a word of a shop, and which of it may name words that go along."""
WORD = re.compile(r"[A-Z](\d{1,12}(\.\d{1,3})?)?")
"""A letter, or a code: so many digits are told apart without rounding."""
PARAMETERS = re.compile(r"[A-FH-LP-Z]*")
ACTING = "XYZABCFSTHD"
"""Letters that act in their block, whatever else it says."""
CODE = re.compile(r"[GM]\d{1,3}(\.\d)?")


def words(t: Table) -> Wording:
    """Return how words are read where the standard leaves it open; every key has the default of ``Words``."""
    usual = Wording()
    out = Wording(
        units=t.choice("units", ("mm", "inch"), None) if t.has("units") else None,
        dwell_p=t.choice("dwell_p", DWELL, usual.dwell_p),
        dwell_x=t.choice("dwell_x", DWELL, usual.dwell_x),
        dwell_f=t.choice("dwell_f", DWELL, usual.dwell_f),
        arc_tolerance=t.positive("arc_tolerance_mm", default=usual.arc_tolerance, most=10.0),
        numbers=t.choice("numbers", ("decimal", "implied"), usual.numbers),
        format_mm=word_format(t, "format_mm"),
        format_inch=word_format(t, "format_inch"),
        arc_centre=t.choice("arc_centre", ("incremental", "absolute"), usual.arc_centre),
        first_motion=t.choice("first_motion", ("G00", "G01", "refuse"), None) if t.has("first_motion") else None,
        first_feed=t.positive("first_feed_mm_min", most=1e6) / SECONDS_PER_MINUTE
        if t.has("first_feed_mm_min")
        else None,
        inverse_time_arc=t.choice("inverse_time_arc", ("time", "radius"), usual.inverse_time_arc),
        mixed_feed=t.choice("mixed_feed", ("tip", "root-sum-square", "linear"), usual.mixed_feed),
        rotary=t.choice("rotary", ("absolute", "shortest"), usual.rotary),
        orientation=t.choice("orientation", ("angles", "great-circle"), usual.orientation),
        g28=t.choice("g28", RETURNS, usual.g28),
        bare_return=t.choice("bare_return", ("all-axes", "refuse"), usual.bare_return),
        g74=t.choice("g74", RETURNS, None) if t.has("g74") else None,
        tilted_length=t.choice("tilted_length", ("tip-stays", "coordinates-stay"), usual.tilted_length),
        peck_clearance=t.positive("peck_clearance_mm", default=usual.peck_clearance, most=100.0),
        manual_withdrawal=t.positive("manual_withdrawal_s", most=3600.0) if t.has("manual_withdrawal_s") else None,
    )
    if out.numbers == "implied" and not out.format_mm and not out.format_inch:
        what = 'is "implied" without a format; add for example format_mm = "X+53Y+53Z+53F40"'
        t.fault("numbers", what, "missing-key")
    if (out.dwell_p, out.dwell_x, out.dwell_f) == ("none",) * 3:
        t.fault("dwell_p", 'is "none", as are dwell_x and dwell_f; give one of them a unit', "bad-value")
    t.close()
    return out


def dialect(root: Table) -> tuple[DialectWord, ...]:
    """Return the rows of the dialect table; every word has one row at most."""
    rows: list[DialectWord] = []
    for t in root.tables("dialect") if root.has("dialect") else []:
        row = _dialect_word(t)
        if row.word and any(row.word == other.word for other in rows):
            t.fault("word", f"is {row.word} again; name each word once", "repeated")
        rows.append(row)
    for i, row in enumerate(rows, 1):
        other = next((k for k, x in enumerate(rows, 1) if x.word == row.same_as and k != i), None)
        if row.same_as and other is not None:
            what = f"is {row.same_as}, to which dialect[{other}] gives another meaning; write what that row says"
            root.fault(f"dialect[{i}].same_as", what, "bad-value")
    return tuple(rows)


def _dialect_word(t: Table) -> DialectWord:
    """Return one row of the dialect table."""
    word, action = t.text("word").upper(), t.choice("action", ACTIONS, None)
    if word and not WORD.fullmatch(word):
        t.fault("word", f"is {word[:40]}; write a letter, or a letter and a number as in M1234 or G12.3", "bad-value")
        word = ""
    elif word in ("N", "O"):
        t.fault("word", f"is {word}; block and program numbers are no words", "bad-value")
        word = ""
    same = t.text("same_as").upper() if action == "same-as" else ""
    if same and not CODE.fullmatch(same):
        t.fault("same_as", f"is {same[:40]}; write a G or M word as in M08", "bad-value")
        same = ""
    elif same and not known(same):
        hint = "`hexpost words` lists the words there are"
        t.fault("same_as", f"is {same[:40]}, which is no word that is read", "bad-value", hint)
        same = ""
    message = t.text("message", None if action == "refuse" else "-")
    along = "".join(t.text("with").upper().split()) if action in TAKING and t.has("with") else ""
    if not PARAMETERS.fullmatch(along):
        t.fault("with", f'is {along[:40]}; write the letters of the words that go along, as in "PQ"', "bad-value")
    if action == "same-as" and (lost := "".join(x for x in along if x in ACTING)):
        t.fault("with", f"takes {lost} along, which act in their block whatever it says; take them out", "bad-value")
    _may_be_ignored(t, _plain(word), action, harmless=action == "ignore" and t.flag("harmless"))
    t.close()
    return DialectWord(
        word=_plain(word),
        action=action,
        same_as=_plain(same),
        message="" if message == "-" else message,
        along=along,
    )


def _may_be_ignored(t: Table, word: str, action: str, *, harmless: bool) -> None:
    """Report a row that would make other work of the blocks around its word."""
    if action == "same-as" and len(word) == 1:
        t.fault("word", f"is {word}, whose number would be lost; write it with its number, as in {word}5", "bad-value")
    elif action == "same-as" and word[:1] in LETTERS and word[:1] not in "GM":
        t.fault("word", f"is {word}, and a block without its {word[:1]} would be another one", "bad-value")
    why = why_not(word) if word and action == "ignore" else ""
    if why and not (harmless and word in SETTING):
        hint = 'write action = "refuse"'
        if word in SETTING:
            hint += ", or harmless = true where your machine's manual says that other blocks mean the same without it"
        t.fault("action", f"is ignore, and {why}", "bad-value", hint)


def _plain(word: str) -> str:
    """Return a word with its number as short as it goes: M8 and M08 are one word."""
    return word[:1] + f"{float(word[1:]):.15g}" if len(word) > 1 else word


def reference_return(t: Table, zero: Array) -> ReferenceReturn:
    """Return where reference returns lead; each key defaults to machine zero."""
    out = ReferenceReturn(
        g28=t.pose("g28_pose_mm_deg") if t.has("g28_pose_mm_deg") else zero,
        g30=t.pose("g30_pose_mm_deg") if t.has("g30_pose_mm_deg") else zero,
        g74=t.pose("g74_pose_mm_deg") if t.has("g74_pose_mm_deg") else zero,
    )
    t.close()
    return out
