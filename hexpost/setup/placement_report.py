"""A placement as text with a map of the pallet, as JSON, as a CSV map and as a setup file."""

from math import isfinite

from hexpost.documents import given, measured, seconds
from hexpost.setup.files import number, provenance, setup_text
from hexpost.setup.model import Outcome, Spot
from hexpost.setup.place import Placement
from hexpost.setup.trial import first_offset, moved
from hexpost.units import DEG_PER_RAD
from hexpost.voice import duration, not_looked_at, percent, plural

HEAD = "x_mm,y_mm,z_mm,turn_deg,findings,worst_use,limit,strut,line,duration_s"


def setup_file(p: Placement) -> str:
    """Return the setup file with the job where it runs best."""
    inputs = p.inputs
    setup = moved(inputs, p.spot)
    used = sorted({f.offset for f in inputs.meaning.moves.frames} - {"G53"})
    sources = {inputs.program.name: inputs.program.source}
    if inputs.setup.given:
        sources[inputs.setup.file] = inputs.setup.source
    notes = [
        *provenance("place", sources),
        f"{', '.join(used)} moved as one body: {_where(p.spot)}, turned by {number(p.spot.turn * DEG_PER_RAD, 6)} deg",
        f"before: {in_words(p.now)}",
        f"after: {in_words(p.best)}",
        *([unseen] if (unseen := not_looked_at(p.best.unseen)) else []),
    ]
    return setup_text(setup.offsets, setup, notes, used)


def document(p: Placement) -> dict[str, object]:
    """Return the JSON document."""
    return {
        "verdict": "clean" if p.best.clean else "broken",
        "objective": p.search.objective,
        "offset": first_offset(p.inputs),
        "present": {**_spot(p.present), **_outcome(p.now)},
        "best": {**_spot(p.spot), **_outcome(p.best)},
        "not_checked": [x.plain for x in p.best.unseen],
        "runs": p.runs,
        "map": [
            {**_spot(node), **({"off_pallet": True} if o is None else _outcome(o))}
            for node, o in zip(p.nodes, p.sweep, strict=True)
        ],
    }


def map_csv(p: Placement) -> str:
    """Return the map of the sweep as a CSV table; nodes where cuts leave the pallet have no outcome."""
    rows = [HEAD]
    for node, o in zip(p.nodes, p.sweep, strict=True):
        at = f"{node.x:.3f},{node.y:.3f},{node.z:.3f},{node.turn * DEG_PER_RAD:.3f},"
        rows.append(
            at + (",,,,," if o is None else f"{o.broken},{o.worst:.4f},{o.limit},{o.strut},{o.line},{o.duration:.3f}")
        )
    return "\n".join(rows) + "\n"


def text(p: Placement) -> str:
    """Return what a terminal shows."""
    offset = first_offset(p.inputs)
    lines = [
        f"before  {_where(p.present)}: {in_words(p.now)}",
        f"after   {_where(p.spot)}, turned by {number(p.spot.turn * DEG_PER_RAD, 3)} deg: {in_words(p.best)}",
        "",
        *picture(p),
        "",
        f"{p.runs} runs; the map shows where {offset} is; other offsets of the program move along",
    ]
    if p.search.objective == "nearest" and p.spot != p.present:
        lines.append(_moved(p))
    if p.spot == p.present:
        lines.append("no place was found that is better than the present one")
    if unseen := not_looked_at(p.best.unseen):
        lines.append(unseen)
    return "\n".join(lines) + "\n"


def _moved(p: Placement) -> str:
    """Return how far the job is moved, and which way, on the pallet."""
    steps = [(x, getattr(p.spot, x.lower()) - getattr(p.present, x.lower())) for x in "XYZ"]
    said = [f"{x}{'+' if d > 0 else '-'} by {number(abs(d), 3)} mm" for x, d in steps if abs(d) >= 0.0005]
    turn = (p.spot.turn - p.present.turn) * DEG_PER_RAD
    said += [f"turned by {number(turn, 3)} deg"] if abs(turn) >= 0.0005 else []
    nearest = "the nearest clean place" if p.best.clean else "no clean place was found; the least bad one"
    return f"{nearest}: {', '.join(said)} from now"


def picture(p: Placement) -> list[str]:
    """Return the map of the pallet at the height and turn of the sweep that hold its best node, y upwards."""
    known = [(o.key(p.search.objective), node) for node, o in zip(p.nodes, p.sweep, strict=True) if o is not None]
    if not known:
        return ["no place of the sweep keeps the cuts on the pallet: --overhang allows others"]
    best = min(known, key=lambda k: k[0])[1]
    there = {(n.x, n.y): o for n, o in zip(p.nodes, p.sweep, strict=True) if (n.z, n.turn) == (best.z, best.turn)}
    columns, rows = sorted({k[0] for k in there}), sorted({k[1] for k in there}, reverse=True)
    what = "seconds" if p.search.objective == "time" else "worst use of a limit in %"
    lines = [f"{what}, turned by {number(best.turn * DEG_PER_RAD, 3)} deg; ! breaks a limit, . cuts leave the pallet"]
    lines.append("   y_mm" + "".join(f"{x:8.0f}" for x in columns) + "  x_mm")
    lines += [f"{y:7.0f}" + "".join(_mark(there[x, y], p) for x in columns) for y in rows]
    return lines


def in_words(o: Outcome) -> str:
    """Return an outcome as one phrase."""
    found = "no limit broken" if o.clean else plural(o.broken, "finding")
    strut = f" (strut {o.strut})" if o.strut else ""
    use = f"worst use {percent(o.worst)} of {o.limit}{strut}" if o.limit and isfinite(o.worst) else "nothing moves"
    return f"{found}, {use}, {duration(o.duration)}"


def _mark(o: Outcome | None, p: Placement) -> str:
    """Return one place of the map."""
    if o is None:
        return "       ."
    value = f"{o.duration:.1f}" if p.search.objective == "time" else f"{100 * o.worst:.0f}"
    return f"{value + ('' if o.clean else '!'):>8s}"


def _where(spot: Spot) -> str:
    """Return a spot in words."""
    return f"X{number(spot.x, 3)} Y{number(spot.y, 3)} Z{number(spot.z, 3)}"


def _spot(spot: Spot) -> dict[str, object]:
    """Return a spot for JSON."""
    return {
        "x_mm": given(spot.x),
        "y_mm": given(spot.y),
        "z_mm": given(spot.z),
        "turn_deg": given(spot.turn * DEG_PER_RAD),
    }


def _outcome(o: Outcome) -> dict[str, object]:
    """Return an outcome for JSON."""
    return {
        "findings": o.broken, "worst_use": measured(o.worst, beside=1.0), "limit": o.limit, "strut": o.strut or None,
        "line": o.line, "duration_s": seconds(o.duration),
    }  # fmt: skip
