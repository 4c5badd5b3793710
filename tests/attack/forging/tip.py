"""Damage to what is said of the tip and the drives: lags, swings, sag, loads, and knots beside the table."""

from attack.forging.inputs import copied_number
from attack.forging.kinds import NotHereError, kind
from attack.forging.papers import report_kind, worst_less
from attack.forging.twins import twin

for limit in ("contour", "vibration", "thrust", "thrust-continuous", "torque", "torque-continuous", "power"):
    report_kind(f"worst {limit} smaller", worst_less(limit))


def _milder(*path):
    """Return a change that takes three tenths off a number of the report."""

    def change(report, forgery):
        where = report
        for name in path[:-1]:
            if name not in where:
                raise NotHereError
            where = where[name]
        if not where or not where[path[-1]]:
            raise NotHereError
        where[path[-1]] *= 0.7

    return change


report_kind("forecast of the tip milder", _milder("forecast", "across", "worst_mm"))
report_kind("forecast of lateness milder", _milder("forecast", "late", "worst_mm"))
report_kind("sag of the report milder", _milder("sag", "before", "worst_mm"))
report_kind("sag that is left milder", _milder("sag", "after", "mean_mm"))
report_kind("natural frequency higher", lambda r, f: _higher(r))


def _higher(report):
    found = report.get("natural_frequencies")
    if not found:
        raise NotHereError
    found["frequencies_hz"][0] *= 1.2


for name, pattern, change in (
    ("position loops faster in the copy", "position_gain_1_s =", lambda x: 1.3 * x),
    ("allowed contour wider in the copy", "contour_mm =", lambda x: 2.0 * x),
    ("allowed swing wider in the copy", "vibration_mm =", lambda x: 2.0 * x),
    ("stiffer struts in the copy", "stiffness_n_um =", lambda x: 1.2 * x),
    ("more thrust allowed in the copy", "thrust_n =", lambda x: 2.0 * x),
):
    kind(name, "inputs")(copied_number(pattern, change))


def _knots(name, change, *span, options=(), said=()):
    """Enter a kind for a job with knots: ``change(rows, forgery, rng, size)`` of the fields of all knots."""

    def make(forgery, rng, size):
        twin(forgery, rng, options=[*forgery.base.options, "--knots", *options], said=said)
        path = forgery.folder / "knots.csv"
        head, *lines = path.read_text().splitlines()
        rows = [line.split(",") for line in lines]
        if len(rows) < 12:
            raise NotHereError
        change(rows, forgery, rng, size)
        text = "\n".join([head, *(",".join(row) for row in rows)]) + "\n"
        forgery.before.append(lambda folder: path.write_text(text))

    kind(name, "knots", *span)(make)


def _plain(rows, forgery, rng):
    """Return the number of a knot that is none for an event or a segment."""
    must = {int(e.split(",")[1]) for e in forgery.events[1:]}
    must |= {s["last_row"] for s in forgery.segments["segments"]}
    found = [i for i in range(2, len(rows) - 2) if int(rows[i][1]) not in must]
    if not found:
        raise NotHereError
    return rng.choice(found)


def _number(field):
    def change(rows, forgery, rng, size):
        at, k = _plain(rows, forgery, rng), rng.randrange(6) + field
        rows[at][k] = f"{float(rows[at][k]) + rng.choice([-1, 1]) * size:.6f}"

    return change


def _left_out(rows, forgery, rng, size):
    del rows[_plain(rows, forgery, rng)]
    _renumbered(rows, forgery)


def _renumbered(rows, forgery):
    """Let events name the numbers that their knots have now."""
    place = {int(row[1]): i for i, row in enumerate(rows)}
    for i, text in enumerate(forgery.events[1:], 1):
        cells = text.split(",")
        forgery.events[i] = ",".join([*cells[:-1], str(place.get(int(cells[1]), cells[-1]))])


def _of_event_left_out(rows, forgery, rng, size):
    inner = {int(e.split(",")[1]) for e in forgery.events[1:]} - {int(rows[0][1]), int(rows[-1][1])}
    if not inner:
        raise NotHereError
    row = rng.choice(sorted(inner))
    del rows[next(i for i, x in enumerate(rows) if int(x[1]) == row)]
    _renumbered(rows, forgery)


def _other_row(rows, forgery, rng, size):
    """Put a knot at the next row, with what the table has there."""
    at = _plain(rows, forgery, rng)
    row = int(rows[at][1]) + 1
    if row >= int(rows[at + 1][1]):
        raise NotHereError
    motion = [f"{x:.6f}" for x in (*forgery.get("length")[:, row], *forgery.get("speed")[:, row])]
    decimals = len(rows[at][0].split(".")[1])
    rows[at] = [f"{row * forgery.period:.{decimals}f}", str(row), *motion]


def _end_left_out(rows, forgery, rng, size):
    del rows[-1]


def _event(rows, forgery, rng, size):
    at = rng.randrange(1, len(forgery.events))
    cells = forgery.events[at].split(",")
    forgery.events[at] = ",".join([*cells[:-1], str(int(cells[-1]) + 1)])


_knots("length of a knot", _number(2), 1e-3, 1e-6, "mm")
_knots("speed of a knot", _number(8), 1.0, 1e-4, "mm/s")
_knots("knot left out", _left_out)
_knots("knot of an event left out", _of_event_left_out)
_knots("knot at the next row", _other_row)
_knots("last knot left out", _end_left_out)
_knots("event at another knot", _event)
_knots("knots wider than said", lambda *_: None, options=["--within-um", "5"], said=["knots_within_um"])
_knots("knots nearer than said", lambda r, f, rng, s: f.manifest["settings"].update(knots_within_um=5.0))
