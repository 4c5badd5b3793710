"""Damage to the motion: smooth warps with speeds and accelerations to match, shifts in time, rows that are others."""

import numpy as np
from attack.forging.kinds import NotHereError, kind
from scipy.interpolate import BPoly

MOTION = ("length", "speed", "acceleration")


def bump(t):
    """Return a bump (1 - s2)^4 over 0 to 1 and its two derivatives in t: it ends with three derivatives of nothing."""
    s = 2.0 * t - 1.0
    q = np.clip(1.0 - s * s, 0.0, None)
    return q**4, 2.0 * (-8.0 * s * q**3), 4.0 * (-8.0 * q**3 + 48.0 * s * s * q**2)


def warp(forgery, span, size, push):
    """Push struts (6,) by a smooth bump of this size over the rows of a span, all columns to match."""
    first, last = span
    t = np.arange(last - first + 1) / (last - first)
    run = (last - first) * forgery.period
    for group, values, scale in zip(MOTION, bump(t), (1.0, run, run * run), strict=True):
        change = np.zeros_like(forgery.get(group))
        change[:, first : last + 1] = size * push[:, None] * values / scale
        forgery.put(group, forgery.get(group) + change)
        if group == "length":
            forgery.commands(change)


def _span(forgery, what, rng, share=0.6):
    found = forgery.rows(what, least=16)
    if not found:
        raise NotHereError
    first, last = found
    wide = max(int((last - first) * share), 12)
    start = first + (last - first - wide) // 2
    return start, start + wide


def _one_strut(rng):
    push = np.zeros(6)
    push[rng.randrange(6)] = rng.choice([-1.0, 1.0])
    return push


def _all_struts(rng):
    push = np.array([rng.uniform(-1, 1) for _ in range(6)])
    return push / np.abs(push).max()


PLACES = {"line": "a line", "tilted": "a turn of the tool", "arc": "an arc", "circle": "a full circle",
          "rapid": "a rapid", "dwell": "a dwell", "chain": "a dense chain"}  # fmt: skip


def _enter_warps():
    def of(what, push):
        def make(forgery, rng, size):
            own = {"chain": _chain, "dwell": _dwell}.get(what)
            span = own(forgery) if own else _span(forgery, what, rng)
            warp(forgery, span, size, push(rng))

        return make

    for what, told in PLACES.items():
        kind(f"smooth warp of one strut in {told}", "motion", 0.01, 1e-6, "mm")(of(what, _one_strut))
        kind(f"smooth warp of all struts in {told}", "motion", 0.01, 1e-6, "mm")(of(what, _all_struts))


def _chain(forgery):
    numbers = [i for i, b in enumerate(forgery.base.blocks, 1) if b.what == "chain"]
    found = np.flatnonzero(np.isin(forgery.line, numbers))
    if len(found) < 30:
        raise NotHereError
    a, b = int(found[0]), int(found[-1])
    return a + (b - a) // 4, b - (b - a) // 4


_enter_warps()


@kind("bump beside a dense chain", "motion", 0.04, 1e-6, "mm")
def _beside(forgery, rng, size):
    """The tool leaves a chain by more than corners may."""
    warp(forgery, _chain(forgery), size, np.full(6, rng.choice([-1.0, 1.0])))


@kind("smooth warp over the whole job", "motion", 0.01, 1e-6, "mm")
def whole(forgery, rng, size):
    """Push all struts slowly, from the first row to the last."""
    warp(forgery, (0, forgery.values.shape[1] - 1), size, _all_struts(rng))


