"""Small random jobs to forge: a random machine and a program of single blocks that are known one by one."""

from dataclasses import dataclass, field
from math import cos, radians, sin
from random import Random

from attack import machines
from attack.jobs import inside, write

MOST_ROWS = 6000
ROOM_MM = 22.0


@dataclass(frozen=True)
class Block:
    """A block of the program: its text, what it is, where it starts and ends (mm), more about it."""

    text: str
    what: str
    start: tuple = ()
    end: tuple = ()
    more: dict = field(default_factory=dict)


class Program:
    """A random program with the ``wanted`` things in it, each a block (or a chain of blocks) of its own."""

    def __init__(self, rng, wanted):
        self.rng, self.at, self.blocks = rng, (0.0, 0.0, 40.0), []
        self.say(f"G21 G17 G90 G94 {rng.choice(['G64', 'G64', 'G61'])}", "head")
        self.say("T1 M06", "tool")
        self.say("G43 H1 S1200 M03", "spindle")
        self.say("G00 X0. Y0. Z40.", "other")
        for what in rng.sample(wanted, len(wanted)):
            getattr(self, what)()
        self.say("M30", "end")

    def say(self, text, what, end=None, **more):
        """Add a block that ends at ``end``."""
        end = self.at if end is None else end
        self.blocks.append(Block(text, what, self.at, end, more))
        self.at = end

    def _somewhere(self):
        rng = self.rng
        while True:
            end = (rng.uniform(-ROOM_MM, ROOM_MM), rng.uniform(-ROOM_MM, ROOM_MM), rng.uniform(20.0, 50.0))
            end = tuple(round(x, 4) for x in end)
            if sum(abs(a - b) for a, b in zip(end, self.at, strict=True)) > 12.0:
                return end

    def line(self):
        """Cut to some place."""
        end, feed = self._somewhere(), self.rng.choice([1500, 3000, 6000])
        self.say(f"G01 {xyz(end)} F{feed}", "line", end, feed=feed)

    def corner(self):
        """Cut a small triangle: exact stop or rounded corners."""
        self.line()
        self.line()

    def rapid(self):
        """Go to some place."""
        end = self._somewhere()
        self.say(f"G00 {xyz(end)}", "rapid", end)

    def tilted(self):
        """Cut to some place and turn the tool."""
        end, rng = self._somewhere(), self.rng
        turn = tuple(round(rng.choice([-1, 1]) * rng.uniform(1.0, 4.0), 3) for _ in range(2))
        self.say(f"G01 {xyz(end)} A{turn[0]} B{turn[1]} F3000", "tilted", end, turn=turn)
        self.say("G01 A0. B0. F3000", "back")

    def arc(self):
        """Cut an arc of a quarter to three quarters of a turn, which may rise."""
        rng, (x, y, z) = self.rng, self.at
        radius, begin, turn = rng.uniform(4.0, 10.0), rng.uniform(0.0, 360.0), rng.uniform(90.0, 270.0)
        way = rng.choice(["G02", "G03"])
        i, j = -radius * cos(radians(begin)), -radius * sin(radians(begin))
        angle = radians(begin + (turn if way == "G03" else -turn))
        rise = rng.choice([0.0, 3.0])
        end = (round(x + i + radius * cos(angle), 4), round(y + j + radius * sin(angle), 4), round(z + rise, 4))
        self.say(f"{way} {xyz(end)} I{i:.4f} J{j:.4f} F3000", "arc", end, centre=(i, j), way=way, rise=rise)

    def circle(self):
        """Cut a full circle."""
        rng, radius, angle = self.rng, self.rng.uniform(3.0, 8.0), self.rng.uniform(0.0, 6.28)
        i, j = radius * cos(angle), radius * sin(angle)
        self.say(f"{rng.choice(['G02', 'G03'])} I{i:.4f} J{j:.4f} F3000", "circle", centre=(i, j))

    def dwell(self):
        """Stand still."""
        ms = self.rng.choice([200, 500])
        self.say(f"G04 P{ms}", "dwell", ms=ms)

    def drill(self):
        """Drill two holes."""
        word = self.rng.choice(["G81", "G82"])
        pause = " P200" if word == "G82" else ""
        (x, y, _), (u, v, _) = self._somewhere(), self._somewhere()
        z = self.at[2]
        self.say(f"G98 {word} X{x} Y{y} Z{z - 8:.4f} R{z - 2:.4f}{pause} F3000", "hole", (x, y, z), word=word)
        self.say(f"X{u} Y{v}", "hole", (u, v, z))
        self.say("G80", "other")

    def coolant(self):
        """Switch coolant on while it goes on, or off."""
        self.say(self.rng.choice(["M08", "M09"]), "coolant")

    def chain(self):
        """Cut a dense chain along a wave."""
        x, y, z = self.at
        step, high = self.rng.uniform(0.1, 0.3), self.rng.uniform(0.2, 0.6)
        for k in range(1, 25):
            end = (round(x + k * step, 4), y, round(z + high * sin(0.3 * k), 4))
            self.say(f"G01 X{end[0]} Z{end[2]} F2000", "chain", end)


