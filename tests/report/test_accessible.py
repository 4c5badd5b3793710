"""The pages against an outside checker of accessibility rules (WCAG), in a browser.

The checker is the npm package axe-core; ``.ci/run`` puts it into a cache folder where npm is at hand.
"""

import json
import os
import re
from html import unescape
from pathlib import Path

import pytest
from report.test_page import BROWSER, browse, shown
from report.test_reports import BROKEN
from verify.folders import convert

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
    pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can"),
    pytest.mark.skipif(not CHECKER.is_file(), reason="no axe-core in the cache folder: .ci/run fetches it with npm"),
]


def violations(tmp_path, text, width):
    """Return what the checker finds: rule, impact, the first places."""
    code = CHECKER.read_text(encoding="utf-8").replace("</script", "<\\/script")
    page = text.replace("</body>", f"<script>{code}</script><script>{RUN}</script></body>")
    got = browse(tmp_path, page, "--dump-dom", f"--window-size={width},900", "--virtual-time-budget=20000")
    found = json.loads(unescape(re.search(r'<body[^>]*data-found="([^"]*)"', got.document)[1]))
    assert found["passes"] > 10, found
    return found["violations"]


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("rows", [(), BROKEN], ids=["clean", "broken"])
def test_the_page_of_a_job_has_no_violation(tmp_path, rows, width):
    assert violations(tmp_path, shown(rows=rows), width) == []


def test_the_page_of_a_real_job_has_no_violation(tmp_path):
    job = convert(tmp_path)
    assert violations(tmp_path, (job / "report.html").read_text(), 1280) == []


def test_the_checker_sees_a_planted_fault(tmp_path):
    text = shown().replace("<main>", '<main><img src="data:image/png;base64,"><p style="color:#ccc">faint</p>')
    assert {"image-alt", "color-contrast"} <= {rule for rule, _, _ in violations(tmp_path, text, 1280)}
