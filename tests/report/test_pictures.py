"""Pictures of every page at three widths, in both themes and as print, in a temporary folder for people to look at.

``pytest -m long tests/report/test_pictures.py --basetemp FOLDER`` keeps them.
"""

import re
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner
from report.test_accessible import COMMANDS, FILES, SAMPLES
from report.test_page import BROWSER, browse

from hexpost.cli import main

pytestmark = [
    pytest.mark.usefixtures("untried"),
    pytest.mark.long,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can"),
]

MORE = {
    "both": (
        "audit",
        "overdriven.nc",
        "--tools",
        "tools.toml",
        "--setup",
        "setup.toml",
        "--feed",
        "both",
        "--html",
        "{}",
    ),
    "circle": ("machine", "circle", "--svg", "{}"),
    "machine": ("machine", "show", "--svg", "{}"),
}
DRAWN = {"circle": "circle.svg", "machine": "machine.svg"}
WIDE = "<script>document.body.dataset.wide = document.documentElement.scrollWidth + ' ' + innerWidth</script></body>"


@pytest.fixture(scope="module")
def places(tmp_path_factory):
    """Return the file of every page and picture, by its name."""
    out, found = tmp_path_factory.mktemp("pages"), {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(SAMPLES)
        for name, words in {**COMMANDS, **MORE}.items():
            place = out / name if name in FILES else out / DRAWN.get(name, f"{name}.html")
            done = CliRunner().invoke(main, [word.format(place) for word in words])
            assert done.exit_code in (0, 1), done.output
            found[name] = out / FILES.get(name, place.name)
    return found


def shot(tmp_path, place, option):
    """Let the browser make a picture."""
    quiet = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", f"--user-data-dir={tmp_path / 'user'}")
    words = [BROWSER, *quiet, "--virtual-time-budget=8000", *option, Path(place).as_uri()]
    subprocess.run(words, capture_output=True, timeout=180, check=True)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 768, 1280])
@pytest.mark.parametrize("name", [*COMMANDS, *MORE])
def test_a_picture_of_a_page(tmp_path, places, name, width, theme):
    look = f"--blink-settings=preferredColorScheme={int(theme == 'light')}"
    file = tmp_path / f"{name}-{width}-{theme}.png"
    shot(tmp_path, places[name], [f"--window-size={width},2400", look, f"--screenshot={file}"])
    assert file.read_bytes()[:4] == b"\x89PNG" and file.stat().st_size > 8_000
    if name in DRAWN:
        return
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", places[name].read_text())
    got = browse(tmp_path, page.replace("</body>", WIDE), "--dump-dom", f"--window-size={width},900")
    wide, seen = map(int, re.search(r'data-wide="(\d+) (\d+)"', got.document).groups())
    assert wide <= seen, "the page is wider than the window"


@pytest.mark.parametrize("name", [*COMMANDS, *MORE])
def test_a_page_prints(tmp_path, places, name):
    file = tmp_path / f"{name}.pdf"
    shot(tmp_path, places[name], [f"--print-to-pdf={file}"])
    assert file.read_bytes()[:4] == b"%PDF" and file.stat().st_size > 8_000