def xyz(place):
    """Return the words of a place."""
    return " ".join(f"{k}{v:.4f}" for k, v in zip("XYZ", place, strict=True))


THINGS = ["line", "corner", "rapid", "tilted", "arc", "circle", "dwell", "drill", "coolant", "chain"]


@dataclass
class Base:
    """An honest job: inputs as texts by role, blocks of the program, options, exit code, its folder."""

    place: object
    texts: dict
    blocks: list
    options: list
    code: int = 0
    made: int = 0
    name: str = ""

    @property
    def folder(self):
        """Return the folder of the honest job."""
        return self.place / "honest"

    def convert(self, out, *, blocks=None, options=None, **texts):
        """Convert with other blocks, inputs or options; return exit code and what was said."""
        self.made += 1
        place = self.place / f"from{self.made}"
        place.mkdir()
        texts = {**self.texts, **texts}
        text = "\n".join(b.text for b in (self.blocks if blocks is None else blocks)) + "\n"
        paths = write(place, program_nc=text, **{f"{k}_toml": v for k, v in texts.items()})
        words = [str(x) for k in texts for x in (f"--{k}", paths[k])]
        words += ["--most-rows", str(MOST_ROWS), *(self.options if options is None else options)]
        code, said, wrong = inside("convert", paths["program"], "--out", out, *words)
        assert not wrong, wrong
        return code, said


def _more_columns(machine, options):
    """Return options for columns about the drives, at times; the machine decides, so that no other choice changes."""
    if "--columns" in options or Random(machine).random() > 0.3:
        return []
    there = ["time,length,speed,acceleration,jerk,thrust,line"]
    there += ["command,compensation"] * ("[compensation]" in machine)
    there += ["command,turns,counts,torque,power"] * ("[strut.screw]" in machine)
    return ["--columns", ",".join(there)]


def random_base(rng, place, *, few=None, screws=None):
    """Return a random honest job below ``place`` that convert runs; None where it refuses."""
    place.mkdir(parents=True, exist_ok=True)
    texts = {
        "machine": machines.slowing(machines.machine(rng)),
        "tools": machines.tools(rng),
        "setup": machines.setup(rng),
    }
    if screws is not None and screws != ("[strut.screw]" in texts["machine"]):
        return random_base(rng, place, few=few, screws=screws)
    options = ["--period-ms", rng.choice(["1", "2", "4"])]
    options += rng.choice([[], [], ["--feed", "strut-limited"]])
    if "[strut.screw]" in texts["machine"] and rng.random() < 0.7:
        options += ["--columns", "time,length,speed,acceleration,command,turns,counts,line"]
    options += _more_columns(texts["machine"], options)
    base = Base(place, texts, Program(rng, few or THINGS).blocks, options)
    base.code, _ = base.convert(base.folder)
    return base if base.code in (0, 1) else None
