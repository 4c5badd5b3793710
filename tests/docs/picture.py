"""Write the picture of the README, made of what hexpost prints: ``python tests/docs/picture.py``."""

import json
import re
import tempfile
from pathlib import Path
from xml.sax.saxutils import escape

from click.testing import CliRunner

from hexpost.cli import main

ROOT = Path(__file__).parent.parent.parent
PICTURE = ROOT / "samples" / "hexpost.svg"
CHARTS = (
    (r"The most used limit", "the most used limit of any strut, dashed: all of a limit"),
    (r"Strut \d length", "strut 1: length, dashed: its stroke"),
    (r"Strut \d speed", "strut 1: speed, dashed: its limits"),
    (r"Strut \d acceleration", "strut 1: acceleration, dashed: its limits"),
)
STYLE = (
    ".e{fill:#3d6f8e}.b{fill:none;stroke:#a63a00;stroke-dasharray:6 4}.m{display:none}.z{fill:#a63a00;fill-opacity:.1}"
    ".over{fill:#a63a00}"
)
HEAD = 'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 960 420" role="img" font-family="sans-serif" font-size="13"'


def picture() -> str:
    """Return the machine from the front, and charts and the worst finding of a job that breaks its limits, as SVG."""
    with tempfile.TemporaryDirectory() as folder:
        out, samples = Path(folder), ROOT / "samples"
        files = ["--tools", str(samples / "tools.toml"), "--setup", str(samples / "setup.toml")]
        CliRunner().invoke(main, ["convert", str(samples / "overdriven.nc"), *files, "--out", str(out / "job")])
        CliRunner().invoke(main, ["machine", "show", "--svg", str(out / "machine.svg")])
        machine = (out / "machine.svg").read_text()
        page = (out / "job" / "report.html").read_text()
        worst = json.loads((out / "job" / "report.json").read_text())["findings"][0]
    front = re.search(r"<g transform[^>]*>(.*?)</g>", machine, re.DOTALL)[1]
    values = f"{worst['peak']:.0f} {worst['unit']} reached, {worst['allowed']:.0f} allowed"
    said = f"line {worst['line']}: {worst['limit']} of strut {worst['strut']}, {values}"
    rows = [
        f"<svg {HEAD}>",
        f"<title>The demonstration machine, and a job that breaks its limits</title><style>{STYLE}</style>",
        '<rect width="100%" height="100%" fill="white"/>',
        f"<g>{front}</g>",
        '<text x="430" y="24" font-size="15">samples/overdriven.nc on the demonstration machine</text>',
        f'<text x="430" y="46" class="over">{said}</text>',
        f'<text x="430" y="64" font-family="monospace" font-size="12">{escape(worst["text"])}</text>',
    ]
    for k, (label, caption) in enumerate(CHARTS):
        chart = re.search(rf'<svg viewBox="0 0 420 90"[^>]*aria-label="{label}[^>]*>(.*?)</svg>', page, re.DOTALL)[1]
        rows.append(f'<text x="430" y="{90 + 84 * k}" fill="#555">{caption}</text>')
        rows.append(f'<g transform="translate(430,{94 + 84 * k}) scale(1.2,0.7)">{chart}</g>')
    return "\n".join([*rows, "</svg>"]) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(picture())
