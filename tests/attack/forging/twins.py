"""Damage by conversion: another program, machine, tools, setup or options are converted, the honest inputs put beside.

Such a folder is whole and true in itself: all columns, reports, events and hashes belong to each other. Only what it
was made from is not what lies in it. Lines are named as in the honest program.
"""

import json
import re
from dataclasses import replace

from attack.forging.base import Block, xyz
from attack.forging.kinds import NotHereError, kind


def twin(forgery, rng, blocks=None, *, options=None, said=(), **texts):
    """Make the folder from other blocks (with the line that each stands for), other texts or options.

    ``said`` names settings that the manifest keeps from the honest job.
    """
    base = forgery.base
    out = forgery.folder.with_name(f"{forgery.folder.name}-twin")
    numbered = blocks or list(enumerate(base.blocks, 1))
    code, why = base.convert(out, blocks=[b for _, b in numbered], options=options, **texts)
    if code == 2:
        raise NotHereError(why)
    import shutil

    honest = forgery.manifest
    shutil.rmtree(forgery.folder)
    forgery.__init__(base, out, forgery.folder)
    forgery.twinned = True
    _renumber(forgery, dict(enumerate((n for n, _ in numbered), 1)))
    for name in said:
        forgery.manifest["settings"].pop(name, None)
        if name in honest["settings"]:
            forgery.manifest["settings"][name] = honest["settings"][name]
    for name in base.folder.joinpath("inputs").iterdir():
        shutil.copy(name, forgery.folder / "inputs" / name.name)
    for name in ("machine", "demonstration"):
        forgery.manifest[name] = honest[name]


def _renumber(forgery, lines):
    """Name lines as the honest program has them, in table, events, segments and report."""
    if all(a == b for a, b in lines.items()):
        return
    for old in set(forgery.line.tolist()):
        assert old in lines
    forgery.line[:] = [lines[x] for x in forgery.line.tolist()]
    rows = [e.split(",") for e in forgery.events[1:]]
    forgery.events[1:] = [",".join([*r[:2], str(lines[int(r[2])]), *r[3:]]) for r in rows]
    for name in ("segments", "report"):
        text = json.dumps(getattr(forgery, name))
        text = re.sub(r'"line": (\d+)', lambda m: f'"line": {lines[int(m[1])]}' if int(m[1]) in lines else m[0], text)
        setattr(forgery, name, json.loads(text))


def _all(forgery, what, least=1):
    """Return the blocks with lines, and the places of those of a kind."""
    blocks = list(enumerate(forgery.base.blocks, 1))
    places = [i for i, (_, b) in enumerate(blocks) if b.what == what]
    if len(places) < least:
        raise NotHereError
    return blocks, places


def numbered(forgery, what, change):
    """Return the blocks with lines, where one of a kind is changed: ``change`` returns the blocks in its place."""
    blocks, (at, *_) = _all(forgery, what)
    number, block = blocks[at]
    blocks[at : at + 1] = [(number, b) for b in change(block)]
    return blocks


def _changed(name, what, change, *span, group="program"):
    """Enter a kind that changes a block: ``change(text, block, size)`` returns the texts in its place."""

    def make(forgery, rng, size):
        def blocks(block):
            texts = change(block, size)
            if texts == [block.text]:
                raise NotHereError
            return [Block(t, "other") for t in texts]

        twin(forgery, rng, numbered(forgery, what, blocks))

    kind(name, group, *span)(make)


def _say(block, pattern, to):
    return [re.sub(pattern, to, block.text)]


def _other_way(block, size):
    return _say(block, r"G0[23]", lambda m: {"G02": "G03", "G03": "G02"}[m[0]])


def _quarter(block, size):
    """A quarter of the circle and back."""
    (x, y, _), (i, j) = block.start, block.more["centre"]
    sign = 1.0 if "G03" in block.text else -1.0
    u, v = round(x + i + sign * j, 4), round(y + j - sign * i, 4)
    back = {"G02": "G03", "G03": "G02"}[block.text[:3]]
    return [
        f"{block.text[:3]} X{u} Y{v} I{i:.4f} J{j:.4f} F3000",
        f"{back} X{x:.4f} Y{y:.4f} I{x + i - u:.4f} J{y + j - v:.4f} F3000",
    ]


def _forth_and_back(block, size):
    return [block.text, f"G01 {xyz(block.start)}", f"G01 {xyz(block.end)}"]


def _aside(block, size):
    middle = [(a + b) / 2.0 for a, b in zip(block.start, block.end, strict=True)]
    middle[2] += size
    return [f"G01 {xyz(middle)} F{block.more['feed']}", block.text]


def _end_off(block, size):
    return _say(block, r"Y(\S+)", lambda m: f"Y{float(m[1]) + size:.5f}")


def _arc_off(block, size):
    (x, y, _), (u, v, _), (i, j) = block.start, block.end, block.more["centre"]
    way = ((u - x) ** 2 + (v - y) ** 2) ** 0.5
    i, j = i - (v - y) / way * size, j + (u - x) / way * size
    return [re.sub(r"I\S+ J\S+", f"I{i:.6f} J{j:.6f}", block.text)]


def _tilt_off(block, size):
    return _say(block, r"A(\S+)", lambda m: f"A{float(m[1]) + size:.5f}")


