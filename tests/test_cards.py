"""Cards and the report as facts and as text: what stands on them, and what must not."""

from __future__ import annotations

import itertools
import math
import os
import re
import subprocess
import sys
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import pytest

import scaler
from scaler import examples
from scaler.cards.cards import Card, card_pages, letter_of, make_cards
from scaler.cards.page_report import report_page
from scaler.problems import InputError
from scaler.settling.solve import middle

F = Fraction
INCH = F(127, 5)


@pytest.fixture(scope="module")
def engine() -> scaler.CheckResult:
    """The shipped engine, checked as chosen."""
    return scaler.check(examples.load("pattern_d"))


@pytest.fixture(scope="module")
def cards(engine: scaler.CheckResult) -> dict[str, Card]:
    """Its cards by part."""
    return {card.name: card for card in make_cards(engine)}


@pytest.fixture(scope="module")
def pages(cards: dict[str, Card]) -> dict[str, str]:
    """Its pages on A4."""
    return card_pages(tuple(cards.values()), "A4")


def model_of(tmp_path: Path, body: str, head: str = "") -> scaler.CheckResult:
    """A model of one file, checked."""
    text = f'[model]\ntitle = "Yard pump (invented)"\nscale = "1:8"\n{head}\n'
    text += '[drawing.sheet]\nunit = "in"\n' + body
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    return scaler.check(scaler.load(tmp_path))


