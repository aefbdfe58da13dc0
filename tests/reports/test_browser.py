"""Pages in a real browser, where one is installed: on a telephone nothing is cut off, every text can be read, nothing is asked of
anybody, and what was typed is text.

Every page of the program is made of the same blocks by one template, so the laws are held to pages of every kind of block.
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import get_args

import pytest
from PIL import Image

import faultodds
import faultodds_cli
from faultodds.reports import Block, Page, as_html
from faultodds.reports.blocks import Kind

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
TELEPHONE, DESK = 360, 1280
LONG = "a_word_without_any_blank_that_goes_on_" * 4
TYPED = "<img src=x onerror=\"parent.hit=1\"><script>parent.hit=1</script> & 'so' "
#: Looks at every text of a frame as it is shown, and says what is wrong with the page.
LOOK = """
const linear = c => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
const light = c => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
const parts = c => c.match(/[\\d.]+/g).map(Number);
function paper(at) {
  for (; at; at = at.parentElement) {
    const c = parts(at.ownerDocument.defaultView.getComputedStyle(at).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c;
  }
  return [255, 255, 255];
}
function look(frame) {
  const d = frame.contentDocument, told = [], root = d.documentElement;
  if (root.scrollWidth > frame.clientWidth) {
    const wide = [...d.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > frame.clientWidth);
    told.push("wider than the screen: " + wide.map(e => e.tagName + "." + e.className).join(" "));
  }
  for (const e of d.querySelectorAll("body *")) {
    const words = [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim());
    if (!words) continue;
    const s = d.defaultView.getComputedStyle(e), [a, b] = [light(parts(s.color)), light(paper(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) told.push("contrast " + ratio.toFixed(1) + ": " + e.tagName);
    if (parseFloat(s.fontSize) < 12) told.push("small type: " + e.tagName);
  }
  for (const e of d.querySelectorAll("th,td"))
    if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 1) told.push("runs over its cell: " + e.textContent.slice(0, 20));
  for (const e of d.querySelectorAll("[src],[href]"))
    if (!/^data:/.test(e.getAttribute("src") || e.getAttribute("href"))) told.push("points elsewhere: " + e.tagName);
  for (const e of d.querySelectorAll("img")) if (!e.alt) told.push("a picture without words");
  if (d.querySelector("a,button,input,select,textarea,details,[onclick],[tabindex]")) told.push("wants a pointer");
  if (!root.lang || !d.title || d.querySelectorAll("h1").length !== 1) told.push("language, title or first heading");
  return told;
}
onload = () => {
  const told = [...document.querySelectorAll("iframe")].map(look);
  if (window.hit) told.push(["typed markup was run"]);
  document.body.textContent = JSON.stringify(told);
};
"""


def looked_at(pages: list[str], folder: Path, width: int = TELEPHONE) -> list[list[str]]:
    """What a browser finds wrong with each page on a screen so wide; one more list where markup that was typed was run."""
    assert BROWSER is not None
    frames = "".join(f'<iframe style="border:0;width:{width}px" srcdoc="{html.escape(p)}"></iframe>' for p in pages)
    file = folder / "frames.html"
    file.write_text(f"<!doctype html><body>{frames}<script>{LOOK}</script>", encoding="utf-8")
    argv = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'user'}", "--dump-dom"]
    shown = subprocess.run([*argv, file.as_uri()], capture_output=True, text=True, timeout=120, check=True).stdout
    said = re.search(r"<body>(\[.*\])</body>", shown, re.S)
    assert said, shown[-500:]
    found: list[list[str]] = json.loads(html.unescape(said[1]))
    return found


def every_block(folder: Path) -> Page:
    """A page with every kind of block there is, at its worst."""
    photo = folder / "wide.png"
    Image.new("RGB", (3000, 40)).save(photo)
    rows = (("1", "", LONG, "12"), (TYPED, LONG, "", "$1,234"))
    blocks = [
        Block(
            kind,
            TYPED + LONG,
            ("", "Your odds", TYPED + LONG, "min") if kind in ("table", "form") else (TYPED, LONG),
            rows,
            photo,
        )
        for kind in get_args(Kind)
    ]
    return Page(TYPED + LONG, tuple(blocks), (TYPED + LONG,))


def test_one_template_writes_every_page() -> None:
    """No other file of the program has HTML in it: what holds for the template's blocks holds for every page."""
    roots = [Path(faultodds.__file__).parent, Path(faultodds_cli.__file__).parent]
    texts = [f for root in roots for f in root.rglob("*") if f.suffix in (".py", ".jinja", ".toml", ".html")]
    assert [f.name for f in texts if re.search(r"<html|<body|<table|<style", f.read_text("utf-8"))] == [
        "page.html.jinja"
    ]


@pytest.mark.skipif(BROWSER is None, reason="no browser here")
@pytest.mark.parametrize("width", [TELEPHONE, DESK])
def test_a_browser_finds_nothing_wrong(tmp_path: Path, width: int) -> None:
    """Nothing wider than the screen, contrast of WCAG AA, pictures with words, no address, nothing that wants a pointer."""
    page = as_html(every_block(tmp_path))
    assert looked_at([page], tmp_path, width) == [[]]


@pytest.mark.skipif(BROWSER is None, reason="no browser here")
def test_a_planted_mistake_is_seen(tmp_path: Path) -> None:
    """Each law can fail: the page is spoilt in one way, and the browser tells that."""
    page = as_html(every_block(tmp_path))
    plants = {
        "wider": page.replace("</main>", '<p style="width:30em">x</p></main>'),
        "contrast": page.replace("</main>", '<p style="color:#999999">pale</p></main>'),
        "runs over": page.replace(
            "</main>", '<table><tr><td style="max-width:2em;white-space:nowrap">Your odds</table></main>'
        ),
        "small type": page.replace("</main>", '<p style="font-size:9px">x</p></main>'),
        "elsewhere": page.replace("</main>", '<img alt="x" src="https://example.invalid/x.png"></main>'),
        "without words": re.sub(r' alt="[^"]*"', "", page),
        "pointer": page.replace("</main>", "<button>x</button></main>"),
        "language": page.replace(' lang="en"', ""),
    }
    told = looked_at(list(plants.values()), tmp_path)
    assert [[name in " ".join(each) for name in plants] for each in told] == [
        [row == column for column in range(len(plants))] for row in range(len(plants))
    ], told
    run = re.sub(r"<meta http-equiv[^>]*>", "", page).replace("</main>", html.unescape(TYPED) + "</main>")
    assert ["typed markup was run"] in looked_at([run], tmp_path)
