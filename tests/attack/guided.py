"""One round of coverage-guided fuzzing in a process of its own: ``guided.py TARGET FOLDER SECONDS SEED``.

The folder keeps the corpus (what reaches new code), the counts and what was found; the next round goes on from there.
"""

import mmap
import struct
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

SLOT = struct.Struct("<QQQ")
"""How often tried, understood, refused; in a mapped file, so that no end of the process loses them."""
MOST_BYTES, HANG_S, MEMORY_MB = 4096, 120, 3000


class Counts:
    """Three counters in a file."""

    def __init__(self, path):
        if not path.exists():
            path.write_bytes(bytes(SLOT.size))
        self._file = path.open("r+b")
        self._map = mmap.mmap(self._file.fileno(), SLOT.size)

    def add(self, *, understood):
        """Count one trial."""
        tried, good, refused = SLOT.unpack_from(self._map)
        SLOT.pack_into(self._map, 0, tried + 1, good + understood, refused + (not understood))


def main(target, folder, seconds, seed):
    """Fuzz for so many seconds; the process ends in here, with a code other than 0 if something was found."""
    import atheris
    import numpy as np

    with atheris.instrument_imports(include=["hexpost"]):
        from attack.targets import TARGETS
    np.seterr(divide="raise", over="raise", invalid="raise")
    subject = TARGETS[target]()
    place = Path(folder)
    corpus, found = place / "corpus", place / "found"
    for name in (corpus, found):
        name.mkdir(parents=True, exist_ok=True)
    for i, text in enumerate(subject.seeds()):
        (corpus / f"seed{i}").write_bytes(text[:MOST_BYTES])
    counts = Counts(place / "counts")

    def one(data):
        counts.add(understood=subject.take(data))

    options = {
        "max_total_time": seconds, "seed": seed, "timeout": HANG_S, "rss_limit_mb": MEMORY_MB, "max_len": MOST_BYTES,
        "print_final_stats": 1, "artifact_prefix": f"{found}/", "verbosity": 0,
    }  # fmt: skip
    atheris.Setup([sys.argv[0], *(f"-{k}={v}" for k, v in options.items()), str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])
