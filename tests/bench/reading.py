"""How fast and in how much memory programs are read: ratios measured in one run, for the bench harness."""

import re
import statistics
import subprocess
import sys
import time
from pathlib import Path

from contouring import Repeated, contouring

from hexpost.program.grammar import part_programs, terminal
from hexpost.program.read import read, windows

STREAMED = 5_000_000
BODY = 20_000


ROUNDS = 5


def seconds(work):
    """Return the time of ``work()``."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def compare(name, slow, fast, blocks):
    """Return the ratio of times of two readers, the median of rounds in which they take turns."""
    rounds = [(seconds(slow), statistics.median(seconds(fast) for _ in range(5))) for _ in range(ROUNDS)]
    ratios = sorted((a / b, a, b) for a, b in rounds)
    ratio, other, ours = ratios[ROUNDS // 2]
    return {"name": name, "ratio": ratio, "other_s": other, "hexpost_s": ours, "blocks": blocks}


def quick(data):
    """Read ``data`` by hexpost; any fault would spoil the measurement."""
    faults = []
    program = read(data, "bench", faults)
    assert not faults
    return program


def tree_words(text):
    """Return the words of a whole file by way of Lark's tree."""
    out = []
    for block in part_programs().parse(text, start="program").children:
        for part in block.children:
            if hasattr(part, "data"):
                address, value = part.children
                out.append((ord(address), float(value), "." in value, address.line, address.column))
            elif part.type == "LABEL":
                out.append((ord(part[0]), float(part[1:]), False, part.line, part.column))
    return out


ORDER = ("ADDRESS", "NUMBER", "BLANK", "_NL", "LABEL", "COMMENT", "SKIP", "PERCENT")


def finditer_words(text, master):
    """Return the words of a whole file by one regular expression made of the grammar's terminals."""
    out, line, begin, address = [], 1, -1, None
    for m in master.finditer(text):
        kind = m.lastgroup
        if kind == "ADDRESS":
            address = m
        elif kind == "NUMBER":
            value = m[0]
            out.append((ord(address[0]), float(value), "." in value, line, address.start() - begin))
        elif kind == "_NL":
            line += 1
            begin = m.end() - 1
        elif kind == "LABEL":
            out.append((ord(m[0][0]), float(m[0][1:]), False, line, m.start() - begin))
    return out


def rows(program):
    """Return the words of a program as rows."""
    columns = (program.letter, program.value, program.pointed, program.line, program.column)
    return list(zip(*(c.tolist() for c in columns), strict=True))


def read_vs_lark():
    """Return the speed of reading 20k blocks over that of Lark's whole-file tree; same words."""
    text = contouring(BODY)
    data = text.encode()
    assert rows(quick(data)) == tree_words(text)
    return compare("read-vs-lark", lambda: tree_words(text), lambda: quick(data), BODY)


def read_vs_regex():
    """Return the speed of reading 200k blocks over ``finditer`` with the grammar's terminals; same words."""
    text = contouring(10 * BODY)
    data = text.encode()
    patterns = {name: terminal(name) for name in ORDER}
    patterns["LABEL"] = r"(?<![A-Z0-9.] )(?<![A-Z0-9.])" + patterns["LABEL"]
    master = re.compile("|".join(f"(?P<{name}>{pattern})" for name, pattern in patterns.items()))
    assert rows(quick(data)) == finditer_words(text, master)
    return compare("read-vs-regex", lambda: finditer_words(text, master), lambda: quick(data), 10 * BODY)


def peak_mb():
    """Return the peak memory of this process in MB (not ``ru_maxrss``, which a child inherits from its parent)."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024


def stream(blocks=STREAMED):
    """Print peak memory above the start, in MB, and seconds, of streaming ``blocks`` blocks."""
    # the contour alone: no program end may come ahead of more blocks
    body = "\n".join(contouring(BODY).split("\n")[2:-4]).encode() + b"\n"
    before, start, words, faults = peak_mb(), time.perf_counter(), 0, []
    for part in windows(Repeated(body, blocks // body.count(b"\n") + 1), "bench", faults):
        words += len(part.value)
    assert not faults
    print(peak_mb() - before, time.perf_counter() - start, words)


def read_memory():
    """Return the peak memory above start, in MB, of streaming five million blocks in a fresh process."""
    code = "from reading import stream; stream()"
    here = Path(__file__).resolve().parent
    out = subprocess.run([sys.executable, "-c", code], cwd=here, capture_output=True, text=True, check=True)
    peak, taken, words = out.stdout.split()
    return {"name": "read-memory", "ratio": float(peak), "seconds": float(taken), "words": int(words)}
