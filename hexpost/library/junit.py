"""The result as JUnit XML: a test case per program; a broken limit is a failure, a program not understood an error."""

import re
from pathlib import PurePosixPath
from xml.sax.saxutils import escape, quoteattr

from hexpost.library.model import Case, GateResult
from hexpost.library.texts import counts, judged_sentence, mistake_sentence, notes, summary

MOST_LINES = 100
"""So many findings of a program are written out; the rest are counted."""

_NO_XML = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 cannot hold."""


def to_junit(result: GateResult) -> str:
    """Return the XML text; ``time`` is the cycle time of a program, so that two runs write the same file."""
    sums = (
        f'tests="{len(result.cases) + len(result.skipped)}" failures="{result.count("fail")}" '
        f'errors="{result.count("error")}"'
    )
    total = sum(c.record.duration_s for c in result.cases)
    rows = ['<?xml version="1.0" encoding="UTF-8"?>', f'<testsuites name="hexpost gate" {sums} time="{total:.3f}">']
    rows.append(f'<testsuite name="hexpost gate" {sums} skipped="{len(result.skipped)}" time="{total:.3f}">')
    rows += [
        "<properties>",
        *(f'<property name="{k}" value="{n}"/>' for k, n in counts(result).items()),
        "</properties>",
    ]
    for case in result.cases:
        rows += _case(case)
    for name in result.skipped:
        rows += [f"<testcase {_names(name)}>", '<skipped message="skipped by the policy"/>', "</testcase>"]
    said = [*notes(result), summary(result)]
    rows += ["<system-out>", *_lines(said, len(said)), "</system-out>"]
    return "\n".join([*rows, "</testsuite>", "</testsuites>", ""])


def _case(case: Case) -> list[str]:
    head = f'<testcase {_names(case.name)} time="{case.record.duration_s:.3f}"'
    body = []
    if case.record.mistakes:
        first = case.record.mistakes[0]
        lines = [f"line {m.line or '-'}: {mistake_sentence(m)}" for m in case.record.mistakes]
        body += _element("error", first.code, mistake_sentence(first), lines, case.record.mistakes_total)
    elif case.verdict == "fail":
        failing = [j for j in case.findings if j.fails]
        lines = [f"line {j.found.line}: {judged_sentence(j)}" for j in failing]
        body += _element("failure", failing[0].found.limit.name, lines[0], lines, len(lines))
    rest = [f"line {j.found.line}: {judged_sentence(j)}" for j in case.findings if not j.fails]
    if rest:
        body += ["<system-out>", *_lines(rest, len(rest)), "</system-out>"]
    return [f"{head}>", *body, "</testcase>"] if body else [f"{head}/>"]


def _element(tag: str, kind: str, message: str, lines: list[str], total: int) -> list[str]:
    return [f"<{tag} type={_quoted(kind)} message={_quoted(message)}>", *_lines(lines, total), f"</{tag}>"]


def _lines(lines: list[str], total: int) -> list[str]:
    shown = [escape(_NO_XML.sub("?", line)) for line in lines[:MOST_LINES]]
    return shown if total <= len(shown) else [*shown, f"... and {total - len(shown)} more"]


def _names(name: str) -> str:
    folder = str(PurePosixPath(name).parent)
    return f"classname={_quoted(folder)} name={_quoted(name)}"


def _quoted(text: str) -> str:
    return quoteattr(_NO_XML.sub("?", text))
