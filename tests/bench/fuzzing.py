"""Random and damaged texts by the hundred thousand through reader and interpreter: no traceback, hang or growth."""

import re
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from program.fuzz import ENDLESS, Subject, texts

COUNT, BATCH = 200_000, 1000


def resident_mb():
    """Return the memory of this process in MB."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024


def fuzz(count=COUNT):
    """Return by how many MB memory grows from a tenth of the texts to all; any traceback ends the bench."""
    subject, slowest, worst, understood, memory = Subject(), 0.0, b"", 0, 0.0
    for done in range(0, count, BATCH):
        for text in texts(1_000_000 + done, BATCH):
            start = time.process_time()
            try:
                understood += not subject.understand(text)[0]
            except BaseException:
                print(repr(text), file=sys.stderr)
                raise
            if (taken := time.process_time() - start) > slowest:
                slowest, worst = taken, text
        if done == count // 10 // BATCH * BATCH:
            memory = resident_mb()
    grown = resident_mb() - memory
    endless = {}
    for name, text in ENDLESS.items():
        start = time.process_time()
        assert subject.understand(text)[0], name
        endless[name] = round(time.process_time() - start, 3)
    return {
        "ratio": grown,
        "slowest_s": slowest,
        "texts": count,
        "understood": understood,
        "slowest_text": repr(worst[:200]),
        "endless_s": endless,
    }