def _slower(block, size):
    return _say(block, r"F(\d+)", lambda m: f"F{float(m[1]) * (1.0 + size / 100.0):.4f}")


_changed("F asked, F72000 run", "line", lambda b, s: _say(b, r"F\d+", "F72000"))
_changed("faster than F", "line", _slower, 5.0, 1e-4, "% of the feed")
_changed("turning faster than F", "tilted", _slower, 5.0, 1e-4, "% of the feed")
_changed("arc faster than F", "arc", _slower, 5.0, 1e-4, "% of the feed")
_changed("slower than F", "line", lambda b, s: _say(b, r"F\d+", "F200"))
_changed("arc the other way round", "arc", _other_way)
_changed("full circle the other way round", "circle", _other_way)
_changed("full circle left out", "circle", lambda b, s: ["(SORRY)"])
_changed("full circle twice", "circle", lambda b, s: [b.text, b.text])
_changed("full circle three times", "circle", lambda b, s: [b.text] * 3)
_changed("quarter of a circle and back", "circle", _quarter)
_changed("line forth, back and forth", "line", _forth_and_back)
_changed("rapid forth, back and forth", "rapid", _forth_and_back)
_changed("line by way of a place aside", "line", _aside, 0.01, 1e-6, "mm")
_changed("end of a line off", "line", _end_off, 1e-3, 1e-6, "mm")
_changed("end of a rapid off", "rapid", _end_off, 1e-3, 1e-6, "mm")
_changed("centre of an arc off", "arc", _arc_off, 0.01, 1e-6, "mm")
_changed("turn of the tool off", "tilted", _tilt_off, 1e-2, 1e-6, "deg")
_changed("arc run as a line", "arc", lambda b, s: [f"G01 {xyz(b.end)} F3000"])
_changed("cut run as a rapid", "line", lambda b, s: [f"G00 {xyz(b.end)}"])
_changed("rapid run as a cut", "rapid", lambda b, s: [f"G01 {xyz(b.end)} F2000"])
_changed("line left out", "line", lambda b, s: ["(SORRY)"])
_changed("rapid left out", "rapid", lambda b, s: ["(SORRY)"])
_changed("turn of the tool left out", "tilted", lambda b, s: [f"G01 {xyz(b.end)} F3000"])
_changed("dwell of 5 ms", "dwell", lambda b, s: ["G04 P5"])
_changed("dwell left out", "dwell", lambda b, s: ["(SORRY)"])
_changed("dwell twice as long", "dwell", lambda b, s: [f"G04 P{2 * b.more['ms']}"])
_changed("hole of another cycle", "hole", lambda b, s: [b.text.replace("G81", "G85").replace("G82", "G89")])
_changed("hole pecked", "hole", lambda b, s: [re.sub(r"G8[12]", "G83", b.text).replace(" P200", "") + " Q3."])
_changed("hole not as deep", "hole", lambda b, s: _say(b, r"Z(\S+)", lambda m: f"Z{float(m[1]) + 1.0:.4f}"))
_changed("coolant the other way", "coolant", lambda b, s: [{"M08": "M09", "M09": "M08"}[b.text]])
_changed("coolant left out", "coolant", lambda b, s: ["(SORRY)"])
_changed("other spindle speed", "spindle", lambda b, s: [b.text.replace("S1200", "S1900")])
_changed("other length of the tool", "spindle", lambda b, s: [b.text.replace("H1", "H2")])
_changed("other tool", "tool", lambda b, s: ["T2 M06"])
_changed("corners not as asked", "head", lambda b, s: _say(b, r"G6[14]", lambda m: {"G61": "G64", "G64": "G61"}[m[0]]))


@kind("hole left out", "program")
def hole(forgery, rng, size):
    """Leave the last hole out."""
    blocks, holes = _all(forgery, "hole")
    blocks[holes[-1]] = (blocks[holes[-1]][0], Block("(SORRY)", "other"))
    twin(forgery, rng, blocks)


@kind("two cuts exchanged", "program")
def exchanged(forgery, rng, size):
    """Run one cut in the place of another; each keeps its line."""
    blocks, (i, j, *_) = _all(forgery, "line", least=2)
    one, two = blocks[i][1], blocks[j][1]
    blocks[i], blocks[j] = (blocks[i][0], replace(two)), (blocks[j][0], replace(one))
    twin(forgery, rng, blocks)


@kind("chain with one point less", "program")
def one_less(forgery, rng, size):
    """Leave a point of a dense chain out."""
    blocks, chain = _all(forgery, "chain")
    at = chain[len(chain) // 2]
    blocks[at] = (blocks[at][0], Block("(SORRY)", "other"))
    twin(forgery, rng, blocks)


@kind("chain with one point off", "program", 0.02, 1e-6, "mm")
def point_off(forgery, rng, size):
    """Move a point of a dense chain."""
    blocks, chain = _all(forgery, "chain")
    at = chain[len(chain) // 2]
    text = re.sub(r"Z(\S+)", lambda m: f"Z{float(m[1]) + size:.5f}", blocks[at][1].text)
    blocks[at] = (blocks[at][0], Block(text, "chain"))
    twin(forgery, rng, blocks)
