"""Classes of what keeps programs from being read: which faults a setting answers, and what to do about the others."""

from dataclasses import dataclass

from hexpost.errors import Fault
from hexpost.machine.language import WORD


@dataclass(frozen=True, slots=True)
class TroubleKind:
    """A class of faults: its name in reports, what to do, whether a setting answers it, the codes of its faults."""

    name: str
    does: str
    settled: bool
    codes: frozenset[str]


def _kind(name: str, does: str, *codes: str, settled: bool = False) -> TroubleKind:
    return TroubleKind(name, does, settled, frozenset(" ".join(codes).split()))


TEMPLATE = _kind("templates", "fill in the placeholders, or leave the file out of the library", "template")
OFF_CIRCLE = _kind(
    "arcs off their circle", "correct I J K or R, or post the program again",
    "arc-end-off arc-radius-bad arc-radius-too-small arc-full-circle-by-radius arc-centre-missing arc-two-centres "
    "arc-word-out-of-plane arc-word-without-arc",
)  # fmt: skip
VECTOR = _kind(
    "tool axis as a vector", "name its letters: tool_vector in [programmed_axes] of a machine file", settled=True
)
"""I J K on lines, where a second look finds that they can only be this."""
NO_ROW = _kind("words that no row can name", "correct the word: it has a sign, or too many digits", "")
OTHERS = _kind("other mistakes in blocks", "correct the blocks: `hexpost audit` names each with its line", "")

KINDS = (
    _kind("unknown words", "decide their rows of the dialect table", "unknown-word dialect-rest", settled=True),
    _kind("parameters of known words", "decide their rows of the dialect table",
          "word-out-of-place tolerance-too-small", settled=True),
    _kind("words refused on purpose", "the dialect table of the machine file refuses them", "dialect-refused"),
    _kind("units not stated", "answer words.units", "units-missing", settled=True),
    _kind("no motion word at the head", "answer words.first_motion", "no-motion-word", settled=True),
    _kind("rotary axes of another machine", "name them in [programmed_axes] of a machine file", "rotary-word-too-large",
          settled=True),
    VECTOR,
    _kind("home or tap", "answer words.g74", "return-reading-missing", settled=True),
    _kind("withdrawal by hand", "answer words.manual_withdrawal_s", "cycle-by-hand", settled=True),
    _kind("tools and offsets missing", "add them to the tools or the setup file", "missing-tools missing-offsets",
          settled=True),
    _kind("variables and macros", "write the numbers out, or post the program again for X Y Z A B C",
          "variable control-flow"),
    TEMPLATE,
    NO_ROW,
    _kind("exponents", "write numbers without an exponent", "exponent address-e"),
    OFF_CIRCLE,
    _kind("feeds missing", "write F into the first block that cuts, or into each under G93",
          "feed-missing inverse-feed-missing feed-bad spindle-speed-missing"),
    _kind("text outside comments", "put text for people in parentheses",
          "text-outside-comment comment-too-deep comment-in-word comment-not-closed comment-not-opened"),
    _kind("words after the end", "delete what never runs, or move it ahead of the end",
          "words-after-end", "word-behind-program-end", "words-after-return"),
    _kind("subprograms in other files", "put the subprogram into the file, after M30",
          "subprogram-missing subprogram-without-return call-without-number return-in-main subprogram-twice"),
    _kind("cutter compensation", "correct the way onto and along the contour",
          "compensation-starts-in-arc compensation-ends-in-arc compensation-side-changed compensation-plane-changed "
          "compensation-frame-changed compensation-tool-not-square compensation-no-path compensation-too-narrow "
          "compensation-radius-changed compensation-exit-gouges compensation-entry-gouges compensation-arc-too-small"),
    _kind("no part programs", "leave these files out of the library",
          "no-block no-motion toml-given not-text toml-given more-faults line-too-long control-character beyond-ascii "
          "too-many-marks"),
    _kind("files that cannot be read", "see to their rights and names, or take them out",
          "unreadable file too-large gone-wrong out-of-time out-of-memory worker-died"),
    OTHERS,
)  # fmt: skip
"""A code is in one class; codes that no class names are mistakes in blocks."""

_BY_CODE = {code: kind for kind in KINDS for code in kind.codes}
KIND_BY_NAME = {kind.name: kind for kind in KINDS}


def decidable(word: str) -> bool:
    """Return whether a row of the dialect table can name a word, or its letter."""
    return word[:1] not in ("G", "M") or WORD.fullmatch(word) is not None


PLACEHOLDERS = "{}<>&|"
"""Characters that no dialect has for variables: a program that holds them is a template."""


def kind_of(fault: Fault) -> TroubleKind:
    """Return the class of a fault."""
    at = (fault.column or 1) - 1
    if fault.code == "variable" and fault.text[at : at + 1] in tuple(PLACEHOLDERS):
        return TEMPLATE
    if fault.code == "unknown-word" and fault.word and not decidable(fault.word):
        return NO_ROW
    return _BY_CODE.get(fault.code, OTHERS)
