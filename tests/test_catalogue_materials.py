"""The material tables: form, physical bounds over every row, and values from a second source."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from scaler import catalogue
from scaler.catalogue import Row

F = Fraction

NAMES = (
    "materials",
    "materials_contraction",
    "materials_machining_allowance",
    "materials_engagement",
)
# density and expansion that any alloy of the family keeps within (common practice)
BOUNDS: dict[str, tuple[int, int, int, int]] = {
    "steel": (7700, 7900, 10, 13),
    "stainless steel": (7700, 8100, 15, 18),
    "cast iron": (6900, 7400, 9, 12),
    "brass": (8300, 8700, 18, 22),
    "bronze": (7500, 9000, 16, 19),
    "copper": (8850, 8960, 16, 18),
    "nickel silver": (8500, 8900, 16, 18),
    "aluminium": (2600, 2850, 20, 25),
    "white metal": (7200, 10500, 20, 30),
    "solder": (8000, 11000, 15, 30),
    "lead": (11300, 11400, 28, 30),
    "plastic": (900, 2300, 10, 150),
}


def rows(name: str) -> tuple[Row, ...]:
    """All rows of a shipped table."""
    return catalogue.table(name).rows


def material(designation: str) -> Row:
    """The row of that material; fails the test where there is none."""
    found = catalogue.table("materials").find(designation)
    assert found is not None, designation
    return found


def test_every_materials_table_is_listed_here() -> None:
    """A new materials table must be given its checks."""
    shipped = {n for n in catalogue.names() if n.startswith("materials")}
    assert shipped == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_form(name: str) -> None:
    """Cells parse, required ones are filled, designations differ, sources are known."""
    table = catalogue.table(name)
    known = {r["key"] for r in catalogue.table("sources").rows}
    assert next(iter(table.columns)) == "designation"
    assert list(table.columns)[-2:] == ["source", "place"]
    assert len({r["designation"] for r in table.rows}) == len(table.rows) > 0
    for r in table.rows:
        for column in table.columns.values():
            assert r.text(column.name) or not column.required, (r, column.name)
            if column.type == "number" and r.text(column.name):
                assert r.number(column.name) >= 0
        for column_name in table.columns:
            if column_name == "source" or column_name.endswith("_source"):
                assert r.text(column_name) in known | {""}, (r, column_name)
        assert r.text("source")


def test_materials_order() -> None:
    """Materials come by family, in the order of the schema, then by name."""
    families = list(BOUNDS)
    keys = [(families.index(r.text("family")), r.text("designation")) for r in rows("materials")]
    assert keys == sorted(keys)


def test_a_figure_and_its_source_go_together() -> None:
    """No figure without a source of its own, and no source without a figure."""
    pairs = (
        ("density_kg_m3", "density_source"),
        ("expansion_um_per_m_k", "expansion_source"),
        ("modulus_gpa", "modulus_source"),
        ("poissons_ratio", "poissons_source"),
    )
    for r in rows("materials"):
        for figure, source in pairs:
            assert bool(r.text(figure)) == bool(r.text(source)), (r, figure)


def test_names_and_aliases_lead_to_one_material() -> None:
    """No name stands for two materials; none is empty or padded."""
    seen: dict[str, str] = {}
    for r in rows("materials"):
        for alias in [r.text("designation"), *r.text("aliases").split(";")]:
            assert alias == alias.strip() != ""
            key = alias.casefold()
            assert key not in seen, f"{alias}: {seen.get(key)} and {r['designation']}"
            seen[key] = r.text("designation")
    for name in ("CZ121", "LG2", "PB1", "HE30", "C101", "EN3B", "SRBF", "babbitt"):
        assert name.casefold() in seen


def test_physical_bounds() -> None:
    """Density, expansion, modulus and Poisson's ratio lie where the family's must."""
    for r in rows("materials"):
        low, high, cold, hot = BOUNDS[r.text("family")]
        assert low <= r.number("density_kg_m3") <= high, r
        if r.text("expansion_um_per_m_k"):
            assert cold <= r.number("expansion_um_per_m_k") <= hot, r
        if r.text("poissons_ratio"):
            assert F(1, 5) < r.number("poissons_ratio") < F(1, 2), r
        if r.text("modulus_gpa"):
            # lighter and softer than steel, which tops the list
            assert 0 < r.number("modulus_gpa") <= 210, r


def test_materials_that_hurt_carry_a_caution() -> None:
    """Lead, fumes and dust are named beside the material (common practice)."""
    for name in ("soft solder", "silver solder", "white metal", "PTFE", "acetal", "lead"):
        assert material(name).text("caution")
    for r in rows("materials"):
        if "leaded" in r.text("aliases"):
            assert "lead" in r.text("caution")


# second sources, beside each figure: density kg/m3, expansion 1e-6/K, modulus GPa
@pytest.mark.parametrize(
    ("name", "column", "value", "slack"),
    [
        # Mechanical Engineer's Data Handbook p. 237, steel 070M20 and 080M40: 7850, 207
        ("mild steel", "density_kg_m3", "7850", "0"),
        ("mild steel", "modulus_gpa", "207", "0"),
        ("medium carbon steel", "modulus_gpa", "207", "0"),
        # web chart of steels (amesweb.info): AISI 1020 11.7, 1040 11.2, 304 17.2, 316 15.9
        ("mild steel", "expansion_um_per_m_k", "11.7", "0"),
        ("medium carbon steel", "expansion_um_per_m_k", "11.2", "0.1"),
        ("stainless steel 304", "expansion_um_per_m_k", "17.2", "0"),
        ("stainless steel 316", "expansion_um_per_m_k", "15.9", "0"),
        # Westermann Tables: steel 7.85, aluminium 23e-6, bronze 17e-6, brass 8.5
        ("silver steel", "density_kg_m3", "7850", "0"),
        ("aluminium 6082", "expansion_um_per_m_k", "23", "1"),
        ("bearing bronze", "expansion_um_per_m_k", "17", "1"),
        ("brass CZ121", "density_kg_m3", "8500", "50"),
        # web chart of copper alloys (amesweb.info): free-cutting brass 20.5, ETP copper 16.8
        ("brass CZ121", "expansion_um_per_m_k", "20.5", "0"),
        ("copper", "expansion_um_per_m_k", "16.8", "0.2"),
        # Mechanics of Materials tables: copper 110 to 120 GPa, cast iron 7000 to 7400 kg/m3
        ("copper", "modulus_gpa", "115", "5"),
        ("cast iron", "density_kg_m3", "7200", "200"),
        # property page of CW451K: 8.8 g/cm3; alloy 356.0 (near LM25) in table B.6: 21.5
        ("phosphor bronze PB102", "density_kg_m3", "8800", "50"),
        ("aluminium LM25", "expansion_um_per_m_k", "21.5", "0.5"),
        # fluoroplastics table on a web page: PTFE 2.14 to 2.19 g/cm3; acetal copolymer 1.41
        ("PTFE", "density_kg_m3", "2165", "25"),
    ],
)
def test_second_sources(name: str, column: str, value: str, slack: str) -> None:
    """The figure agrees with another handbook within the difference stated."""
    assert abs(material(name).number(column) - F(value)) <= F(slack)


def test_expansion_is_for_a_degree_celsius() -> None:
    """Trap: old books give it for 1 F; table B.6 prints 6.5 a degree F beside the 11.7."""
    steel = material("mild steel").number("expansion_um_per_m_k")
    assert abs(steel * 5 / 9 - F("6.5")) < F("0.05")


# ------------------------------------------------------------------ casting
def test_contraction_ratio_is_the_printed_allowance() -> None:
    """Inches to the foot are a twelfth, per cent a hundredth; a range gives its middle."""
    for r in rows("materials_contraction"):
        ratio = r.number("contraction_ratio")
        assert F(1, 200) < ratio < F(1, 40), r
        if r.text("contraction_in"):
            assert ratio == r.number("contraction_in") / 12
        elif r.text("contraction_max_percent"):
            middle = (r.number("contraction_percent") + r.number("contraction_max_percent")) / 2
            assert ratio == middle / 100
        elif r.text("contraction_percent"):
            assert abs(ratio - r.number("contraction_percent") / 100) < F(1, 2000)


def test_contraction_rows_name_known_materials() -> None:
    """Each metal of the pattern tables points at a material, and each has one usual row."""
    known = {r["designation"] for r in rows("materials")} | {""}
    for r in rows("materials_contraction"):
        assert r.text("material") in known
    for name in ("cast iron", "gunmetal LG2", "phosphor bronze PB1", "brass CZ121", "mild steel"):
        usual = [
            r for r in rows("materials_contraction") if r["material"] == name and r["usual"] is True
        ]
        assert len(usual) == 1, name


# A Text-Book of Mechanical Engineering p. 63, decimals of an inch to the foot
@pytest.mark.parametrize(
    ("designation", "printed"),
    [
        ("cast iron (old book B)", "0.125"),
        ("brass (old book B)", "0.187"),
        ("gunmetal (old book B)", "0.166"),
        ("steel (old book B)", "0.187"),
        ("aluminium (old book B)", "0.265"),
    ],
)
def test_contraction_decimals(designation: str, printed: str) -> None:
    """The fractions are the printed decimals, cut to three places."""
    found = catalogue.table("materials_contraction").find(designation)
    assert found is not None
    assert 0 <= found.number("contraction_ratio") * 12 - F(printed) < F("0.001")


def test_cast_iron_sources_differ_and_say_so() -> None:
    """3/32 in one book, 1/8 in another: both are kept, the rule in the foundry is 1 in 96."""
    ratios = {
        r.text("designation"): r.number("contraction_ratio")
        for r in rows("materials_contraction")
        if r["metal"] == "cast iron"
    }
    assert ratios["cast iron (old book A)"] == F(3, 32) / 12 == F(1, 128)
    assert ratios["cast iron (old book B)"] == ratios["cast iron (rule)"] == F(1, 96)


def test_machining_allowances() -> None:
    """More metal on larger castings and in coarser grades; the ranges join from nothing."""
    found = rows("materials_machining_allowance")
    grades = [f"grade_{g}_mm" for g in "efgh"]
    assert found[0]["above_mm"] == 0
    for r in found:
        sizes = [r.number(g) for g in grades]
        assert sizes == sorted(sizes)
    for a, b in pairwise(found):
        assert a["up_to_mm"] == b["above_mm"]
        assert all(a.number(g) <= b.number(g) for g in grades)
    # 1/16 to 1/8 in, the old workshop allowance, lies among the sand-cast grades of middling work
    assert found[2].number("grade_h_mm") >= F("25.4") / 16
    assert found[3].number("grade_g_mm") < F("25.4") / 8


def test_thread_engagement() -> None:
    """A range for each family that is tapped; softer metal, more thread."""
    by_family = {r.text("designation"): r for r in rows("materials_engagement")}
    for r in rows("materials_engagement"):
        assert 1 <= r.number("engagement_min_d") <= r.number("engagement_max_d") <= F(5, 2)
        assert r["source"] == "common practice"
    # two web pages, unsigned: steel 1, cast iron, brass and bronze 1.5, aluminium 2 diameters
    for family, value in (
        ("steel", "1"),
        ("cast iron", "1.5"),
        ("brass", "1.5"),
        ("bronze", "1.5"),
    ):
        row = by_family[family]
        assert row.number("engagement_min_d") <= F(value) <= row.number("engagement_max_d")
    assert by_family["aluminium"]["engagement_max_d"] == 2
    families = {r["family"] for r in rows("materials")} - {"solder"}
    assert families == set(by_family)
