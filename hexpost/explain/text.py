"""The documents of blocks as lines of text: what changed, in the words of the trade."""

from collections.abc import Iterable, Iterator
from typing import Any, cast

from hexpost.explain.blocks import Document
from hexpost.moves.trace import IN_STATE
from hexpost.units import SECONDS_PER_MINUTE
from hexpost.voice import clean, number

INDENT = " " * 9
MOST_TEXT = 160
"""Characters of a block that are shown."""
PLACES = 4
"""Decimals of places: a tenth of a micrometre, as fine as programs are written."""


def text(blocks: Iterable[Document]) -> Iterator[str]:
    """Yield each block with what it does; what is in force is said in full first, and then where it changes."""
    before: dict[str, str] = {}
    place: object = None
    for block in blocks:
        now = in_words(cast("dict[str, Any]", block["state"]))
        yield head(block)
        events = cast("list[Document]", block["events"])
        moves = cast("list[Document]", block["moves"])
        told = (*(f"{event['word']}:" for event in events), *(LEADING if moves else ()))
        yield from (f"{INDENT}{brief(word)}" for word in cast("list[str]", block["once"]) if not word.startswith(told))
        seen = shown_by(moves)
        changed = [said for key, said in now.items() if before.get(key, "no") != said and key not in seen]
        changed = [said for said in changed if before or not said.startswith("no ")]
        if changed:
            yield f"{INDENT}now: {'; '.join(changed)}"
        offset = cast("dict[str, Any]", block["state"])["offset"]
        if now["offset"] != before.get("offset") and block["next_move_turns_deg"]:
            angle = number(round(cast("float", block["next_move_turns_deg"]), PLACES))
            yield f"{INDENT}{offset} is turned: the next move in it turns the platform by {angle} deg"
        yield from (f"{INDENT}{line}" for move in moves for line in (in_motion(move), *beside(move)))
        yield from (f"{INDENT}{happening(event)}" for event in events if event["waits"] or not is_told(event))
        here = (block["tip_mm_deg"], offset)
        if here != place and (not moves or moves[-1]["to_mm_deg"] != block["tip_mm_deg"]):
            yield f"{INDENT}tip at {at(block['tip_mm_deg'])} in {offset}"
        before, place = now, here


def shown_by(moves: list[Document]) -> set[str]:
    """Return which parts of the state the lines of these moves show: how they move, and how fast."""
    seen = {"motion"} if moves else set()
    return seen | ({"feed"} if any(move["feed_unit"] for move in moves) else set())


def is_told(event: Document) -> bool:
    """Return whether the state says what an event does: tool, speed, spindle or coolant."""
    word = str(event["word"])
    return word[0] in "ST" or word in IN_STATE


def head(block: Document) -> str:
    """Return the line number and the block as written."""
    words = clean(str(block["text"]).expandtabs(1)).strip()
    words = words if len(words) <= MOST_TEXT else words[: MOST_TEXT - 4] + " ..."
    return f"{block['line']:>7}  {words}".rstrip()


def in_words(state: dict[str, Any]) -> dict[str, str]:
    """Return the state as short sayings, one for each thing that can change by itself."""
    feed, row = state["feed"], state["length_row"]
    rest = {key: str(state[key]) for key in state if key not in TOLD and state[key] is not None}
    unit = "" if feed is None or feed["mm_per_unit"] == 1.0 else f" (lengths in units of {feed['mm_per_unit']:g} mm)"
    return {
        "motion": state["motion"] or "no motion word",
        "feed": "no feed in force" if feed is None else f"F {number(feed['written'])}{unit}",
        "offset": f"work offset {state['offset']}",
        "units": state["units"] or "no unit of length",
        **rest,
        "tool": f"tool {state['tool']} in the spindle" if state["tool"] else "no tool in the spindle",
        "length": f"tool length {number(state['length_mm'])} mm of row {row}" if row else "no tool length",
        "speed": "no spindle speed" if state["spindle_speed"] is None else f"S {number(state['spindle_speed'])}",
    }


TOLD = ("motion", "feed", "offset", "units", "tool", "tool_selected", "length_row", "length_mm", "spindle_speed")
"""Parts of the state that ``in_words`` puts into sayings of their own."""
LEADING = ("G28:", "G30:", "G53:", "G74:")
"""Words of one block whose moves show what they do."""


