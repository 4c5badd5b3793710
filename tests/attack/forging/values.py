"""Damage to single numbers, to whole columns and to the text of the table."""

import numpy as np
from attack.forging.folder import GROUPS
from attack.forging.kinds import NotHereError, kind


def drives(forgery):
    """Return the groups of columns that belong to the drives, or say that this machine has none."""
    found = [g for g in ("command", "turns", "counts") if forgery.group(g)]
    if not found:
        raise NotHereError
    return found


def _moving(forgery, rng):
    rows = np.flatnonzero(np.abs(forgery.get("speed")).max(axis=0) > 1.0)
    return int(rng.choice(rows[1:-1].tolist()))


def _one(group):
    def make(forgery, rng, size):
        if not forgery.group(group):
            raise NotHereError
        values = forgery.get(group)
        at = _moving(forgery, rng)
        values[rng.randrange(6), at] += rng.choice([-1, 1]) * size
        forgery.put(group, values)

    return make


for group, judged, floor, unit in (
    ("length", 1e-4, 1e-6, "mm"),
    ("speed", 1e3, 1e-4, "mm/s"),
    ("acceleration", 1e7, 0.1, "mm/s2"),
    ("command", 1e-4, 1e-6, "mm"),
    ("turns", 1e-4, 1e-6, "turns"),
    ("counts", 2.0, 1.0, "counts"),
    ("jerk", 1e4, 1e-2, "mm/s3"),
    ("thrust", 10.0, 1e-2, "N"),
    ("torque", 1.0, 1e-4, "N m"),
    ("power", 100.0, 1e-3, "W"),
    ("compensation", 1e-4, 1e-6, "mm"),
):
    kind(f"one {group}", "numbers", judged, floor, unit)(_one(group))


@kind("one strut longer throughout", "numbers", 1e-3, 1e-6, "mm")
def longer(forgery, rng, size):
    """Add a length to one strut in every row."""
    change = np.zeros_like(forgery.get("length"))
    change[rng.randrange(6)] = size
    forgery.put("length", forgery.get("length") + change)
    forgery.commands(change)


@kind("all commands off", "numbers", 1e-4, 1e-6, "mm")
def commands_off(forgery, rng, size):
    """Add a length to the commands of one strut in every row; lengths stay."""
    drives(forgery)
    values = forgery.get("command")
    values[rng.randrange(6)] += size
    forgery.put("command", values)


@kind("commands that make up for nothing", "numbers")
def nothing_added(forgery, rng, size):
    """Take what commands add for struts that give way off them again."""
    _added_times(forgery, 0.0)


@kind("commands that make up for too much", "numbers", 0.5, 1e-3, "of it")
def too_much_added(forgery, rng, size):
    """Let commands add more for struts that give way."""
    _added_times(forgery, 1.0 + size)


def _added_times(forgery, share):
    if "[compensation]" not in forgery.base.texts["machine"]:
        raise NotHereError
    forgery.commands((share - 1.0) * forgery.added())


@kind("lengths rounded", "numbers", 1e-3, 1e-6, "mm")
def rounded(forgery, rng, size):
    """Round all lengths to multiples of a size."""
    before = forgery.get("length")
    after = np.rint(before / size) * size
    forgery.put("length", after)
    forgery.commands(after - before)


