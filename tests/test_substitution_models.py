"""What the programme knows of: linked rows, definitions, last cuts, standards, levels. Made-up
models, each worked out by hand in the test."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from scaler import catalogue
from scaler.checking.conflicts import check
from scaler.reading.loading import load
from scaler.records import Model, Verdict
from scaler.substitution.records import Substitution
from scaler.substitution.substitute import substitute

HEAD = '[model]\ntitle="t"\nscale="1:8"\n'
SHEET = '[drawing.s]\nunit="mm"\n'
SHOP = 'shop="shop.csv"\nshop_only=true\n'


def model_of(folder: Path, text: str, shop: str = "", **files: str) -> Model:
    """A model from the text of its file, with other CSV files beside it."""
    folder.mkdir(exist_ok=True)
    head = HEAD + (SHOP if shop else "") + SHEET
    (folder / "model.toml").write_text(head + text, encoding="utf-8")
    if shop:
        (folder / "shop.csv").write_text("family,size\n" + shop, encoding="utf-8")
    for name, body in files.items():
        (folder / f"{name}.csv").write_text(body, encoding="utf-8")
    return load(folder)


def chosen(result: Substitution) -> dict[str, Fraction]:
    """Sizes chosen [mm]."""
    return {choice.size: choice.value for choice in result.choices}


def part(name: str, *sizes: str) -> str:
    """A part with sizes, each ``name=fields``."""
    lines = [f'[part.{name}]\nservice="none"']
    for size in sizes:
        key, _, fields = size.partition("=")
        lines.append(f"size.{key}={{{fields}}}")
    return "\n".join(lines) + "\n"


def test_outside_bore_and_wall_of_a_tube_come_from_one_row(tmp_path: Path) -> None:
    """Three columns of one row: the best row by a search through the catalogue itself."""
    text = '[part.tube]\nservice="none"\nmaterial="brass"\n'
    text += 'size.outside={full="50",kind="external",rule="tube outside"}\n'
    text += 'size.bore={full="43",kind="internal",rule="tube bore"}\n'
    text += 'size.wall={full="3.5",kind="length",rule="tube wall"}\n'
    result = substitute(model_of(tmp_path, text))
    assert result.status == "optimal"
    rows = {choice.row for choice in result.choices}
    assert len(rows) == 1
    exact = {"outside": Fraction(50, 8), "bore": Fraction(43, 8), "wall": Fraction(7, 16)}
    reach = {k: min(Fraction(1), max(v / 10, Fraction(1, 2))) for k, v in exact.items()}
    best = None
    for table in ("stock_tube_metric", "stock_tube_inch"):
        for row in catalogue.table(table).rows:
            if row.text("material") != "brass":
                continue
            sizes = {k: row.mm(k) for k in exact}
            if any(v is None or abs(v - exact[k]) > reach[k] for k, v in sizes.items()):
                continue
            cost = sum(abs(v - exact[k]) / reach[k] for k, v in sizes.items() if v is not None)
            best = cost if best is None else min(best, cost)
    assert result.cost == best


def test_shop_rows_of_two_columns_need_not_be_one_piece(tmp_path: Path) -> None:
    """What is on the shelf as a thickness and as a width is two entries, and is not linked."""
    text = part(
        "bar",
        'width=full="82",kind="external",rule="flat width"',
        'thickness=full="41",kind="external",rule="flat thickness"',
    )
    result = substitute(
        model_of(tmp_path, text, "flat width,10 mm\nflat width,12 mm\nflat thickness,5 mm\n")
    )
    assert chosen(result) == {"bar.width": 10, "bar.thickness": 5}


def test_a_size_that_follows_is_left_to_follow_or_cut(tmp_path: Path) -> None:
    """A seat that follows its pin cannot have a gap in a hole of the pin's size: it is cut."""
    text = part(
        "pin",
        'd=full="48",kind="external",rule="ground bar"',
        'seat=kind="external",rule=["follows pin.d","turned step 0.005 mm"]',
    )
    text += part("wheel", 'hole=full="48",kind="internal",rule="reamed"')
    pair = '[pair.p]\ninner="pin.seat"\nouter="wheel.hole"\nbasis="last cut pin.seat"\n'
    shop = "ground bar,6 mm\nreamer,6 mm\nreamer,6.5 mm\n"
    close = substitute(model_of(tmp_path / "a", text + pair + 'fit="0.05 to 0.10 mm"\n', shop))
    assert close.status == "optimal" and close.cost == 0
    assert Fraction("5.9") <= chosen(close)["pin.seat"] <= Fraction("5.95")
    free = substitute(model_of(tmp_path / "b", text + pair + 'fit="-0.05 to 0.10 mm"\n', shop))
    assert free.status == "optimal" and free.cost == 0
    assert free.check.reduction.settlement.values["pin.seat"] == 6
    assert "pin.seat" not in free.model.choices  # it follows, as its rule would have it first