class Words(HTMLParser):
    """The words of a page that a person sees, and its tags."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._quiet = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("style", "script"):
            self._quiet += 1

    def handle_endtag(self, tag: str) -> None:
        if tag in ("style", "script"):
            self._quiet -= 1

    def handle_data(self, data: str) -> None:
        if not self._quiet:
            self.words.append(data)

    @property
    def text(self) -> str:
        """All words in a row."""
        return " ".join(" ".join(self.words).split())


def test_one_card_a_part_and_one_page_each(
    engine: scaler.CheckResult, cards: dict[str, Card], pages: dict[str, str]
) -> None:
    """Every part has a card and a page, beside the index and the page with all of them."""
    assert list(cards) == list(engine.model.parts)
    assert set(pages) == {f"{name}.html" for name in cards} | {"index.html", "all.html"}


ROW = re.compile(
    r'<tr data-size="([^"]+)" data-exact="([^"]+)">.*?<td class="make">(.*?)</td><td>(.*?)</td>',
    re.DOTALL,
)


@pytest.mark.parametrize("paper", ["A4", "A5", "letter"])
def test_every_size_is_the_model_s(
    engine: scaler.CheckResult, cards: dict[str, Card], paper: str
) -> None:
    """Each size once, its exact value, and both printed figures within half their last place."""
    pages = card_pages(tuple(cards.values()), paper)
    seen = {}
    for name in cards:
        for identity, exact, make, _ in ROW.findall(pages[f"{name}.html"]):
            assert identity not in seen
            seen[identity] = F(exact)
            line = engine.reduction.line(identity)
            assert line.chosen is not None and F(exact) == middle(line.chosen)
            if line.size.kind.value == "thread":
                continue
            own = re.search(r"<b>([0-9.]+)</b>", make)
            other = re.search(r'class="other">([0-9.]+) in', make)
            assert own and other
            for text, value in ((own[1], F(exact)), (other[1], F(exact) / INCH)):
                places = len(text.partition(".")[2])
                assert abs(F(text) - value) <= F(1, 2 * 10**places)
    wanted = {line.size.id for line in engine.reduction.lines if not line.refused}
    assert set(seen) == wanted


def test_limits_on_the_card_are_the_model_s(
    engine: scaler.CheckResult, pages: dict[str, str]
) -> None:
    """Largest first, then smallest, in mm and in inches; none of a size that is cut to suit."""
    suits, shown = {f.statement.basis.last for f in engine.findings}, 0
    for identity, _, _, cell in ROW.findall(pages["axle.html"]):
        if identity in suits:
            assert cell == "to suit, below"
            continue
        shown += 1
        line = engine.reduction.line(identity)
        assert line.limits is not None and line.chosen is not None
        rows = re.findall(r'class="lr">([0-9.]+)<small>([0-9.]+)</small>', cell)
        wanted = [middle(line.chosen) + line.limits.upper, middle(line.chosen) + line.limits.lower]
        assert len(rows) == 2
        for (mm, inch), value in zip(rows, wanted, strict=True):
            assert abs(F(mm) - value) <= F(1, 1000)
            assert abs(F(inch) - value / INCH) <= F(1, 10_000)
    assert shown > 0


def test_nearest_64th_adds_up(pages: dict[str, str]) -> None:
    """The fraction and its thou, added, give the size to a tenth of a thou."""
    checked = 0
    for _, exact, make, _ in ROW.findall(pages["all.html"]):
        found = re.search(
            r'class="near">(?:(\d+) )?(\d+/\d+)?(?: in)?(?: ([+−]) ([\d.]+) thou)?<', make
        )
        if not found or not (found[1] or found[2]):
            continue
        inch = F(found[1] or 0) + F(found[2] or 0)
        if found[3]:
            inch += F(found[4]) / 1000 * (1 if found[3] == "+" else -1)
        assert abs(inch * INCH - F(exact)) <= INCH / 1000 * F(6, 100)
        checked += 1
    assert checked > 80


def test_work_in_inches_comes_first(tmp_path: Path) -> None:
    """Where the workshop thinks in inches, the big figure is in inches."""
    result = model_of(
        tmp_path,
        '[part.pin]\nmaterial = "silver steel"\ndrawing = "sheet"\n'
        'size.diameter = { full = "2", rule = "ground bar" }\n',
        'work = "in"',
    )
    page = card_pages(make_cards(result))["pin.html"]
    ((_, exact, make, _),) = ROW.findall(page)
    own = re.search(r"<b>([0-9.]+)</b>", make)
    other = re.search(r'class="other">([0-9.]+) mm', make)
    assert own and other
    assert F(own[1]) == F(1, 4) == F(exact) / INCH
    assert F(other[1]) == F("6.35")


# ---------------------------------------------------------------------------------- refusal


def refused_names(engine: scaler.CheckResult) -> list[str]:
    """Parts that get no figure."""
    return [c.about for c in engine.reduction.cautions if c.refused]


def test_refused_parts_have_no_figure_anywhere(
    engine: scaler.CheckResult, pages: dict[str, str]
) -> None:
    """The page of a pressure part says so, and holds not one digit that a person sees."""
    names = refused_names(engine)
    assert names == ["boiler", "dome_cover"]
    for name in names:
        page = pages[f"{name}.html"]
        article = page[page.index("<article") : page.index("</article>")]
        words = Words(article).text
        assert "no figure is given" in words.lower()
        assert "inspecting body" in words
        assert not re.search(r"\d", words)
        assert "data-exact" not in article and "<svg" not in article


def test_refused_sizes_are_in_no_other_page(engine: scaler.CheckResult) -> None:
    """No size of a pressure part comes into the report, exact or full."""
    words = Words(report_page(engine)).text
    ratio = engine.model.ratio
    open_ones = {line.size.full for line in engine.reduction.lines if not line.refused}
    shut = [line.size for line in engine.reduction.lines if line.refused]
    assert len(shut) == 5
    told = 0
    for size in shut:
        assert size.full is not None
        assert f"{size.part}.{size.name}".replace("_", " ").replace(".", " ") not in words
        if size.full in open_ones:
            continue  # another part has the same size, and may show it
        told += 1
        for value in (size.full, size.full * ratio):
            figure = re.escape(f"{float(value):.3f}")
            assert value > 1 and not re.search(rf"(?<![\d.]){figure}(?!\d)", words)
    assert told >= 2


def test_a_pair_with_a_pressure_part_shows_no_window(tmp_path: Path) -> None:
    """On the card of the part beside it the pair is named, and no figure is given for it."""
    result = model_of(
        tmp_path,
        '[part.boiler]\nservice = "pressure"\ndrawing = "sheet"\n'
        'size.outside = { full = "30", kind = "external", rule = "turned" }\n'
        '[part.ring]\nmaterial = "mild steel"\ndrawing = "sheet"\n'
        'size.bore = { full = "30 1/4", rule = "bored" }\n'
        '[pair.ring_on_boiler]\ninner = "boiler.outside"\nouter = "ring.bore"\n'
        'fit = "clearance 0.123 to 0.456 mm"\n',
    )
    for page in (card_pages(make_cards(result))["ring.html"], report_page(result)):
        words = Words(page).text
        assert "0.123" not in words and "0.456" not in words and "0.0048" not in words
    assert (
        "a part that holds pressure takes part"
        in Words(card_pages(make_cards(result))["ring.html"]).text
    )


def test_a_part_that_sounds_like_a_boiler_is_refused(tmp_path: Path) -> None:
    """A name is enough while no service is stated."""
    result = model_of(
        tmp_path,
        '[part.firebox_stay]\ndrawing = "sheet"\nsize.diameter = { full = "1", rule = "turned" }\n',
    )
    (card,) = make_cards(result)
    assert card.refusal is not None and card.sizes == () and card.tools == ()


def test_cautions_are_on_the_card(engine: scaler.CheckResult, pages: dict[str, str]) -> None:
    """Every caution of the check stands on the page of its part, in its own words."""
    for caution in engine.reduction.cautions:
        part = caution.about.partition(".")[0]
        words = Words(pages[f"{part}.html"]).text
        assert caution.headline.lower() in words.lower()
        assert " ".join(caution.text.split())[-60:] in words


# --------------------------------------------------------------------------------- safe pages


def test_text_of_the_model_is_escaped(tmp_path: Path) -> None:
    """Titles, notes, materials and file names cannot put markup into any page."""
    evil = '<script>alert(1)</script><img src=x onerror=\\"alert(2)\\">&'
    result = model_of(
        tmp_path,
        f'[part.pin]\ntitle = "{evil}"\nmaterial = "{evil} silver steel"\ndrawing = "sheet"\n'
        f'copies = ["left", "right"]\n'
        f'size.diameter = {{ full = "2", rule = "ground bar", title = "{evil}", '
        f'note = "{evil}", datum = "{evil}" }}\n'
        f'size.edge = {{ full = "1", kind = "position", rule = "coordinate drilled", '
        f'datum = "{evil}" }}\n'
        f'[part.bush]\ntitle = "{evil}"\nmaterial = "bronze"\ndrawing = "sheet"\n'
        'size.bore = { full = "2 1/16", rule = "bored" }\n'
        f'[pair.pin_in_bush]\ntitle = "{evil}"\nwhy = "{evil}"\nsource = "{evil}"\n'
        'inner = "pin.diameter"\nouter = "bush.bore"\nfit = "clearance 0.02 to 0.04 mm"\n'
        f'[condition.room]\ntitle = "{evil}"\nwhy = "{evil}"\nkeep = "pin.diameter >= \'99 mm\'"\n',
    )
    pages = {**card_pages(make_cards(result)), "report.html": report_page(result, cards=True)}
    for page in pages.values():
        tags = Words(page).tags
        assert not {"script", "img"} & {tag for tag, _ in tags}
        assert not any(name.startswith("on") for _, attrs in tags for name in attrs)
        assert "alert(1)" in Words(page).text


def test_pages_fetch_nothing(pages: dict[str, str], engine: scaler.CheckResult) -> None:
    """No script, no picture, font or style from anywhere; links lead within the folder."""
    for page in (*pages.values(), report_page(engine, cards=True)):
        for tag, attrs in Words(page).tags:
            assert tag not in ("script", "link", "img", "iframe", "object", "embed", "base")
            assert "src" not in attrs
            href = attrs.get("href") or ""
            assert re.fullmatch(r"(#[\w-]+|[a-z0-9_]+\.html|)", href)
        assert (
            "@import" not in page
            and "url(http" not in page
            and "//" not in re.sub(r"<[^>]+>", "", page.split("</style>")[0].split("<style>")[-1])
        )


def test_the_same_model_gives_the_same_pages(
    engine: scaler.CheckResult, cards: dict[str, Card], pages: dict[str, str]
) -> None:
    """Nothing on a page hangs on the clock or on chance."""
    again = card_pages(make_cards(scaler.check(examples.load("pattern_d"))), "A4")
    assert again == pages
    assert report_page(engine) == report_page(scaler.check(examples.load("pattern_d")))


def test_pages_do_not_hang_on_the_order_of_hashing() -> None:
    """Two processes that hash text differently write the same pages."""
    code = (
        "import hashlib, scaler\n"
        "from scaler import examples\n"
        "from scaler.cards.cards import card_pages, make_cards\n"
        "from scaler.cards.page_report import report_page\n"
        "result = scaler.check(examples.load('pattern_d'))\n"
        "text = ''.join(card_pages(make_cards(result)).values()) + report_page(result)\n"
        "print(hashlib.sha256(text.encode()).hexdigest())"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "2")
    }
    assert len(found) == 1


# ----------------------------------------------------------------------------------- contents


def test_tools_of_the_crosshead(cards: dict[str, Card]) -> None:
    """A reamed hole: centre drill, a drill 0.2 to 0.3 under (common practice), reamer; in order."""
    uses = [use for use in cards["crosshead"].tools if use.for_size == "crosshead.gudgeon_pin_hole"]
    assert [use.family for use in uses] == ["centre drill", "drill", "reamer"]
    drill, reamer = uses[1], uses[2]
    assert drill.size_mm is not None and F("0.2") <= F("6.35") - drill.size_mm <= F("0.3")
    assert reamer.designation == "1/4 in" and reamer.on_shelf is True
    assert [use.order for use in cards["crosshead"].tools] == sorted(
        use.order for use in cards["crosshead"].tools
    )


def test_a_stud_needs_a_die_and_a_tapped_hole_its_drill(tmp_path: Path) -> None:
    """M3: tapping drill 2.5 mm (the usual table, ISO 2306, from memory), then the tap."""
    result = model_of(
        tmp_path,
        '[part.cover_stud]\nmaterial = "steel"\ndrawing = "sheet"\nservice = "none"\n'
        'size.thread = { full = "7/8", rule = "metric thread" }\n'
        '[part.lug]\nmaterial = "steel"\ndrawing = "sheet"\n'
        'size.tapped_hole = { full = "7/8", kind = "thread", rule = "metric thread" }\n',
    )
    by_name = {card.name: card for card in make_cards(result)}
    assert [use.family for use in by_name["cover_stud"].tools] == ["die"]
    assert by_name["cover_stud"].tools[0].designation == "M3"
    lug = by_name["lug"].tools
    assert [(use.family, use.size_mm) for use in lug] == [("tapping drill", F("2.5")), ("tap", 3)]
    assert all(use.on_shelf is None for use in lug)  # no shop list: nothing is said


def test_a_tool_that_the_shop_lacks_is_said(cards: dict[str, Card], pages: dict[str, str]) -> None:
    """The drill under the 14 mm reamer is not in the drawer; the nearest is named."""
    missing = [use for use in cards["coupling_rod"].tools if use.on_shelf is False]
    assert [use.designation for use in missing] == ["13.8 mm"]
    assert "not on the shop list; nearest there: 13.0 mm" in Words(pages["coupling_rod.html"]).text


def test_holes_on_a_circle_as_x_and_y(tmp_path: Path) -> None:
    """Six holes on 96 in at 1:8: x and y against sine and cosine of 60 degrees."""
    result = model_of(
        tmp_path,
        '[part.cover]\nmaterial = "cast iron"\ndrawing = "sheet"\nservice = "none"\n'
        'size.outside = { full = "16", rule = "turned" }\n'
        'size.stud_circle = { full = "12", kind = "position", '
        'rule = ["coordinate drilled step 0.1 mm"] }\n'
        'size.stud_count = { full = 6, kind = "count" }\n'
        'size.stud_hole = { full = "1", kind = "internal", rule = "drilled" }\n',
    )
    (card,) = make_cards(result)
    (table,) = card.coordinates
    radius = middle(result.reduction.line("cover.stud_circle").chosen) / 2  # type: ignore[arg-type]
    assert len(table.points) == 6
    for number, point in enumerate(table.points):
        assert point.x is not None and point.y is not None
        angle = math.radians(60 * number)
        assert float(middle(point.x)) == pytest.approx(float(radius) * math.cos(angle), abs=1e-9)
        assert float(middle(point.y)) == pytest.approx(float(radius) * math.sin(angle), abs=1e-9)
        square = middle(point.x) ** 2 + middle(point.y) ** 2
        assert abs(square - radius**2) < F(1, 10**30)
    page = card_pages([card])["cover.html"]
    assert f"{float(radius):.2f}" in Words(page).text


def test_a_circle_without_a_count_says_so(cards: dict[str, Card], pages: dict[str, str]) -> None:
    """Nothing is made up where the model does not say how many holes there are."""
    (table,) = cards["cylinder_cover"].coordinates
    assert table.points == () and "how many holes is not in the model" in table.note
    assert "how many holes is not in the model" in Words(pages["cylinder_cover.html"]).text


def test_positions_keep_their_own_datum(cards: dict[str, Card]) -> None:
    """Two datums make two tables; nothing is added up from one to the other."""
    tables = {table.datum: table for table in cards["frame"].coordinates}
    assert set(tables) == {"buffer-beam face", "driving axle", "plate edge"}
    assert [p.x for p in tables["buffer-beam face"].points] == [F("193.5"), F(405)]


def test_mates_and_the_last_cut(cards: dict[str, Card], pages: dict[str, str]) -> None:
    """What it runs in, the clearance wanted, and which size is cut last."""
    words = Words(pages["axle.html"]).text
    assert "4. Axle journal in its bush: clearance 0.049 to 0.074 mm (0.0019 to 0.0029 in)" in words
    assert "interference 0.008 to 0.025 mm" in words
    assert "Cut a last, to the others as they measure." in words
    assert "The axle journal is cut last" in Words(pages["axlebox_bush.html"]).text
    assert cards["axle"].sizes[0].last_for == ("4. Axle journal in its bush",)


def test_readings_so_far_and_room_for_more(tmp_path: Path) -> None:
    """A reading stands in its copy's box and in the table; the other copies have room."""
    examples.write_out("pattern_d", tmp_path / "m")
    (tmp_path / "m" / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\n"
        "2026-11-10T10:00:00Z,reading,wheel.bore,no_2,15.011 mm,bore gauge,a little large\n",
        encoding="utf-8",
    )
    result = scaler.check(scaler.load(tmp_path / "m"))
    page = card_pages(make_cards(result, ["wheel"]))["wheel.html"]
    row = re.search(r'data-size="wheel.bore".*?</tr>', page, re.DOTALL)
    assert row is not None
    assert "<span>no 1</span><span>no 2<b>15.011</b></span><span>no 3</span>" in row[0]
    words = Words(page).text
    assert "15.011 mm (0.5910 in)" in words and "a little large" in words
    assert "2026-11-10 10:00" in words and "10:00:00Z" not in words


