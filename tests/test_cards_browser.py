"""Cards and the report in a browser: nothing overflows, contrast is enough, sizes are the model's.

Needs Chromium (``/usr/bin/chromium``, Debian package ``chromium``); without it these are skipped.
"""

from __future__ import annotations

import html
import json
import re
import subprocess
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

import scaler
from scaler import examples
from scaler.cards.as_read import targets_of
from scaler.cards.cards import card_pages, make_cards
from scaler.cards.page_html import PAPERS
from scaler.cards.page_report import report_page
from scaler.settling.solve import middle

CHROMIUM = Path("/usr/bin/chromium")
pytestmark = pytest.mark.skipif(
    not CHROMIUM.exists(), reason="needs /usr/bin/chromium (apt-get install chromium)"
)

PX = 96 / 25.4
"""CSS pixels in a millimetre (CSS Values and Units, 1 in = 96 px)."""

# Relative luminance and contrast as WCAG 2.2 defines them (success criterion 1.4.3).
PROBE = """
<script>
window.addEventListener("load", () => {
  const light = c => { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
  const lum = c => 0.2126 * light(c[0]) + 0.7152 * light(c[1]) + 0.0722 * light(c[2]);
  const rgb = s => { const m = s.match(/[\\d.]+/g); return m ? m.map(Number) : [0, 0, 0, 0]; };
  const ground = e => { for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] > 0) return c; } return [255, 255, 255]; };
  const out = {over: [], low: [], small: [], sizes: {}, lowest: 21, clipped: [], least: 99,
    letters: 99, overlap: []};
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode, e = node.parentElement;
    if (!node.nodeValue.trim() || e.closest("script,style,title,desc,nav,.skip")) continue;
    const style = getComputedStyle(e);
    const svg = e.closest("svg");
    const ink = rgb(svg ? style.fill : style.color);
    const paper = svg ? [255, 255, 255] : ground(e);
    const a = lum(ink), b = lum(paper);
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    out.lowest = Math.min(out.lowest, ratio);
    if (ratio < 4.5) out.low.push(node.nodeValue.trim().slice(0, 40) + " " + ratio.toFixed(2));
    const range = document.createRange(); range.selectNodeContents(node);
    const box = range.getBoundingClientRect();
    const sheet = e.closest(".card") || document.body;
    const limit = sheet.getBoundingClientRect();
    if (box.width && (box.right > limit.right + 1 || box.left < limit.left - 1))
      out.over.push(node.nodeValue.trim().slice(0, 40));
    const cell = e.closest("td,th");
    if (cell && box.width && box.right > cell.getBoundingClientRect().right + 1)
      out.clipped.push(node.nodeValue.trim().slice(0, 40));
    if (!svg) out.least = Math.min(out.least, parseFloat(style.fontSize) * 0.75);
    if (svg) {
      const frame = svg.getBoundingClientRect();
      const zoom = frame.width / svg.viewBox.baseVal.width;
      out.letters = Math.min(out.letters, parseFloat(style.fontSize) * zoom * 0.75);
      if (box.right > frame.right + 1 || box.left < frame.left - 1 || box.bottom > frame.bottom + 2
          || box.top < frame.top - 2) out.clipped.push(node.nodeValue.trim().slice(0, 40));
    }
  }
  for (const svg of document.querySelectorAll("svg")) {
    const boxes = [...svg.querySelectorAll("text")].map(e => [e.textContent, e.getBoundingClientRect()]);
    boxes.forEach(([words, a], n) => boxes.slice(n + 1).forEach(([others, b]) => {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 1.5 && high > 3.5) out.overlap.push(words + " / " + others);
    }));
  }
  for (const e of document.querySelectorAll("*")) {
    if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth && getComputedStyle(e).display !== "inline"
        && !e.closest("svg,head") && !["HTML", "BODY"].includes(e.tagName))
      out.over.push(e.tagName + "." + e.className + " " + e.textContent.slice(0, 30));
  }
  for (const box of document.querySelectorAll(".boxes span"))
    if (box.scrollHeight > box.clientHeight + 1 || box.scrollWidth > box.clientWidth + 1)
      out.clipped.push("box " + box.textContent);
  for (const row of document.querySelectorAll("tr[data-size]"))
    out.sizes[row.dataset.size] = [row.dataset.exact, row.querySelector(".make b").textContent,
      parseFloat(getComputedStyle(row.querySelector(".make b")).fontSize) * 0.75];
  out.cards = document.querySelectorAll("article.card").length;
  out.wide = document.documentElement.scrollWidth - innerWidth;
  document.body.setAttribute("data-found", JSON.stringify(out));
});
</script>
"""


