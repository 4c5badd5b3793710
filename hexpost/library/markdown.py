"""The result as Markdown (CommonMark): a summary that fits into a change request. Text of programs acts nowhere."""

import re
from collections.abc import Iterator

from hexpost.library.model import Case, GateResult
from hexpost.library.texts import (
    basis,
    judged_sentence,
    mistake_sentence,
    notes,
    summary,
    verdict_sentence,
    worst_first,
)
from hexpost.voice import clean, duration, percent, plural

HEAD = "## Program library: "
"""How every such file begins."""
MOST_PROGRAMS = 25
"""So many programs are listed; the rest are counted."""
MOST_SENTENCES = 3
"""So many findings of a program."""
_MOST_LETTERS = 300
_ACTS = re.compile(r"([\\`*_{}\[\]<>#|~&@]|:(?=//)|(?<=www)\.)", re.IGNORECASE)


def to_markdown(result: GateResult) -> str:
    """Return the summary: verdict, numbers, what fails, worst first."""
    word, rest = verdict_sentence(result)
    bad = [case for case in sorted(result.cases, key=worst_first) if case.verdict != "pass"]
    lines = [f"{HEAD}{word}: {rest}", "", f"{said(summary(result))} {said(basis(result))}.", ""]
    if bad:
        lines += ["| program | verdict | worst use | limit | time |", "|---|---|---:|---|---:|"]
        lines += [_row(case) for case in bad[:MOST_PROGRAMS]]
        more = len(bad) - MOST_PROGRAMS
        lines += ["", f"{plural(more, 'program')} more not listed here."] if more > 0 else []
        lines.append("")
        for case in bad[:MOST_PROGRAMS]:
            lines += _details(case)
    lines += [f"- {said(note)}" for note in notes(result)]
    return "\n".join(lines).rstrip("\n") + "\n"


def said(text: str) -> str:
    """Return text as Markdown that shows it and does nothing: no markup, no link, nobody called by name."""
    cut = clean(text)[:_MOST_LETTERS]
    return _ACTS.sub(r"\\\1", cut).replace("\\@", "\\@&#8203;").replace("\\#", "\\#&#8203;")


def code(text: str) -> str:
    """Return text as a span of code, whatever it holds; a bar would end a cell of a table."""
    plain = clean(text)[:_MOST_LETTERS].strip().replace("|", "\\|")
    fence = "`" * (max((len(run) for run in re.findall("`+", plain)), default=0) + 1)
    return f"{fence} {plain} {fence}" if plain else ""


def _row(case: Case) -> str:
    use, limit = case.worst
    known = not case.record.mistakes
    verdict = "fails" if known else "not understood"
    cells = [percent(use), said(limit), duration(case.record.duration_s)] if known else ["", "", ""]
    return f"| {code(case.name)} | {verdict} | {' | '.join(cells)} |"


def _details(case: Case) -> Iterator[str]:
    """Yield the worst of what is wrong with a program."""
    rows = [(m.line, m.text, mistake_sentence(m)) for m in case.record.mistakes]
    rows += [(j.found.line, j.found.text, judged_sentence(j)) for j in case.findings if j.fails]
    yield f"**{code(case.name)}**"
    yield ""
    for line, text, sentence in rows[:MOST_SENTENCES]:
        yield f"- line {line or '-'}: {code(text)} {said(sentence)}"
    more = case.record.mistakes_total + sum(j.fails for j in case.findings) - len(rows[:MOST_SENTENCES])
    if more:
        yield f"- {more:,} more"
    yield ""