def test_stock_and_sawn_length(cards: dict[str, Card]) -> None:
    """From the row as supplied, or the next bar up with something to clean up (common practice)."""
    bush = cards["rod_bush"].blank
    assert bush is not None and bush.section is not None
    assert bush.section.designation == "round bar, bronze, drawn, 16 mm"  # 14.02 + 1.5 = 15.52
    assert (bush.finished, bush.sawn) == (F("6.2"), F("8.2"))
    rod = cards["piston_rod"].blank
    assert rod is not None and rod.section is not None and rod.section.owned
    assert rod.section.designation == "ground bar, 1/4 in" and rod.sawn is None
    cylinder = cards["cylinder"].blank
    assert cylinder is not None and cylinder.section is None
    assert cards["cover_stud"].blank is None


def test_conflicts_and_verdicts_on_the_report() -> None:
    """Rounded alone, the engine's conflicts stand on the page with cause, members and place."""
    result = scaler.check(examples.load("pattern_d"), "rounded")
    words = Words(report_page(result)).text
    assert (
        f"{len(result.failures())} of {len(result.findings)} pairs and conditions do not hold"
        in words
    )
    for conflict in result.conflicts:
        for member in conflict.members:
            assert " ".join(f"{member.text} ( {member.place} )".split()).replace("( ", "(").replace(
                " )", ")"
            ) in words.replace("( ", "(").replace(" )", ")")


