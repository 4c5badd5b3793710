"""Random programs that a machine may well run: lines, arcs, helices, tilts, cycles, offsets, tools, calls."""

from math import cos, radians, sin

REACH = 60.0
"""Half the width in mm of the room in which the programs cut."""


class Writer:
    """A program as it is written: where the tool is, so that arcs end where they should."""

    def __init__(self, rng):
        self.rng = rng
        self.inch = rng.random() < 0.15
        self.at = {"X": 0.0, "Y": 0.0, "Z": 40.0}
        self.blocks = []

    def number(self, value):
        """Return a length (mm) as the program writes it."""
        return f"{value / 25.4:.5f}" if self.inch else f"{value:.4f}"

    def feed(self):
        """Return a feed word, mm/min or inch/min."""
        value = self.rng.choice([600, 2000, 6000, 15000])
        return f"F{value / 25.4:.1f}" if self.inch else f"F{value}"

    def words(self, **values):
        """Return coordinate words, and remember where they lead."""
        self.at.update({k: v for k, v in values.items() if k in self.at})
        return " ".join(f"{k}{self.number(v)}" for k, v in values.items())

    def say(self, text):
        """Add a block, now and then with a comment, a number or a skip."""
        rng = self.rng
        if rng.random() < 0.05:
            text += " (HATCH COVER)"
        if rng.random() < 0.03:
            text = "/" + text
        self.blocks.append(text)

    def somewhere(self, share=1.0):
        """Return a random place in the room."""
        wide = REACH * share
        return {
            "X": self.rng.uniform(-wide, wide),
            "Y": self.rng.uniform(-wide, wide),
            "Z": self.rng.uniform(-10, 50),
        }


def line(w):
    """Write a straight cut, or a chain of them."""
    for _ in range(w.rng.choice([1, 1, 3, 12])):
        place = w.somewhere()
        keys = w.rng.sample(list(place), w.rng.randrange(1, 4))
        w.say(f"G01 {w.words(**{k: place[k] for k in keys})} {w.feed()}")


def dense(w):
    """Write a chain of short cuts along a wave, as CAM systems do."""
    step, high = w.rng.uniform(0.05, 1.0), w.rng.uniform(0.0, 3.0)
    begin = dict(w.at)
    for k in range(w.rng.randrange(5, 40)):
        w.say(
            f"G01 {w.words(X=begin['X'] + k * step, Z=begin['Z'] + high * sin(0.3 * k))} F{3000 if not w.inch else 90}"
        )


def arc(w):
    """Write an arc, a full circle or a helix about a centre, or one of a radius."""
    rng = w.rng
    plane, (u, v, out), letters = rng.choice([("G17", "XYZ", "IJ"), ("G18", "ZXY", "KI"), ("G19", "YZX", "JK")])
    radius, start = rng.uniform(0.5, 25.0), rng.uniform(0, 360)
    turn = rng.choice([360, rng.uniform(1, 359), 359.9, 0.5])
    way = rng.choice(["G02", "G03"])
    angle = radians(start + (turn if way == "G03" else -turn))
    centre = {u: w.at[u] - radius * cos(radians(start)), v: w.at[v] - radius * sin(radians(start))}
    offset = {letters[0]: centre[u] - w.at[u], letters[1]: centre[v] - w.at[v]}
    ends = {} if turn == 360 else {u: centre[u] + radius * cos(angle), v: centre[v] + radius * sin(angle)}
    if rng.random() < 0.3:
        ends[out] = w.at[out] + rng.uniform(-8, 8)
    how = " ".join(f"{k}{w.number(x)}" for k, x in offset.items())
    if turn not in (360, 359.9, 0.5) and 20 < turn < 340 and rng.random() < 0.3:
        how = f"R{w.number(radius if turn < 180 else -radius)}"
    w.say(f"{plane} {way} {w.words(**ends)} {how} {w.feed()}")
    w.say("G17")