def browse(page: Path, *options: str) -> tuple[str, str]:
    """The page's document after loading, and what the browser said on its console."""
    done = subprocess.run(
        [
            str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
            "--disable-quic", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync", "--enable-logging=stderr",
            f"--user-data-dir={page.parent / 'profile'}", *options,
            page.as_uri(),
        ],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    return done.stdout, "\n".join(console)


def measure(folder: Path, page: str, width_mm: float) -> dict[str, Any]:
    """What the probe found on a page in a window as wide as the paper."""
    file = folder / "probe.html"
    file.write_text(page.replace("</body>", PROBE + "</body>"), encoding="utf-8")
    document, console = browse(file, "--dump-dom", f"--window-size={round(width_mm * PX)},1200")
    assert console == ""
    found = re.search(r'data-found="([^"]*)"', document)
    assert found is not None
    result: dict[str, Any] = json.loads(html.unescape(found[1]))
    return result


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> scaler.CheckResult:
    """The shipped engine with a few readings, so that all blocks of a card are there."""
    folder = tmp_path_factory.mktemp("engine") / "m"
    examples.write_out("pattern_d", folder)
    (folder / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\n"
        "2026-11-10T10:00:00Z,reading,wheel.bore,no_2,15.011 mm,bore gauge,a little large\n"
        "2026-11-10T10:05:00Z,reading,axlebox_bush.bore,,15.881 mm,bore gauge,all four alike\n",
        encoding="utf-8",
    )
    return scaler.check(scaler.load(folder))


@pytest.fixture(scope="module")
def press(tmp_path_factory: pytest.TempPathFactory) -> scaler.CheckResult:
    """The bench press of the cases: a part of every form, in inches, two of its pairs failing."""
    folder = tmp_path_factory.mktemp("press")
    text = (Path(__file__).parent / "cases" / "press.toml").read_text(encoding="utf-8")
    (folder / "model.toml").write_text(text.replace('work = "mm"', 'work = "in"'), "utf-8")
    return scaler.check(scaler.load(folder))


def sound(found: dict[str, Any]) -> None:
    """Nothing past its page, cell or picture, nothing over another, contrast, lettering."""
    assert found["over"] == [] and found["clipped"] == [] and found["wide"] <= 0
    assert found["overlap"] == []
    assert found["low"] == [] and found["lowest"] >= 4.5
    assert found["least"] >= 7.4  # no print below 7.5 pt
    assert found["letters"] >= 7.4


@pytest.mark.parametrize("paper", ["A4", "A5", "letter"])
@pytest.mark.parametrize("name", ["engine", "press"])
def test_every_card_fits_its_paper(
    name: str, paper: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """On each paper: no console error, nothing past the sheet or its cell, contrast, all sizes."""
    engine: scaler.CheckResult = request.getfixturevalue(name)
    cards = make_cards(engine)
    found = measure(tmp_path, card_pages(cards, paper)["all.html"], PAPERS[paper].width)
    assert found["cards"] == len(cards)
    sound(found)
    wanted = {
        line.size.id: middle(line.chosen)
        for line in engine.reduction.lines
        if not line.refused and line.chosen is not None
    }
    wanted |= {t.size: t.value for t in targets_of(engine).values() if t.value is not None}
    assert {name: Fraction(value[0]) for name, value in found["sizes"].items()} == wanted
    for _, shown, points in found["sizes"].values():
        assert shown.strip()
        assert points >= (18 if paper != "A5" else 14)  # read at arm's length


def test_pages_come_out_on_the_paper(engine: scaler.CheckResult, tmp_path: Path) -> None:
    """The browser's own print: the size of the sheet, and one sheet for a part of one size."""
    for paper, points in (("A4", (595, 842)), ("A5", (420, 595)), ("letter", (612, 792))):
        page = tmp_path / f"{paper}.html"
        page.write_text(
            card_pages(make_cards(engine, ["valve_spindle"]), paper)["valve_spindle.html"], "utf-8"
        )
        pdf = tmp_path / f"{paper}.pdf"
        browse(page, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
        boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf.read_bytes())
        assert len(boxes) == 1
        for wide, high in boxes:
            assert (round(float(wide)), round(float(high))) == points


@pytest.mark.parametrize("paper", ["A4", "A5", "letter"])
def test_the_report_fits_and_can_be_read(
    engine: scaler.CheckResult, press: scaler.CheckResult, paper: str, tmp_path: Path
) -> None:
    """On each paper, chosen and rounded, with and without conflicts: as the cards."""
    rounded = scaler.check(engine.model, "rounded")
    assert rounded.conflicts and press.conflicts
    for result in (engine, rounded, press):
        page = report_page(result, cards=True, paper=paper)
        found = measure(tmp_path, page, PAPERS[paper].width)
        found["wide"] = 0  # the body has room beside the sheet's margin on the screen
        sound(found)


@pytest.mark.parametrize("paper", ["A4", "A5", "letter"])
def test_the_list_of_cards_fits(press: scaler.CheckResult, paper: str, tmp_path: Path) -> None:
    """The index on each paper."""
    found = measure(tmp_path, card_pages(make_cards(press), paper)["index.html"], 216)
    assert found["over"] == [] and found["clipped"] == [] and found["low"] == []


def test_the_report_comes_out_on_the_paper(press: scaler.CheckResult, tmp_path: Path) -> None:
    """The browser's own print: every sheet of the size asked for."""
    for paper, points in (("A4", (595, 842)), ("A5", (420, 595)), ("letter", (612, 792))):
        page = tmp_path / f"{paper}.html"
        page.write_text(report_page(press, paper=paper), "utf-8")
        pdf = tmp_path / f"{paper}.pdf"
        browse(page, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
        boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf.read_bytes())
        assert len(boxes) > 2
        assert {(round(float(wide)), round(float(high))) for wide, high in boxes} == {points}


WALK = """
<script>
window.addEventListener("load", () => {
  const links = [...document.querySelectorAll("a[href],summary")];
  let taken = 0;
  for (const e of links) { e.focus({focusVisible: true}); if (document.activeElement === e) taken++; }
  const first = links.find(e => !e.closest("svg") && !e.classList.contains("skip"));
  first.focus({focusVisible: true});
  const ring = getComputedStyle(first).outlineStyle;
  const named = links.filter(e => (e.textContent.trim() || e.getAttribute("aria-label"))).length;
  document.body.setAttribute("data-found", JSON.stringify([links.length, taken, named, ring,
    document.hasFocus()]));
});
</script>
"""


@pytest.mark.parametrize(
    ("name", "least"), [("report.html", 20), ("index.html", 10), ("bush.html", 3), ("all.html", 1)]
)
def test_pages_can_be_walked_with_the_tab_key(
    name: str, least: int, press: scaler.CheckResult, tmp_path: Path
) -> None:
    """Every link can take the focus, in the pictures too, has a name, and shows that it has it."""
    pages = card_pages(make_cards(press)) | {"report.html": report_page(press, cards=True)}
    file = tmp_path / "walk.html"
    file.write_text(pages[name].replace("</body>", WALK + "</body>"), encoding="utf-8")
    for _ in range(5):  # on a busy machine the window may not be the active one yet: no ring then
        document, console = browse(file, "--dump-dom")
        found = re.search(r'data-found="([^"]*)"', document)
        assert found is not None and console == ""
        links, taken, named, ring, active = json.loads(html.unescape(found[1]))
        if active and ring != "none":
            break
    assert links == taken == named >= least
    assert active and ring != "none"


def test_links_lead_somewhere(press: scaler.CheckResult) -> None:
    """Every link of every page is to a page that is written with it, or a place on the page."""
    pages = card_pages(make_cards(press)) | {"report.html": report_page(press, cards=True)}
    for page in pages.values():
        for link in re.findall(r'<a [^>]*href="([^"]+)"', page):
            name, _, place = link.partition("#")
            assert not name or name in pages
            assert not place or f'id="{place}"' in page


def luminance(colour: Sequence[int]) -> float:
    """WCAG 2.2 relative luminance."""

    def light(value: float) -> float:
        value /= 255
        return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)

    red, green, blue = colour
    return 0.2126 * light(red) + 0.7152 * light(green) + 0.0722 * light(blue)


def test_verdicts_are_told_apart_in_grey() -> None:
    """Each failing verdict has dashes of its own against an even line, whatever its colour."""
    from scaler.cards.pictures import LINE_OF

    assert LINE_OF["holds"][0] == ""
    for verdict, (dashes, colour) in LINE_OF.items():
        if verdict != "holds":
            assert dashes
        red, green, blue = (
            int(part * (2 if len(part) == 1 else 1), 16)
            for part in re.findall(r"[0-9a-f]{2}" if len(colour) == 7 else r"[0-9a-f]", colour[1:])
        )
        assert 1.05 / (luminance((red, green, blue)) + 0.05) >= 4.5
