"""What a program holds in memory is its columns and its text, and little more."""

import tracemalloc

from hexpost.program.read import read


def peak(blocks):
    """Return the peak of what reading allocates, and the size of what stays, in bytes beside the text."""
    body = "".join(f"X{k % 977 / 10} Y{k % 89}.5 Z-{k % 7}\n" for k in range(1000))
    source = ("G21 G01 F900\n" + body * (blocks // 1000)).encode()
    tracemalloc.start()
    try:
        program = read(source, "t", faults := [])
        held, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert not faults and program.lines > blocks
    columns = ("letter", "value", "pointed", "line", "column", "first", "line_start")
    return most, held, sum(getattr(program, c).nbytes for c in columns)


def test_reading_needs_no_second_copy_of_the_columns():
    peak(1000)  # the grammar is compiled once
    few, many = peak(40_000), peak(160_000)
    kept = many[2] - few[2]
    assert many[1] - few[1] < 1.1 * kept
    assert many[0] - few[0] < 1.25 * kept


def test_programs_whose_lines_grow_are_whole():
    rows = ["X1"] * 30_000 + [f"G01 X{k}.125 Y-{k}.5 Z{k} A1 B2 C3 (LINE {k})" for k in range(20_000)]
    program = read(("G21\n" + "\n".join(rows)).encode(), "t", faults := [])
    assert not faults
    assert program.lines == 50_001
    assert program.text(50_001) == rows[-1]
    assert program.value[-6:].tolist() == [19_999.125, -19_999.5, 19_999, 1, 2, 3]
    assert len(program.comment_line) == 20_000
    assert program.source[program.comment_start[-1] : program.comment_end[-1]] == b"(LINE 19999)"
    assert not program.value.flags.writeable