@kind("sideways and back for good", "motion", 0.01, 1e-6, "mm")
def away(forgery, rng, size):
    """Let one strut go off in the first half and come back in the second, standing off between."""
    n = forgery.values.shape[1]
    a, b = n // 5, n - 1 - n // 5
    wide = max(n // 10, 8)
    change = {g: np.zeros_like(forgery.get(g)) for g in MOTION}
    k, run = rng.randrange(6), wide * forgery.period
    t = np.arange(wide + 1) / wide
    rise = BPoly.from_derivatives([0.0, 1.0], [[0.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, 0.0]])
    for order, group in enumerate(MOTION):
        up = rise.derivative(order)(t) if order else rise(t)
        change[group][k, a : a + wide + 1] += size * up / run**order
        change[group][k, b - wide : b + 1] -= size * up / run**order
        if order == 0:
            change[group][k, a + wide + 1 :] += size
            change[group][k, b + 1 :] -= size
        forgery.put(group, forgery.get(group) + change[group])
    forgery.commands(change["length"])


def at_times(forgery, when, rate, change):
    """Run the job at other times: rows take the motion at ``when`` (n,) s, passing at ``rate``, ``change`` of it."""
    own = np.arange(forgery.values.shape[1]) * forgery.period
    told = [forgery.get(g) for g in MOTION]
    curves = [BPoly.from_derivatives(own, np.stack([x[k] for x in told], axis=1)) for k in range(6)]
    when = np.clip(when, 0.0, own[-1])
    at = np.clip(np.rint(when / forgery.period).astype(int), 0, len(own) - 1)
    follow = {g: forgery.get(g)[:, at] for g in ("command",) if forgery.group(g)}
    before = told[0][:, at]
    forgery.values = forgery.values[:, at]
    forgery.clock()
    length, speed, acceleration = (np.array([c(when, nu=k) for c in curves]) for k in range(3))
    forgery.put("length", length)
    forgery.put("speed", speed * rate)
    forgery.put("acceleration", acceleration * rate**2 + speed * change)
    if follow:
        forgery.put("command", follow["command"] + length - before)


@kind("ahead of time in a line and late again", "motion", 5.0, 1e-4, "% of the feed")
def ahead(forgery, rng, size):
    """Run the middle of a cut faster, then slower, on the same path."""
    first, last = _span(forgery, "line", rng)
    own = np.arange(forgery.values.shape[1]) * forgery.period
    run = (last - first) * forgery.period
    t = np.clip((own - own[first]) / run, 0.0, 1.0)
    b, db, ddb = bump(t)
    most = float(np.abs(db).max())
    scale = size / 100.0 / most
    at_times(forgery, own + scale * run * b, 1.0 + scale * db, scale * ddb / run)


@kind("a stretch of a cut faster than its F", "motion", 5.0, 1e-4, "% of the feed")
def faster(forgery, rng, size):
    """Run the middle of a cut faster for good: the job ends earlier."""
    first, last = _span(forgery, "line", rng)
    n, h = forgery.values.shape[1], forgery.period
    when, rate, change = [0.0], [1.0], [0.0]
    start, run = first * h, (last - first) * h
    while when[-1] < (n - 1) * h and len(when) < 2 * n:
        b, db, _ = bump(np.clip(np.array([(when[-1] - start) / run]), 0.0, 1.0))
        rate.append(1.0 + size / 100.0 * float(b[0]))
        change.append(size / 100.0 * float(db[0]) / run * rate[-1])
        when.append(when[-1] + rate[-1] * h)
    rate, change = [*rate[1:], 1.0], [*change[1:], 0.0]
    at_times(forgery, np.array(when), np.array(rate), np.array(change))


def chosen(forgery, order):
    """Let the table consist of rows (n,) of its own, in this order and in time; events and segments go along."""
    order = np.asarray(order)
    forgery.values = forgery.values[:, order]
    forgery.clock()

    def now(row, *, last=False):
        found = np.flatnonzero(order == row)
        if not len(found):
            found = np.flatnonzero(order >= row)
        return int(found[-1 if last else 0]) if len(found) else len(order) - 1

    for i, text in enumerate(forgery.events[1:], 1):
        cells = text.split(",")
        cells[1] = str(now(int(cells[1])))
        cells[0] = f"{int(cells[1]) * forgery.period:.6f}"
        forgery.events[i] = ",".join(cells)
    first = 0
    for segment in forgery.segments["segments"]:
        segment["first_row"] = first
        segment["last_row"] = max(now(segment["last_row"], last=True), first)
        first = segment["last_row"] + 1


def _middle(forgery, rng):
    moving = np.flatnonzero(np.abs(forgery.get("speed")).max(axis=0) > 1.0)
    return int(moving[len(moving) // 2])


@kind("two rows exchanged", "rows")
def exchanged(forgery, rng, size):
    """Exchange two neighbours, times mended."""
    i, n = _middle(forgery, rng), forgery.values.shape[1]
    order = list(range(n))
    order[i], order[i + 1] = order[i + 1], order[i]
    chosen(forgery, order)


def _rows(name, order, *span):
    def make(forgery, rng, size):
        i, n = _middle(forgery, rng), forgery.values.shape[1]
        chosen(forgery, order(list(range(n)), i, int(size)))

    kind(name, "rows", *span)(make)


_rows("row twice", lambda r, i, k: r[: i + 1] + r[i:])
_rows("rows left out", lambda r, i, k: r[:i] + r[i + k :], 1.0, 0.5, "rows")
_rows("forty rows left out", lambda r, i, k: r[: max(i - 20, 1)] + r[i + 20 :])
_rows("stretch run twice", lambda r, i, k: r[: i + 10] + r[i - 10 :])
_rows("stretch run backwards", lambda r, i, k: r[: i - 8] + r[i - 8 : i + 8][::-1] + r[i + 8 :])
_rows("last row left out", lambda r, i, k: r[:-1])
_rows("last ten rows left out", lambda r, i, k: r[:-10])
_rows("first row left out", lambda r, i, k: r[1:])
_rows("second half left out", lambda r, i, k: r[:i])
_rows("all rows a period late", lambda r, i, k: [0, *r])
_rows("all rows twenty periods late", lambda r, i, k: [0] * 20 + r)


def _dwell(forgery):
    """Return first and last row of a rest in a dwell."""
    number = next((i for i, b in enumerate(forgery.base.blocks, 1) if b.what == "dwell"), None)
    event = next((e.split(",") for e in forgery.events if e.split(",")[2] == str(number)), None)
    if event is None:
        raise NotHereError
    first = int(event[1])
    last = first + int(float(event[6]) / forgery.period)
    if np.abs(forgery.get("speed")[:, first : last + 1]).max() > 0.0:
        raise NotHereError
    return first, last


@kind("rows of a dwell left out", "rows", 2.0, 1.0, "rows")
def shorter(forgery, rng, size):
    """Rest for fewer rows than asked."""
    first, last = _dwell(forgery)
    k = min(int(size), last - first - 2)
    chosen(forgery, [*range(first + 1), *range(first + 1 + k, forgery.values.shape[1])])


@kind("rows of a dwell doubled", "rows", 3.0, 1.0, "rows")
def lengthened(forgery, rng, size):
    """Rest for more rows than asked."""
    first, _ = _dwell(forgery)
    chosen(forgery, [*range(first + 1), *([first] * int(size)), *range(first + 1, forgery.values.shape[1])])
