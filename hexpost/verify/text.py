"""A proof as text and as a JSON document."""

from hexpost.verify.model import BROKEN, CLEAN, Proof
from hexpost.voice import not_looked_at

SCHEMA_VERSION = 1
_SENTENCES = {
    CLEAN: "PROVEN, CLEAN: the table is what the program asks for, and no limit is broken.",
    BROKEN: "PROVEN, BROKEN: the table is what the program asks for, and breaks limits as its report says.",
}
_NOT = "NOT PROVEN: do not use this job."


def text(proof: Proof) -> str:
    """Return the verdict and one line for each check, with its faults below it."""
    unseen = not_looked_at(proof.unseen)
    lines = [_SENTENCES.get(proof.verdict, _NOT), *([unseen] if unseen else []), ""]
    for c in proof.checks:
        lines.append(f"  {'ok    ' if c.proven else 'FAILED'}  {c.name:14}  {_plain(c.text)}")
        lines += [f"          - {_plain(f)}" for f in c.faults]
    lines += [f"  note    {_plain(r)}" for r in (*proof.unchecked, *proof.remarks)]
    return "\n".join(lines)


def document(proof: Proof) -> dict[str, object]:
    """Return the proof as plain values."""
    return {
        "schema_version": SCHEMA_VERSION,
        "job": proof.folder,
        "verdict": proof.verdict,
        "checks": [
            {"name": c.name, "proven": c.proven, "text": c.text, "faults": list(c.faults)} for c in proof.checks
        ],
        "limits_not_checked": [{**x._asdict(), "part": x.part or None} for x in proof.unseen],
        "not_checked": list(proof.unchecked),
        "remarks": list(proof.remarks),
    }


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() or c == "\n" else " " for c in text)
