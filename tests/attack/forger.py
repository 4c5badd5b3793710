"""Forge job folders, and say what a proof finds: ``python tests/attack/forger.py --minutes 30 [--only KIND]``.

Each kind of damage (``forging/``) is done to random jobs; hashes, segments and worst values are mended as a skilled
forger would. A damage that equations alone call proven is a gap, and one that the remake calls proven too is open.
Exit code 1 if there is one of either that ``forging/gaps.py`` does not list. Columns: tries; caught by equations alone;
caught with the remake; the smallest damage that equations catch, and the size from which on it was caught in all jobs.
"""

import argparse
import json
import random
import shutil
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, field
from math import sqrt
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from attack.forging import inputs, motions, papers, things, tip, twins, values
from attack.forging.base import random_base
from attack.forging.folder import Forgery
from attack.forging.gaps import GAPS, OPEN
from attack.forging.kinds import KINDS as DAMAGES
from attack.forging.kinds import NotHereError
from attack.jobs import WITHOUT_REMAKE, content, inside
from attack.model import HungError, Outcome, bounded

MODULES = (inputs, motions, papers, things, tip, twins, values)
"""Modules that enter kinds of damage."""
NEAR = 1.5
"""The smallest damage caught is found within this factor."""
A_BASE = 12
"""Damages that are done to one random job before the next."""
VERIFY_S = 60


class SlipError(Exception):
    """A proof that ended in a traceback or hung."""


@dataclass
class Row:
    """What was found of one kind."""

    kind: str
    group: str
    unit: str = ""
    tries: int = 0
    equations: int = 0
    remade: int = 0
    smallest: float | None = None
    surest: float | None = None
    examples: list[str] = field(default_factory=list)


@dataclass
class Try:
    """One try: caught by equations alone, with the remake (None: not asked), and from what size on."""

    equations: bool
    remade: bool | None
    size: float | None = None


def proven(folder, *, remake=False):
    """Return whether ``verify`` calls a folder proven."""
    options = [] if remake else [WITHOUT_REMAKE]
    try:
        with bounded(VERIFY_S):
            code, _, wrong = inside("verify", folder, *options)
    except HungError as error:
        raise SlipError(str(error)) from error
    if wrong:
        raise SlipError("; ".join(wrong)[:900])
    return code in (0, 1)


def forged(base, damage, seed, size, place):
    """Return a forged folder; NotHereError where the damage changes nothing in it."""
    for left in place.parent.glob(f"{place.name}*"):
        shutil.rmtree(left, ignore_errors=True)
    forgery = Forgery(base, base.folder, place)
    damage.make(forgery, random.Random(seed), size)
    if forgery.twinned and not forgery.differs():
        raise NotHereError
    forgery.write()
    if not forgery.after and content(place) == content(base.folder):
        raise NotHereError
    return place


def attempt(base, damage, seed, place, *, bisect=True, remake=True):
    """Do a damage to a job; return what found it. Raises NotHereError where there is nothing to do it to."""
    folder = forged(base, damage, seed, damage.judged, place)
    found = Try(equations=not proven(folder), remade=None)
    if remake:
        found.remade = found.equations or not proven(folder, remake=True)
    if found.equations and damage.sized and bisect:
        found.size = smallest(base, damage, seed, place)
    return found


def smallest(base, damage, seed, place):
    """Return the smallest size of a damage that is found, between its floor and what is found for certain."""
    low, high = damage.floor, damage.judged
    if _found(base, damage, seed, low, place):
        return low
    while high / low > NEAR:
        middle = sqrt(low * high)
        if _found(base, damage, seed, middle, place):
            high = middle
        else:
            low = middle
    return high


def _found(base, damage, seed, size, place):
    try:
        return not proven(forged(base, damage, seed, size, place))
    except NotHereError:
        return False


def missed(found, name):
    """Return what misses a damage that it is not known to miss; an empty text where nothing does."""
    if not found.remade and name not in OPEN:
        return "the remake"
    return "" if found.equations or name in GAPS else "equations"


def add(row, found, base, seed):
    """Take a try into a row."""
    row.tries += 1
    row.equations += found.equations
    row.remade += found.remade
    if found.size is not None:
        row.smallest = min(found.size, row.smallest or found.size)
        row.surest = max(found.size, row.surest or found.size)
    if missed(found, row.kind) and len(row.examples) < 3:
        row.examples.append(f"{missed(found, row.kind)}: base {base.name} damage {seed}")


def named_base(name, place):
    """Return the random job of a name; None where it is refused."""
    rng = random.Random(name)
    base = random_base(rng, place, screws=rng.choice([True, None]))
    if base is not None:
        base.name = name
    return base