def tilt(w):
    """Turn the tool, alone or on the way."""
    rng = w.rng
    angles = " ".join(f"{k}{rng.uniform(-8, 8):.3f}" for k in rng.sample("ABC", rng.randrange(1, 4)))
    w.say(f"G01 {w.words(**w.somewhere(0.5)) if rng.random() < 0.6 else ''} {angles} {w.feed()}")
    if rng.random() < 0.4:
        w.say(f"G01 A0. B0. C0. {w.feed()}")


def cycle(w):
    """Drill some holes."""
    rng = w.rng
    word = rng.choice(["G81", "G82", "G83", "G85"])
    more = {"G82": "P200", "G83": f"Q{w.number(4.0)}"}.get(word, "")
    place = w.somewhere(0.6)
    w.say(
        f"{rng.choice(['G98', 'G99'])} {word} {w.words(X=place['X'], Y=place['Y'])} "
        f"Z{w.number(-9)} R{w.number(12)} {more} {w.feed()}"
    )
    for _ in range(rng.randrange(3)):
        place = w.somewhere(0.6)
        w.say(w.words(X=place["X"], Y=place["Y"]))
    w.say("G80")
    w.say(f"G00 {w.words(Z=40.0)}")


def stop(w):
    """Write something without cutting: dwell, stop, coolant, exact stop, retract, another offset or tool."""
    rng = w.rng
    kind = rng.randrange(9)
    if kind < 3:
        plain = ["G04 P50", "G04 X0.05", "M08", "M09", "M01", "G61", "G64", "S2000", "M00"]
        w.say(rng.choice([*plain, "G97", "M10", "M11", "M38", "M50", "M68"]))
    elif kind < 5:
        w.say(f"G00 {w.words(**w.somewhere(0.7))}")
    elif kind < 7:
        w.say(rng.choice(["G53 G00 Z0.", "G91 G53 G00 Z0.", "G91 G28 Z0.", "G28", "G91 G30"]))
        w.say("G90")
        w.say(f"G{rng.randrange(54, 60)}")
        w.say(f"G00 {w.words(X=0.0, Y=0.0, Z=40.0)}")
    else:
        k = rng.choice([1, 2, 3])
        w.say("G53 G00 Z0.")
        w.say(f"T{k} M06")
        w.say(f"G43 H{k} S1000 M03")
        w.say(f"G00 {w.words(X=0.0, Y=0.0, Z=40.0)}")


def contour(w):
    """Cut a rectangle with the radius of the tool taken into account."""
    rng, wide = w.rng, w.rng.uniform(20, 45)
    side = rng.choice(["G41", "G42"])
    w.say(f"G00 {w.words(X=-wide - 20, Y=-wide - 20, Z=30.0)}")
    w.say(f"{side} D1 G01 {w.words(X=-wide, Y=-wide)} {w.feed()}")
    for x, y in ((-wide, wide), (wide, wide), (wide, -wide), (-wide, -wide)):
        w.say(f"G01 {w.words(X=x, Y=y)}")
    w.say(f"G40 G01 {w.words(X=-wide - 20, Y=-wide - 20)}")


MAKERS = (line, line, dense, arc, arc, tilt, cycle, stop, stop, contour)


def program(rng):
    """Return the text of a program of a few dozen blocks."""
    w = Writer(rng)
    w.say(f"{'G20' if w.inch else 'G21'} G17 G90 G94 {rng.choice(['G64', 'G61', ''])}")
    w.say("T1 M06")
    w.say("G43 H1 S1200 M03")
    w.say(f"G00 {w.words(X=0.0, Y=0.0, Z=40.0)}")
    for _ in range(rng.randrange(1, 9)):
        rng.choice(MAKERS)(w)
    call = rng.random() < 0.15
    if call:
        w.say(f"M98 P77 L{rng.randrange(1, 4)}")
    w.say("G53 G00 Z0.")
    w.say("M30")
    if call:
        w.blocks += ["O77", f"G91 G01 X{w.number(1.5)} {w.feed()}", f"Y{w.number(-1.0)}", "G90", "M99"]
    return "%\n" + "\n".join(w.blocks) + "\n%\n"
