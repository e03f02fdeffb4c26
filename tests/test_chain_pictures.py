"""Pictures of chains: what is drawn, where it is written, and what cannot be drawn."""

from __future__ import annotations

import builtins
import re
import struct
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from xml.etree import ElementTree

import pytest

import scaler
from scaler.chains.chain import Chain, chain
from scaler.chains.pictures import draw_contributors, draw_histogram, draw_zones, pair_zones
from scaler.problems import InputError
from scaler.records import Model
from scaler.trade import iso286

EXAMPLE = Path(scaler.__file__).parent / "examples" / "pattern_d"


@pytest.fixture(scope="module")
def model() -> Model:
    """The shipped example."""
    return scaler.load(EXAMPLE)


@pytest.fixture(scope="module")
def lateral(model: Model) -> Chain:
    """A chain with draws."""
    return chain(model, "lateral_chain", draws=2000)


def words(path: Path) -> str:
    """All text of an SVG file, which is parsed on the way."""
    return " ".join(ElementTree.parse(path).getroot().itertext())


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_every_picture_in_both_formats(
    model: Model, lateral: Chain, tmp_path: Path, kind: str
) -> None:
    """Files are what their ending says: PNG by its signature and size, SVG by its root."""
    paths = [
        draw_contributors(lateral, tmp_path / f"bars.{kind}"),
        draw_histogram(lateral, str(tmp_path / f"draws.{kind}")),
        draw_zones(model, "axlebox_in_horns", tmp_path / f"zones.{kind}"),
    ]
    for path in paths:
        data = path.read_bytes()
        if kind == "png":
            # PNG specification (ISO/IEC 15948): signature, then IHDR with width and height
            assert data[:8] == b"\x89PNG\r\n\x1a\n"
            width, height = struct.unpack(">II", data[16:24])
            assert width > 400 and height > 250
        else:
            assert ElementTree.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in paths)


def test_pictures_say_what_they_show(model: Model, lateral: Chain, tmp_path: Path) -> None:
    """Names of the sizes, the chance and the deviations stand in the pictures."""
    bars = words(draw_contributors(lateral, tmp_path / "bars.svg"))
    for item in lateral.contributors:
        assert item.name in bars
    draws = words(draw_histogram(lateral, tmp_path / "draws.svg"))
    drawn = lateral.monte_carlo
    assert drawn is not None and drawn.below == drawn.above == drawn.without_value == 0
    assert f"all of {drawn.draws:,} draws inside" in draws and "worst case" in draws
    zones = words(draw_zones(model, "stud_in_cover", tmp_path / "zones.svg"))
    assert "cover_stud.thread" in zones and "µm" in zones


def test_a_draw_outside_is_never_rounded_away(lateral: Chain, tmp_path: Path) -> None:
    """One draw in 100,000 outside is told as such, not as 100.00 % inside."""
    assert lateral.monte_carlo is not None
    drawn = replace(lateral.monte_carlo, draws=100_000, chance=0.99999, above=1)
    said = words(draw_histogram(replace(lateral, monte_carlo=drawn), tmp_path / "draws.svg"))
    assert "1 of 100,000 draws outside" in said and "100.00 %" not in said


def test_no_legend_lies_over_the_figures(lateral: Chain, tmp_path: Path) -> None:
    """The names of the lines stand below the axes, whose lowest mark lies above them."""
    drawing = draw_histogram(lateral, tmp_path / "draws.svg").read_text(encoding="utf-8")
    legend = drawing.index('id="legend_1"')
    axes = drawing[drawing.index('id="axes_1"') : legend]
    frame = re.search(r'id="patch_2">\s*<path d="M [\d.]+ ([\d.]+)', axes)
    tops = [float(y) for y in re.findall(r'<path d="M [\d.]+ ([\d.]+)', drawing[legend:])]
    assert frame is not None and tops and min(tops) > float(frame[1])


def test_the_same_chain_gives_the_same_file(lateral: Chain, tmp_path: Path) -> None:
    """No date and no chance in a file."""
    for kind in ("svg", "png"):
        first = draw_contributors(lateral, tmp_path / f"a.{kind}").read_bytes()
        assert first == draw_contributors(lateral, tmp_path / f"b.{kind}").read_bytes()