def forge(chosen, minutes, seed, *, most=None, say=None):
    """Return the rows of the chosen kinds after so many minutes, or after ``most`` tries of each."""
    end, rows = time.monotonic() + 60.0 * minutes, {n: Row(n, d.group, d.unit) for n, d in chosen.items()}
    asked, number = dict.fromkeys(chosen, 0), 0
    with tempfile.TemporaryDirectory(prefix="hexpost-forger-") as folder:
        while time.monotonic() < end and not (most and min(r.tries for r in rows.values()) >= most):
            number += 1
            place = Path(folder, f"base{number}")
            base = named_base(f"{seed}-{number}", place)
            if base is not None:
                _forge_one(base, rows, asked, place, end)
            shutil.rmtree(place, ignore_errors=True)
            if say is not None:
                say(table(rows.values()))
    return list(rows.values())


def _forge_one(base, rows, asked, place, end):
    """Do some damages to one job, those first that were tried least."""
    if not proven(base.folder):
        print(f"refused although right: base {base.name}", file=sys.stderr)
        return
    order = sorted(rows.values(), key=lambda r: (r.tries, asked[r.kind]))
    done = 0
    for row in order:
        if done >= A_BASE or time.monotonic() > end:
            return
        asked[row.kind] += 1
        seed = f"{base.name} {row.kind}"
        try:
            add(row, attempt(base, DAMAGES[row.kind], seed, place / "forged"), base, seed)
            done += 1
        except NotHereError:
            continue
        except SlipError as error:
            row.tries += 1
            row.examples.append(f"{error} (base {base.name})")
            done += 1


HEADS = ("kind", "group", "tries", "equations", "remake", "smallest", "surest")


def table(rows, *, marks=False):
    """Return the table, one kind a row; with ``marks`` as Markdown."""
    cells = [HEADS]
    for r in rows:
        unit = f" {r.unit}" if r.unit else ""
        sizes = ["" if x is None else f"{x:.2g}{unit}" for x in (r.smallest, r.surest)]
        cells.append((r.kind, r.group, str(r.tries), str(r.equations), str(r.remade), *sizes))
    if marks:
        cells.insert(1, ("---",) * len(HEADS))
        return "\n".join(f"| {' | '.join(c)} |" for c in cells)
    widths = [max(len(c[i]) for c in cells) for i in range(len(HEADS))]
    lines = ["  ".join(x.ljust(w) for x, w in zip(c, widths, strict=True)).rstrip() for c in cells]
    lines += [f"PASSES {r.kind}: {r.remade}/{r.tries}: {r.examples[0]}" for r in rows if r.examples]
    return "\n".join(lines)


def redo(name, folder, damage, seed=None):
    """Do one damage to the job of a name again, leave the folder and print what ``verify`` says."""
    place = Path(folder)
    base = named_base(name, place)
    forged(base, damage, seed or f"{name} {damage.name}", damage.judged, place / "forged")
    print(inside("verify", place / "forged")[1])
    return 0


def forged_folders(rng, place, count=6):
    """Do some random damages to a random job: a trial of the attack bench."""
    name = f"trial {rng.getrandbits(40)}"
    base = named_base(name, place / "base")
    outcome = Outcome(tried=0)
    if base is None:
        return outcome
    if not proven(base.folder):
        outcome.wrong.append(f"refused although right: base {name}")
        return outcome
    for damage in rng.sample(list(DAMAGES.values()), len(DAMAGES)):
        if outcome.tried >= count:
            break
        try:
            found = attempt(base, damage, f"{name} {damage.name}", place / "forged", bisect=False)
        except NotHereError:
            continue
        except SlipError as error:
            outcome.lost.append(f"{damage.name}, base {name}: {error}")
            continue
        outcome.tried += 1
        outcome.refused += found.remade
        if by := missed(found, damage.name):
            outcome.wrong.append(f"proven by {by} although wrong: {damage.name}, base {name}")
    return outcome


KINDS = {"forged folders": forged_folders}


def main(arguments):
    """Run the forger; 1 if something passes that is not known, 2 for a kind that there is not."""
    parser = argparse.ArgumentParser(prog="forger.py", description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--seed", default="1")
    parser.add_argument("--only", action="append", metavar="KIND", help="kinds whose name or group holds this")
    parser.add_argument("--most", type=int, help="tries of each kind, at most")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="where the table is written after each job")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--redo", nargs=2, metavar=("BASE", "FOLDER"), help="do one damage to the job of a name again")
    parser.add_argument("--marks", action="store_true", help="the table as Markdown")
    given = parser.parse_args(arguments)
    words = given.only or [""]
    chosen = {n: d for n, d in DAMAGES.items() if any(w in n or w == d.group for w in words)}
    if not chosen:
        print(f"no such kind; there are: {', '.join(DAMAGES)}", file=sys.stderr)
        return 2
    if given.redo:
        return redo(*given.redo, next(iter(chosen.values())))
    keep = None if given.keep is None else lambda text: given.keep.write_text(text + "\n", encoding="utf-8")
    rows = forge(chosen, given.minutes, given.seed, most=given.most, say=keep)
    print(json.dumps([asdict(r) for r in rows], indent=1) if given.json else table(rows, marks=given.marks))
    return int(any(r.examples for r in rows))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