def test_a_definition_is_worked_out_and_brought_to_its_step(tmp_path: Path) -> None:
    """a + 2·b on a step of 0.5 mm, halves up; its own departure counts, being drawn as well."""
    text = part(
        "a",
        'x=full="40",kind="length",rule="milled step 0.3 mm"',
        'y=full="8",kind="length",rule="milled step 0.1 mm"',
        'z=full="56",kind="length",rule="milled step 0.5 mm",equals="a.x + 2*a.y"',
    )
    result = substitute(model_of(tmp_path, text))
    values = result.check.reduction.settlement.values
    assert values["a.x"] == Fraction("5.1") and values["a.y"] == 1 and values["a.z"] == 7
    assert result.cost == Fraction(1, 10) / Fraction(1, 2)
    assert "a.z" not in chosen(result)


def test_sizes_solved_from_conditions_move_with_the_choice(tmp_path: Path) -> None:
    """z from x + y == 2·z: a window on z chooses x and y."""
    text = part(
        "a",
        'x=full="24",kind="length",rule="milled step 0.5 mm"',
        'y=full="33",kind="length",rule="milled step 0.3 mm"',
        'z=kind="length"',
    )
    text += '[condition.def]\nkeep="a.x + a.y == 2*a.z"\n'
    text += "[condition.c]\nkeep=\"'3.72 mm' <= a.z <= '3.78 mm'\"\nbasis=\"basic size\"\n"
    result = substitute(model_of(tmp_path, text))
    # x in 2.5, 3, 3.5 and y in 3.9, 4.2, 4.5 (reach 0.5): only 3 + 4.5 = 7.5 lies in 7.44 to 7.56
    assert result.status == "optimal"
    assert chosen(result) == {"a.x": 3, "a.y": Fraction("4.5")}


def test_a_curve_is_kept_by_lines_and_checked(tmp_path: Path) -> None:
    """sqrt(x² + y²): found by lines tried in turn, confirmed exactly, and here proved best."""
    text = part(
        "a",
        'x=full="24",kind="length",rule="milled step 0.5 mm"',
        'y=full="33",kind="length",rule="milled step 0.5 mm"',
    )
    easy = "[condition.h]\nkeep=\"'5.0 mm' <= sqrt(a.x^2 + a.y^2) <= '5.02 mm'\"\n"
    basis = 'basis="basic size"\n'
    result = substitute(model_of(tmp_path / "a", text + easy + basis))
    assert result.status == "optimal" and chosen(result) == {"a.x": 3, "a.y": 4}
    # by hand: of x 2.5 3 3.5, y 4 4.5 only sqrt(2.5² + 4.5²) = 5.148 lies in this window
    hard = "[condition.h]\nkeep=\"'5.1 mm' <= sqrt(a.x^2 + a.y^2) <= '5.2 mm'\"\n"
    found = substitute(model_of(tmp_path / "b", text + hard + basis))
    assert found.status in ("optimal", "feasible")
    assert chosen(found) == {"a.x": Fraction("2.5"), "a.y": Fraction("4.5")}
    assert not found.check.failures()
    assert found.gap is not None and 0 <= found.gap < 1


def test_made_copies_count_and_the_rest_is_chosen(tmp_path: Path) -> None:
    """One bore read 10.12: the shaft cut last is planned for the copy not made yet too."""
    text = part("a", 'bore=full="80",kind="internal",rule="bored step 0.1 mm"')
    text += part("b", 'd=full="80",kind="external",rule="turned step 0.1 mm"')
    text = text.replace('service="none"', 'service="none"\ncopies=["left","right"]')
    text += '[pair.p]\ninner="b.d"\nouter="a.bore"\nfit="0.05 to 0.15 mm"\n'
    text += 'basis="last cut b.d"\n'
    log = "time,action,size,copy,value,instrument,note\n"
    log += "2026-11-02T19:30:00Z,reading,a.bore,left,10.12 mm,,\n"
    result = substitute(model_of(tmp_path, text, readings=log))
    assert result.status == "optimal"
    assert [f.verdict for f in result.check.findings] == [Verdict.HOLDS] * 2
    assert chosen(result) == {"a.bore": Fraction("10.1"), "b.d": 10}


