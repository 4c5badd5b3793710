"""The documents of blocks as lines of text: what changed, in the words of the trade."""

from collections.abc import Iterable, Iterator
from typing import Any, cast

from hexpost.explain.blocks import Document
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
        told = tuple(f"{event['word']}:" for event in events)
        yield from (f"{INDENT}{word}" for word in cast("list[str]", block["once"]) if not word.startswith(told))
        changed = [said for key, said in now.items() if before.get(key) != said]
        if changed:
            yield f"{INDENT}now: {'; '.join(changed)}"
        offset = cast("dict[str, Any]", block["state"])["offset"]
        moves = cast("list[Document]", block["moves"])
        yield from (f"{INDENT}{in_motion(move)}" for move in moves)
        yield from (f"{INDENT}{happening(event)}" for event in events)
        here = (block["tip_mm_deg"], offset)
        if here != place and (not moves or moves[-1]["to_mm_deg"] != block["tip_mm_deg"]):
            yield f"{INDENT}tip at {at(block['tip_mm_deg'])} in {offset}"
        before, place = now, here


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
        "motion": state["motion"] or "no motion word yet",
        "feed": "no feed in force" if feed is None else f"F {number(feed['written'])}{unit}",
        "offset": f"work offset {state['offset']}",
        "units": state["units"] or "no unit of length yet",
        **rest,
        "tool": f"tool {state['tool']} in the spindle" if state["tool"] else "no tool in the spindle",
        "length": f"tool length {number(state['length_mm'])} mm of row {row}" if row else "no tool length",
        "speed": "no spindle speed" if state["spindle_speed"] is None else f"S {number(state['spindle_speed'])}",
    }


TOLD = ("motion", "feed", "offset", "units", "tool", "tool_selected", "length_row", "length_mm", "spindle_speed")
"""Parts of the state that ``in_words`` puts into sayings of their own."""


def in_motion(move: Document) -> str:
    """Return a move in words."""
    what = {"rapid": "rapid", "line": "line", "arc": "arc"}[str(move["kind"])]
    if move["kind"] == "arc":
        centre = cast("list[float]", move["centre_mm"])
        turn = cast("float", move["turn_deg"])
        what += f" of {number(round(turn, PLACES))} deg about {move['axis']} with centre "
        what += " ".join(f"{x}{number(round(v, PLACES) + 0.0)}" for x, v in zip("XYZ", centre, strict=True))
    fast = f", {at_feed(move)}" if move["feed_unit"] else ""
    where = " in machine coordinates" if move["frame"] == "G53" else ""
    return f"{what} to {at(move['to_mm_deg'])}{where}{fast}"


def at_feed(move: Document) -> str:
    """Return the feed of a move in words."""
    if not move["feed_unit"]:
        return "rapid"
    feed = cast("float", move["feed"])
    lasts = f" (in {number(round(60.0 / feed, PLACES))} s)" if move["feed_unit"] == "1/min" and feed else ""
    return f"{number(round(feed, PLACES))} {move['feed_unit']}{lasts}"


def happening(event: Document) -> str:
    """Return an event in words."""
    means = str(event["means"]).split(":")[0].split(",")[0]
    pause = cast("float", event["pause_s"])
    if pause or event["word"] == "G04":
        return f"{event['word']}: the tool rests {number(pause)} s"
    return f"{event['word']}: {means}"


def at(place: object) -> str:
    """Return a pose in words; angles only where one of them is not zero."""
    values = [round(v, PLACES) + 0.0 for v in cast("list[float]", place)]
    named = zip("XYZABC" if any(values[3:]) else "XYZ", values, strict=False)
    return " ".join(f"{x}{number(v)}" for x, v in named)
