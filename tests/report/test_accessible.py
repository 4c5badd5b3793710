"""The pages against an outside checker of accessibility rules (WCAG), in a browser.

The checker is the npm package axe-core; ``.ci/run`` puts it into a cache folder where npm is at hand.
"""

import json
import os
import re
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner
from report.test_page import BROWSER, browse, shown

from hexpost.cli import main

CACHE = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
CHECKER = CACHE / "hexpost-test" / "axe-core" / "package" / "axe.min.js"
RUN = """
axe.run(document, {resultTypes: ["violations"]}).then(
  found => document.body.setAttribute("data-found", JSON.stringify({
    passes: found.passes.length,
    violations: found.violations.map(v => [v.id, v.impact, v.nodes.slice(0, 3).map(n => n.html.slice(0, 200))])
  })),
  fault => document.body.setAttribute("data-found", JSON.stringify({fault: String(fault)})));
"""

pytestmark = [
    pytest.mark.usefixtures("untried"),
    pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can"),
    pytest.mark.skipif(not CHECKER.is_file(), reason="no axe-core in the cache folder: .ci/run fetches it with npm"),
]


def violations(tmp_path, text, width, theme="light"):
    """Return what the checker finds: rule, impact, the first places."""
    code = CHECKER.read_text(encoding="utf-8").replace("</script", "<\\/script")
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)  # it lets no script but ours run
    page = page.replace("</body>", f"<script>{code}</script><script>{RUN}</script></body>")
    got = browse(tmp_path, page, "--dump-dom", f"--window-size={width},900", "--virtual-time-budget=20000",
                 f"--blink-settings=preferredColorScheme={int(theme == 'light')}")  # fmt: skip
    found = json.loads(unescape(re.search(r'<body[^>]*data-found="([^"]*)"', got.document)[1]))
    assert found["passes"] > 10, found
    return found["violations"]


SAMPLES = Path(__file__).parent.parent.parent / "samples"
COMMANDS = {
    "job": ("convert", "overdriven.nc", "--tools", "tools.toml", "--setup", "setup.toml", "--out", "{}"),
    "gate": ("gate", "limits.nc", "plate_inch.nc", "--policy", "gate.toml", "--serial", "--no-cache", "--html", "{}"),
    "survey": ("survey", "limits.nc", "plate_inch.nc", "--serial", "--html", "{}"),
    "reach": ("machine", "reach", "--serial", "--step-mm", "300", "--out", "{}"),
}
"""What writes each page."""
FILES = {"job": "job/report.html", "reach": "reach/reach.html"}


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Return every kind of page, by its name."""
    out = tmp_path_factory.mktemp("pages")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(SAMPLES)
        for name, words in COMMANDS.items():
            place = str(out / name if name in FILES else out / f"{name}.html")
            done = CliRunner().invoke(main, [word.format(place) for word in words])
            assert done.exit_code in (0, 1), done.output
    return {name: (out / FILES.get(name, f"{name}.html")).read_text() for name in COMMANDS}


ALL = [(name, (width, theme)) for name in COMMANDS for width in (390, 768, 1280) for theme in ("light", "dark")]
USUAL = [
    ("job", (1280, "light")), ("job", (768, "dark")), ("job", (390, "light")),
    ("gate", (768, "dark")), ("survey", (390, "light")), ("reach", (390, "dark")),
]  # fmt: skip
"""Each page, width and theme; all of them together take a minute."""


@pytest.mark.parametrize(
    ("name", "look"), [pytest.param(*x, marks=[] if x in USUAL else pytest.mark.long) for x in ALL], ids=str
)
def test_a_page_has_no_violation(tmp_path, pages, name, look):
    assert violations(tmp_path, pages[name], *look) == []


def test_a_clean_page_has_no_violation(tmp_path):
    assert violations(tmp_path, shown(), 768) == []


def test_the_checker_sees_a_planted_fault(tmp_path):
    text = shown().replace("<main>", '<main><img src="data:image/png;base64,"><p style="color:#ccc">faint</p>')
    assert {"image-alt", "color-contrast"} <= {rule for rule, _, _ in violations(tmp_path, text, 1280)}
    dark = violations(tmp_path, shown().replace("<main>", '<main><p style="color:#333">faint</p>'), 1280, "dark")
    assert {rule for rule, _, _ in dark} == {"color-contrast"}