def test_worst_case_counts_what_a_last_cut_makes_of_a_size(tmp_path: Path) -> None:
    """A size cut last to one statement stands in another's worst case: all values of the others
    tried against the check give the same least cost."""
    text = part("a", 'x=full="80",kind="external",rule="turned step 0.2 mm"')
    text += part("b", 'y=full="82",kind="internal",rule="bored step 0.2 mm"')
    text += part("c", 'z=full="120",kind="length",rule="milled step 0.2 mm"')
    text += '[pair.p]\ninner="a.x"\nouter="b.y"\nfit="0.05 to 0.15 mm"\nbasis="last cut b.y"\n'
    text += "[condition.q]\nkeep=\"'4.60 mm' <= c.z - b.y <= '4.92 mm'\"\nbasis=\"both limits\"\n"
    model = model_of(tmp_path, text)
    result = substitute(model, prices=False)
    assert result.status == "optimal"
    assert not result.check.failures()
    best = None
    from scaler.checking.check import Checker
    from scaler.problems import Place
    from scaler.records import Choice

    def grid(exact: Fraction, step: Fraction) -> list[Fraction]:
        first = int((exact - 1) / step)
        return [
            v
            for n in range(first, first + 2 * int(1 / step) + 3)
            if abs((v := n * step) - exact) <= 1
        ]

    def cost_of(x: Fraction, y: Fraction, z: Fraction) -> Fraction:
        return abs(x - 10) + abs(y - Fraction(41, 4)) + abs(z - 15)

    fifth, fine = Fraction(1, 5), Fraction(1, 200)
    for x in grid(Fraction(10), fifth):
        for z in grid(Fraction(15), fifth):
            for y in grid(Fraction(41, 4), fine):
                if not (Fraction("0.05") <= y - x <= Fraction("0.15")):
                    continue
                cost = cost_of(x, y, z)
                if best is not None and cost >= best:
                    continue
                picked = {"a.x": x, "b.y": y, "c.z": z}
                choices = {
                    n: Choice(n, v, "", "", "", "", Place("t", 1)) for n, v in picked.items()
                }
                checker = Checker(replace(model, choices=choices))
                if all(f.verdict is Verdict.HOLDS for f in checker.findings):
                    best = cost
    assert result.cost == best


def test_a_fit_that_no_last_cut_can_promise_stays_doubtful(tmp_path: Path) -> None:
    """0.009 mm wide, and the turned last cut alone takes 0.01: kept at basic size, and said so."""
    text = part("a", 'x=full="80",kind="external",rule="turned step 0.005 mm"')
    text += part("b", 'y=full="80",kind="internal",rule="reamed"')
    text += '[pair.p]\ninner="a.x"\nouter="b.y"\nfit="interference 0.014 to 0.023 mm"\n'
    text += 'basis="last cut a.x"\n'
    result = substitute(model_of(tmp_path, text, "reamer,10 mm\n"))
    assert result.status == "optimal"
    assert [f.verdict for f in result.check.findings] == [Verdict.DOUBTFUL]
    assert "pair p" in result.doubtful
    assert chosen(result)["a.x"] - 10 in (Fraction("0.015"), Fraction("0.020"))