def brief(said: str) -> str:
    """Return a word and what it does in a few words: ``G09: exact stop``."""
    word, _, does = said.partition(": ")
    return f"{word}: {does.split(':')[0].split(',')[0]}"


def in_motion(move: Document) -> str:
    """Return a move in words: as it is written where that is something else than what it became."""
    what = str(move["kind"])
    if what == "arc" and "axis" in move:
        centre = cast("list[float]", move["centre_mm"])
        turn = cast("float", move["turn_deg"])
        what += f" of {number(round(turn, PLACES))} deg about {move['axis']} with centre "
        what += " ".join(f"{x}{figure(v)}" for x, v in zip("XYZ", centre, strict=True))
    where = " in machine coordinates" if move["frame"] == "G53" else ""
    turned = move.get("platform_turns_deg")
    turns = f"; the platform turns by {number(round(cast('float', turned), PLACES))} deg" if turned else ""
    programmed = cast("Document | None", move.get("programmed"))
    if programmed is None:
        fast = f", {at_feed(move)}" if move["feed_unit"] else ""
        return f"{what} to {at(move['to_mm_deg'])}{where}{fast}{turns}"
    words = cast("dict[str, float]", programmed["words_mm_deg"])
    fast = f", {at_feed(programmed)}" if programmed["feed_unit"] else ""
    scale = cast("float", programmed["mm_per_unit"])
    said = " ".join(f"{x}{figure(v / scale if x in 'XYZ' else v)}" for x, v in words.items())
    return f"{what} to {said} as programmed{fast}{turns}"


def beside(move: Document) -> Iterator[str]:
    """Yield what a move became on this machine, and where the tool centre goes."""
    programmed = cast("Document | None", move.get("programmed"))
    if programmed is not None:
        words = cast("dict[str, float]", programmed["words_mm_deg"])
        written = at([words.get(x, 0.0) for x in "XYZABC"])
        same = programmed["feed_unit"] == move["feed_unit"] and programmed["feed"] == move["feed"]
        if not same or "I" in words or written != at(move["to_mm_deg"]):
            yield f"  here: {at(move['to_mm_deg'])}{'' if same else lasting(move)}"
    centre = cast("list[Document] | None", move.get("tool_centre"))
    if centre is not None:
        yield from (f"  tool centre: {in_motion({**part, 'feed_unit': None})}" for part in centre)
        if not centre:
            yield "  tool centre: no move, the cutter is past this piece of the contour"


def at_feed(move: Document) -> str:
    """Return the feed of a move in words."""
    if not move["feed_unit"]:
        return "rapid"
    feed = cast("float | None", move["feed"])
    if feed is None:
        return f"no feed in {move['feed_unit']}"
    lasts = f" ({lasting(move)[2:]})" if move["feed_unit"] == "1/min" and feed else ""
    return f"{number(round(feed, PLACES))} {move['feed_unit']}{lasts}"


def lasting(move: Document) -> str:
    """Return how long a move under inverse time lasts, or the feed of another one, after a comma."""
    feed = cast("float | None", move["feed"])
    if move["feed_unit"] != "1/min" or not feed:
        return f", {at_feed(move)}"
    return f", in {number(round(SECONDS_PER_MINUTE / feed, PLACES))} s"


def happening(event: Document) -> str:
    """Return an event in words."""
    means = str(event["means"]).split(":")[0].split(",")[0]
    pause = cast("float", event["pause_s"])
    if pause or event["word"] == "G04":
        return f"{event['word']}: the tool rests {number(pause)} s"
    return f"{event['word']}: {means}"


def figure(value: float) -> str:
    """Return a length or an angle as places show it."""
    return number(round(value, PLACES) + 0.0)


def at(place: object) -> str:
    """Return a pose in words; angles only where one of them is not zero."""
    values = [round(v, PLACES) + 0.0 for v in cast("list[float]", place)]
    named = zip("XYZABC" if any(values[3:]) else "XYZ", values, strict=False)
    return " ".join(f"{x}{number(v)}" for x, v in named)