def test_report_can_be_used_without_a_mouse_and_without_eyes(engine: scaler.CheckResult) -> None:
    """Landmarks, one first heading, sections named by theirs, pictures with title and words."""
    page = report_page(engine, cards=True)
    tags = Words(page).tags
    names = [tag for tag, _ in tags]
    assert names.count("main") == 1 and names.count("h1") == 1
    assert {"header", "nav", "main", "footer"} <= set(names)
    ids = [attrs["id"] for _, attrs in tags if attrs.get("id")]
    assert len(ids) == len(set(ids))
    for tag, attrs in tags:
        if tag == "section":
            assert attrs.get("aria-labelledby") in ids
        if tag == "svg":
            assert attrs.get("role") == "img"
            for key in (attrs.get("aria-labelledby") or "").split():
                assert key in ids
        href = attrs.get("href") or ""
        if href.startswith("#"):
            assert href[1:] in ids
        if tag == "th":
            assert attrs.get("scope") in ("col", "row")
    levels = [int(tag[1]) for tag in names if re.fullmatch("h[1-6]", tag)]
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    assert '<html lang="en">' in page


def test_pairs_in_the_picture(engine: scaler.CheckResult) -> None:
    """Every pair of two parts is drawn once, with its verdict as a word."""
    page = report_page(engine)
    picture = page[page.index('aria-labelledby="graph-1-t') : page.index('<section id="verdicts"')]
    pairs = [f for f in engine.findings if f.statement.what == "pair"]
    labels = re.findall(r"<text[^>]*>(\d+ holds)</text>", picture)
    assert len(labels) == len(set(labels)) == len(pairs)