def test_a_standard_overrides_the_reach(tmp_path: Path) -> None:
    """The example's wheel standard asks for more than the reach of 0.5 mm: it is met, and costs."""
    example = load(Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d")
    result = substitute(example, prices=False)
    flange = next(c for c in result.choices if c.size == "wheel.flange_thickness")
    assert flange.departure is not None and abs(flange.departure) > Fraction(1, 2)
    assert flange.cost > 1
    bound = example.conditions["wheel.flange_thickness:standard"]
    assert bound.must and not result.check.failures()


def test_iso_and_trade_windows_follow_the_size_chosen(tmp_path: Path) -> None:
    """The window of H8/f7 and of a trade fit is the chosen diameter's, not the exact one's."""
    text = part("a", 'x=full="78",kind="external",rule="turned step 0.005 mm"')
    text += part("b", 'y=full="78",kind="internal",rule="reamed"')
    # found: the window wanted; 9 mm lies 0.75 below the exact 9.75, 10.5 as far above
    wanted = {}
    for number, fit in enumerate(("H8/f7", "close running", "push")):
        pair = f'[pair.p]\ninner="a.x"\nouter="b.y"\nfit="{fit}"\nbasis="last cut a.x"\n'
        model = model_of(tmp_path / str(number), text + pair, "reamer,9 mm\nreamer,10.5 mm\n")
        result = substitute(model, prices=False)
        assert result.status == "optimal"
        (finding,) = result.check.findings
        assert not finding.fails
        assert chosen(result)["b.y"] in (9, Fraction("10.5"))
        wanted[fit] = (finding.statement.lower, finding.statement.upper)
    # ISO 286-2, hole H8 0 to +22 um and shaft f7 -13 to -28 um above 6 up to 10 mm;
    # H8 0 to +27 um and f7 -16 to -34 um above 10 up to 18 mm (from memory)
    um = Fraction(1, 1000)
    assert wanted["H8/f7"] in ((13 * um, 50 * um), (16 * um, 61 * um))


def test_directions_and_weights(tmp_path: Path) -> None:
    """'up' and 'down' never cross the exact size; a size of weight 0 costs nothing."""
    text = part(
        "a",
        'x=full="81",kind="length",rule="milled up step 0.5 mm"',
        'y=full="81",kind="length",rule="milled down step 0.5 mm"',
        'z=full="81",kind="length",rule="milled step 0.5 mm",weight=0',
    )
    result = substitute(model_of(tmp_path, text))
    assert chosen(result)["a.x"] == Fraction("10.5") and chosen(result)["a.y"] == 10
    assert result.cost == Fraction(3, 8) + Fraction(1, 8)


def test_lower_levels_decide_between_equals(tmp_path: Path) -> None:
    """Equal cost: the earlier method, then the shop's row, then the fewer sections."""
    text = part("a", 'x=full="80",kind="internal",rule=["bored step 0.1 mm","reamed"]')
    assert substitute(model_of(tmp_path / "a", text)).choices[0].method == "bored step 0.1 mm"
    turned = text.replace('["bored step 0.1 mm","reamed"]', '["reamed","bored step 0.1 mm"]')
    assert substitute(model_of(tmp_path / "b", turned)).choices[0].method == "reamed"
    two = part("p", 'd=full="68",kind="external",rule="ground bar"')
    two += part("q", 'd=full="76",kind="external",rule="ground bar"')
    two += '[condition.c]\nkeep="q.d - p.d <= \'1 mm\'"\nbasis="basic size"\n'
    # 8.5 and 9.5: 8 or 9, 9 or 10 each half a millimetre off; 9 and 9 is one bar
    shop = "ground bar,8 mm\nground bar,9 mm\nground bar,10 mm\n"
    both = substitute(model_of(tmp_path / "c", two, shop))
    assert chosen(both) == {"p.d": 9, "q.d": 9}
    assert both.levels[4].reached == 1


def test_slack_buys_a_coarser_step_and_no_more(tmp_path: Path) -> None:
    """With slack the earlier, coarser method is taken; the cost stays within it."""
    text = part("a", 'x=full="81",kind="length",rule=["milled step 0.5 mm","milled step 0.01 mm"]')
    model = model_of(tmp_path, text)
    tight = substitute(model)
    loose = substitute(model, slack=Fraction(1, 5))
    assert tight.choices[0].method == "milled step 0.01 mm"
    assert loose.choices[0].method == "milled step 0.5 mm"
    assert tight.cost < loose.cost <= tight.cost + Fraction(1, 5)


@pytest.mark.parametrize("state", ["locked", "bought", "made"])
def test_recorded_choices_bind_only_where_locked(tmp_path: Path, state: str) -> None:
    """A choice on record is a proposal, unless the part is locked, bought or made."""
    text = part("a", 'x=full="80",kind="length",rule="milled step 0.1 mm"')
    log = "time,action,size,value,method,row,note\n2026-11-02T19:30:00Z,choose,a.x,10.4 mm,,,\n"
    free = substitute(model_of(tmp_path / "a", text, choices=log))
    assert chosen(free) == {"a.x": 10}
    assert free.choices[0].before == Fraction("10.4")
    bound = text.replace('service="none"', f'service="none"\nstate="{state}"')
    kept = substitute(model_of(tmp_path / "b", bound, choices=log))
    assert kept.choices == ()
    assert kept.check.reduction.settlement.values["a.x"] == Fraction("10.4")
    assert kept.cost == Fraction(2, 5)
    assert check(kept.model).counts() == kept.check.counts()