def test_zones_of_an_iso_fit(tmp_path: Path) -> None:
    """25 H7/g6: zones 0 to +21 and −20 to −7 µm (ISO 286-2 tables, as scaler.trade.iso286 has them)."""
    (tmp_path / "model.toml").write_text(
        """
[model]
title = "Shaft in hole (invented)"
scale = "1:1"
work = "mm"
[drawing.sheet]
unit = "mm"
[part.hub]
material = "steel"
service = "none"
size.bore = { full = "25", kind = "internal", rule = ["bored step 0.1 mm"], limits = "H7" }
[part.shaft]
material = "steel"
service = "none"
size.diameter = { full = "25", kind = "external", rule = ["turned step 0.1 mm"], limits = "g6" }
[pair.shaft_in_hub]
inner = "shaft.diameter"
outer = "hub.bore"
fit = "H7/g6"
basis = "both limits"
""",
        encoding="utf-8",
    )
    model = scaler.load(tmp_path)
    outer, inner = pair_zones(model, "shaft_in_hub")
    assert outer.deviations == (0, F("0.021"))
    assert inner.deviations == (F("-0.020"), F("-0.007"))
    fit = iso286.fit("25 H7/g6")
    found = chain(model, "shaft_in_hub", draws=0)
    assert found.worst_case == (fit.clearance_min_um / 1000, fit.clearance_max_um / 1000)
    text = words(draw_zones(model, "shaft_in_hub", tmp_path / "zones.svg"))
    for figure in ("+21.0", "-7.0", "-20.0"):
        assert figure in text.replace("−", "-")


def test_zones_of_a_sum_are_its_worst_case(model: Model) -> None:
    """A slot less two cheeks has a zone of its own; together they make the pair's worst case."""
    outer, inner = pair_zones(model, "axlebox_in_horns")
    found = chain(model, "axlebox_in_horns", draws=0)
    assert outer.deviations[0] - inner.deviations[1] == found.worst_case[0]
    assert outer.deviations[1] - inner.deviations[0] == found.worst_case[1]


def test_what_cannot_be_drawn(model: Model, lateral: Chain, tmp_path: Path) -> None:
    """Another ending, no folder, no draws, no pair, a pressure part: each is said."""
    plain = chain(model, "lateral_chain", draws=0)
    refused = chain(model, "boiler.tube_outside - boiler.firebox_stay")
    cases = [
        (lambda: draw_contributors(lateral, tmp_path / "bars.pdf"), ".png or .svg"),
        (lambda: draw_contributors(lateral, tmp_path / "bars"), "no ending"),
        (lambda: draw_contributors(lateral, tmp_path / "no" / "bars.png"), "no folder"),
        (lambda: draw_histogram(plain, tmp_path / "draws.png"), "without random draws"),
        (lambda: draw_contributors(refused, tmp_path / "bars.png"), "pressure part"),
        (lambda: draw_zones(model, "piston_in_boor", tmp_path / "z.png"), "piston_in_bore"),
    ]
    for draw, says in cases:
        with pytest.raises(InputError, match=says):
            draw()
    assert list(tmp_path.iterdir()) == []


def test_without_matplotlib_the_extra_is_named(
    lateral: Chain, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where matplotlib is missing the message says how to get it."""
    real = builtins.__import__

    def without(name: str, *rest: object, **more: object) -> object:
        if name.startswith("matplotlib"):
            raise ImportError(name)
        return real(name, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(InputError, match="workshop-scaler\\[pictures\\]"):
        draw_contributors(lateral, tmp_path / "bars.png")


def test_a_failed_write_leaves_the_old_picture(
    lateral: Chain, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A picture is put in place whole or not at all, and nothing is left lying about."""
    from matplotlib.figure import Figure

    path = draw_contributors(lateral, tmp_path / "bars.svg")
    before = path.read_bytes()

    def broken(*args: object, **more: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(Figure, "savefig", broken)
    with pytest.raises(OSError, match="no space"):
        draw_contributors(lateral, path)
    assert path.read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["bars.svg"]
