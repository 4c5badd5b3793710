"""The list of changes that change no answer: every line of it is still in the source, and has its reason."""

from attack.mutants import ROOT, mutants, recorded


def test_every_listed_survivor_is_a_line_of_the_source_and_has_a_reason():
    rows = recorded()
    assert len(rows) >= 10
    for file, text, what, reason in rows:
        lines = [line.strip() for line in (ROOT / file).read_text().splitlines()]
        assert text in lines, (file, text)
        assert len(reason) > 10
        assert what.count(" -> ") == 1 or what.startswith("drop ")
    assert len({row[:3] for row in rows}) == len(rows)


def test_a_mutant_is_one_change_of_one_place():
    source = "def f(a: int) -> int:\n    return abs(a - 1) if a < 2 else -a\n"
    found = [(line, what) for line, what, _ in mutants(source)]
    assert (2, "Sub -> Add") in found
    assert (2, "Lt -> LtE") in found
    assert (2, "2 -> 3") in found
    assert (2, "drop USub") in found
    assert (2, "drop abs") in found
    texts = {what: text for _, what, text in mutants(source)}
    assert "abs(a + 1)" in texts["Sub -> Add"]
    assert "abs(a - 1)" in texts["Lt -> LtE"]
