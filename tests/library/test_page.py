"""The page of a library: filters hide findings with their programs, links hold wherever it is written; the summary."""

import json
import re
from html import unescape
from pathlib import Path
from urllib.parse import unquote

import pytest
from library.shop import CLEAN, FAST, MISTAKEN, stocked
from library.test_formats import HOSTILE, hostile
from report.test_page import BROWSER, browse

from hexpost.library.gate import gate
from hexpost.library.markdown import HEAD, to_markdown
from hexpost.library.page import to_page
from hexpost.library.policy import Policy
from hexpost.library.settings import Settings
from hexpost.pages.html import cut, safe
from hexpost.workers.engines import serial

LONG = "a-name-that-does-not-end-" * 5


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    place = tmp_path_factory.mktemp("shop")
    return stocked(place, a=CLEAN, sub__b=FAST, sub__c=MISTAKEN, **{f"sub__{LONG}": FAST})


@pytest.fixture(scope="module")
def result(shop):
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(shop)
        names = sorted(str(p.relative_to(shop)) for p in shop.rglob("*.nc"))
        return gate(names, Policy(over=Settings(machine="slow.toml")), serial())


def test_links_to_programs_hold_wherever_the_page_is_written(shop, result, monkeypatch):
    monkeypatch.chdir(shop)
    for place in (Path("page.html"), Path("out/deep/page.html"), shop.parent / "page.html", shop / "sub" / "page.html"):
        links = re.findall(r'<a href="([^"]+)">the program</a>', to_page(result, place))
        found = {(place.parent / unquote(unescape(link))).resolve() for link in links}
        # an address counts from the folder of the page, whether that folder is there yet or not
        assert found == {p.resolve() for p in (shop / "sub").glob("*.nc")}


def test_the_head_says_verdict_numbers_version_and_policy(shop, result, monkeypatch):
    monkeypatch.chdir(shop)
    page = to_page(result, Path("page.html"))
    head = unescape(re.sub("<[^>]*>", " ", page[page.index("<header") : page.index("</header>")]))
    assert "NOT UNDERSTOOD : 1 of 4 programs; 2 more fail" in " ".join(head.split())
    assert "hexpost 0" in head and "no policy" in head
    flexes = [int(n) for n in re.findall(r'style="flex:(\d+)"', page)]
    assert flexes == [result.count(v) for v in ("error", "fail", "pass")]


def test_long_names_lose_their_middle_and_keep_both_ends():
    shown = cut(f"folder/{LONG}<b>.nc")
    assert re.sub("<[^>]*>", "", shown).startswith("folder/") and shown.endswith("&lt;b&gt;.nc</span>")
    assert len(unescape(re.sub("<[^>]*>", "", shown))) == 48
    assert f'title="{safe(f"folder/{LONG}<b>.nc")}"' in shown
    assert cut("short.nc") == "short.nc"


SETS = """
const pick = (name, value) => {
  const field = [...document.querySelectorAll("#filters label")].find(l => l.textContent.startsWith(name)).lastChild;
  field.value = value; field.dispatchEvent(new Event("change")); field.dispatchEvent(new Event("input"));
};
const seen = selector => [...document.querySelectorAll(selector)].filter(x => !x.hidden).map(x => x.dataset.name);
const out = {};
out.all = [seen("tbody tr"), seen("details")];
pick("Verdict", "fails"); out.fails = [seen("tbody tr"), seen("details")];
pick("Path", "/B.nc"); out.path = [seen("tbody tr"), seen("details")];
document.querySelector("#filters button").click();
pick("Folder", "."); out.folder = [seen("tbody tr"), seen("details")];
out.said = document.querySelector("#filters output").textContent;
document.body.dataset.out = JSON.stringify(out);
"""


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can")
def test_filters_hide_findings_with_their_programs(tmp_path, shop, result, monkeypatch):
    monkeypatch.chdir(shop)
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", to_page(result, tmp_path / "page.html"))
    got = browse(tmp_path, page.replace("</body>", f"<script>{SETS}</script></body>"), "--dump-dom")
    out = json.loads(unescape(re.search(r'data-out="([^"]*)"', got.document)[1]))
    long = f"sub/{LONG}.nc"
    assert [set(x) for x in out["all"]] == [{"a.nc", "sub/b.nc", "sub/c.nc", long}, {"sub/b.nc", "sub/c.nc", long}]
    assert [set(x) for x in out["fails"]] == [{"sub/b.nc", long}] * 2
    assert out["path"] == [["sub/b.nc"]] * 2
    assert (out["folder"], out["said"]) == ([["a.nc"], []], "1 of 4 shown")


def test_the_summary_says_what_fails_and_text_acts_nowhere(result):
    text = to_markdown(result)
    assert text.startswith(f"{HEAD}NOT UNDERSTOOD: 1 of 4 programs; 2 more fail\n")
    assert "| ` sub/b.nc ` | fails |" in text and "- line 4: " in text
    wicked = to_markdown(hostile())
    spans = re.sub(r"(`+) .*? \1(?!`)", "", wicked)  # what is left is text: every sign that acts has a stroke before it
    assert "alert" in wicked and not re.search(r"(?<!\\)[<>\[\]{}~]", spans)
    assert HOSTILE not in wicked and "\x1b" not in wicked and "\u202e" not in wicked