@kind("one line number", "lines")
def one_line(forgery, rng, size):
    """Let one row in the middle of a block name the line of another."""
    first, last = _stretch(forgery)
    other = [x for x in set(forgery.line.tolist()) if x != forgery.line[first]]
    forgery.line[(first + last) // 2] = rng.choice(other)


def _stretch(forgery):
    """Return first and last row of some block that moves."""
    for what in ("line", "rapid", "arc", "circle"):
        found = forgery.rows(what)
        if found:
            return found
    raise NotHereError


def _shifted(step):
    def make(forgery, rng, size):
        lines = np.unique(forgery.line)
        if len(lines) < 3:
            raise NotHereError
        at = np.searchsorted(lines, forgery.line)
        forgery.line[:] = lines[np.clip(at + step, 0, len(lines) - 1)]

    return make


kind("all rows name the line before", "lines")(_shifted(-1))
kind("all rows name the line after", "lines")(_shifted(1))


@kind("a block's rows name the line after", "lines")
def block_after(forgery, rng, size):
    """Let all rows of one block name the line that follows."""
    first, last = _stretch(forgery)
    if last + 1 >= len(forgery.line):
        raise NotHereError
    forgery.line[first : last + 1] = forgery.line[last + 1]


@kind("a corner's rows name the line after", "lines", 20, 1, "rows")
def corner_after(forgery, rng, size):
    """Let the last rows of a block name the line that follows."""
    first, last = _stretch(forgery)
    if last + 1 >= len(forgery.line) or last - first < size:
        raise NotHereError
    forgery.line[last - int(size) + 1 : last + 1] = forgery.line[last + 1]


@kind("a line that the program lacks", "lines")
def no_line(forgery, rng, size):
    """Let all rows of one block name a line that there is not."""
    first, last = _stretch(forgery)
    forgery.line[first : last + 1] = 9999


@kind("two struts exchanged", "columns")
def struts(forgery, rng, size):
    """Exchange all columns of two struts."""
    i, j = rng.sample(range(6), 2)
    for group in GROUPS:
        if rows := forgery.group(group):
            forgery.values[[rows[i], rows[j]]] = forgery.values[[rows[j], rows[i]]]


def _zero(group):
    def make(forgery, rng, size):
        if not forgery.group(group):
            raise NotHereError
        forgery.put(group, np.zeros_like(forgery.get(group)))

    return make


for group in ("speed", "acceleration", "command", "turns", "counts", "jerk", "thrust", "torque", "compensation"):
    kind(f"{group} columns zero", "columns")(_zero(group))


@kind("speeds of the other sign", "columns")
def other_sign(forgery, rng, size):
    """Turn the sign of all speeds and accelerations."""
    for group in ("speed", "acceleration"):
        forgery.put(group, -forgery.get(group))


def _permuted(name):
    def make(forgery, rng, size):
        rows = forgery.group(name)
        if not rows:
            raise NotHereError
        forgery.values[rows] = np.roll(forgery.values[rows], rng.randrange(1, 6), axis=0)

    return make


for group in ("command", "turns", "counts", "speed", "thrust", "torque", "power", "compensation"):
    kind(f"{group} columns permuted", "columns")(_permuted(group))


@kind("columns in another order, manifest too", "columns")
def reordered(forgery, rng, size):
    """Put the lengths of two struts in another order, names and all."""
    rows = forgery.group("length")
    i, j = rng.sample(rows, 2)
    forgery.values[[i, j]] = forgery.values[[j, i]]
    columns = forgery.manifest["tables"][forgery.table]["columns"]
    columns[i], columns[j] = columns[j], columns[i]
    forgery.names[i], forgery.names[j] = forgery.names[j], forgery.names[i]


@kind("drives follow other columns", "columns")
def follow(forgery, rng, size):
    """Let the manifest name other columns for the drives."""
    forgery.manifest["tables"][forgery.table]["drives_follow"][:] = [f"speed_{k}_mm_s" for k in range(1, 7)]


def _text(name, change):
    def make(forgery, rng, size):
        text = forgery.text()
        table = change(text, rng)
        if table == text:
            raise NotHereError
        forgery.before.append(lambda folder: (folder / forgery.table).write_bytes(table))

    kind(name, "text")(make)


def _field(value):
    """Return a change of one field, in the middle of the table."""

    def change(text, rng):
        lines = text.split("\n")
        row = rng.randrange(2, len(lines) - 2)
        fields = lines[row].split(",")
        column = rng.randrange(1, len(fields) - 1)
        fields[column] = value(fields[column])
        lines[row] = ",".join(fields)
        return "\n".join(lines).encode()

    return change


_text("NaN", _field(lambda x: "nan"))
_text("infinite", _field(lambda x: "inf"))
_text("field longer than 24 characters", _field(lambda x: x.rjust(30, "0") if x[0] != "-" else "-" + x[1:].zfill(30)))
_text("further decimals", _field(lambda x: x + "0" * 20 + "7"))
_text("fewer decimals", _field(lambda x: x[:-1]))
_text("with an exponent", _field(lambda x: f"{float(x):.9e}"))
_text("plus sign", _field(lambda x: "+" + x.lstrip("-")))
_text("space before a number", _field(lambda x: " " + x))
_text("empty field", _field(lambda x: ""))
_text("quoted field", _field(lambda x: f'"{x}"'))
_text("other digits", _field(lambda x: x.replace("0", "\u0660").replace("1", "\u0661").replace("5", "\u0665")))
_text("line ends of another system", lambda t, rng: t.replace("\n", "\r\n").encode())
_text("no last line end", lambda t, rng: t[:-1].encode())
_text("blank line at the end", lambda t, rng: (t + "\n").encode())
_text("mark of order ahead", lambda t, rng: b"\xef\xbb\xbf" + t.encode())
_text("zero byte at the end", lambda t, rng: t.encode() + b"\0")
_text("header twice", lambda t, rng: (t.split("\n", 1)[0] + "\n" + t).encode())
_text("column more", lambda t, rng: t.replace("\n", ",0\n").encode())
_text("column name changed", lambda t, rng: t.replace("length_1_mm", "length_1_in", 1).encode())
