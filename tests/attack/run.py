"""Attack hexpost, and say what was tried and what was lost: ``python tests/attack/run.py --minutes 60``.

Every kind of attack gets the same share of the time. The table is printed at the end (and written to ``--keep`` as it
grows); exit code 1 if anything was lost or wrong. Guided fuzzing needs the extra ``bench``.
"""

import argparse
import json
import random
import signal
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from attack import (
    damage,
    disks,
    doors,
    forger,
    fuzzing,
    killing,
    machines,
    odd,
    restarting,
    singular,
    small,
    striking,
    surroundings,
    together,
)
from attack.model import HANG_S, HungError, Outcome, Tally, bounded, table


def kinds():
    """Return the trials by kind; a trial takes a random generator and a folder of its own to work in."""
    guided = fuzzing.KINDS if fuzzing.available() else {}
    rest = (
        damage,
        machines,
        odd,
        forger,
        restarting,
        singular,
        small,
        killing,
        disks,
        striking,
        together,
        surroundings,
        doors,
    )
    return {**guided, **{name: trial for module in rest for name, trial in module.KINDS.items()}}


def attack(chosen, minutes, seed, *, keep=None, most=None):
    """Return the tallies of the chosen kinds after so many minutes, or after ``most`` trials of each."""
    end, tallies = time.monotonic() + 60.0 * minutes, {name: Tally(name) for name in chosen}
    generators = {name: random.Random(f"{seed} {name}") for name in chosen}
    number = 0
    with tempfile.TemporaryDirectory(prefix="hexpost-attack-") as folder:
        lasting = Path(folder, "lasting")
        lasting.mkdir()
        Path(folder).chmod(0o755)
        while time.monotonic() < end:
            open_ = [t for t in tallies.values() if most is None or t.tried < most]
            if not open_:
                break
            name = min(open_, key=lambda t: t.spent_s).kind
            place = lasting if name in fuzzing.KINDS else Path(folder, f"trial{number}")
            place.mkdir(exist_ok=True)
            number += 1
            begin = time.monotonic()
            outcome = _one(chosen[name], generators[name], place)
            tallies[name].add(outcome, time.monotonic() - begin)
            if place is not lasting:
                _cleared(place)
            if keep is not None:
                keep.write_text(table(tallies.values()) + "\n", encoding="utf-8")
    return list(tallies.values())


def _one(trial, rng, place):
    """Run one trial; whatever it raises is a loss, not the end of the bench."""
    try:
        with bounded(10 * HANG_S):
            return trial(rng, place)
    except (HungError, Exception) as error:  # noqa: BLE001 - that is what is looked for
        import traceback

        where = "".join(traceback.format_exception(error)[-3:])
        return Outcome(lost=[f"{type(error).__name__}: {error} {where}"[:1500]])


def _cleared(place):
    import shutil

    shutil.rmtree(place, ignore_errors=True)


def main(arguments):
    """Run the bench; 1 if something was lost or wrong, 2 for a kind that there is not."""
    parser = argparse.ArgumentParser(prog="run.py", description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", metavar="KIND", help="kinds whose name holds this (may be repeated)")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="where the table is written after each trial")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args(arguments)
    chosen = {n: t for n, t in kinds().items() if not given.only or any(o in n for o in given.only)}
    if not chosen:
        print(f"no such kind; there are: {', '.join(kinds())}", file=sys.stderr)
        return 2
    if not fuzzing.available():
        print("guided fuzzing is left out: atheris is not installed (extra: bench)", file=sys.stderr)
    tallies = attack(chosen, given.minutes, given.seed, keep=given.keep)
    print(json.dumps([asdict(t) for t in tallies], indent=1) if given.json else table(tallies))
    return int(any(t.lost or t.wrong for t in tallies))


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job, and what it starts, hears none
    sys.exit(main(sys.argv[1:]))