def test_letters_leave_out_what_looks_like_a_figure() -> None:
    """No i, l or o, and no letter twice in the first two hundred."""
    letters = [letter_of(number) for number in range(200)]
    assert len(set(letters)) == 200 and not set("ilo") & set("".join(letters))


def test_unknown_part_and_paper(engine: scaler.CheckResult) -> None:
    """Both are named, with what there is."""
    with pytest.raises(InputError, match="there is no part 'weel'"):
        make_cards(engine, ["weel"])
    with pytest.raises(ValueError, match="A4, A5, letter"):
        card_pages(make_cards(engine, ["wheel"]), "B4")


def test_a_model_without_pairs_or_departures(tmp_path: Path) -> None:
    """The least model makes a card and a report too."""
    result = model_of(
        tmp_path, '[part.pin]\ndrawing = "sheet"\nsize.length = { full = "8", rule = "turned" }\n'
    )
    assert "pin.html" in card_pages(make_cards(result))
    words = Words(report_page(result)).text
    assert "No pairs." in words and "None." in words


def test_the_aim_goes_by_the_readings_once_they_stand(tmp_path: Path) -> None:
    """'If they come to size' until the mating size has been read; then 'as they read'."""
    examples.write_out("starter", tmp_path / "m")

    def words() -> str:
        result = scaler.check(scaler.load(tmp_path / "m"))
        return Words(card_pages(make_cards(result, ["roller"]))["roller.html"]).text

    assert "If they come to size, aim at 6.355 mm" in words()
    (tmp_path / "m" / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\n"
        "2026-11-10T10:00:00Z,reading,shaft.journal,,6.340 mm,micrometer,\n",
        encoding="utf-8",
    )
    after = words()
    assert "As they read, aim at 6.3" in after and "If they come to size" not in after
