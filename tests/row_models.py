"""Small made-up models of sizes that take rows: what the tests of rows and of wishes share."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.problems import InputError
from scaler.records import Model

HEAD = '[model]\ntitle="t"\nscale="1:8"\n'
SHEET = '[drawing.s]\nunit="mm"\n'


def model_of(folder: Path, text: str, shop: str = "", head: str = "") -> Model:
    """A model of one file, with a shop list where one is given."""
    folder.mkdir(exist_ok=True)
    named = 'shop="shop.csv"\n' if shop else ""
    (folder / "model.toml").write_text(HEAD + named + head + SHEET + text, encoding="utf-8")
    if shop:
        (folder / "shop.csv").write_text(f"family,size,designation\n{shop}", encoding="utf-8")
    return scaler.load(folder)


def part(name: str, *sizes: str, more: str = "") -> str:
    """A part with sizes, each ``name=fields``."""
    lines = [f'[part.{name}]\nservice="none"', *more.splitlines()]
    for size in sizes:
        key, _, fields = size.partition("=")
        lines.append(f"size.{key}={{{fields}}}")
    return "\n".join(lines) + "\n"


def values(model: Model) -> dict[str, F]:
    """Sizes as chosen [mm]."""
    found = scaler.reduce(model).settlement.values
    return {name: value for name, value in found.items() if isinstance(value, F)}


def refusal(folder: Path, text: str, shop: str = "", head: str = "") -> str:
    """What reading and reducing a model is answered with."""
    with pytest.raises(InputError) as caught:
        scaler.reduce(model_of(folder, text, shop, head))
    return str(caught.value)


BOLTED = (
    part("nut", 'flats=kind="length",rule="across flats of bolt.thread"')
    + part("frame", 'tapped=kind="internal",rule="tapping hole of bolt.thread"')
    + part(
        "cover",
        'close=kind="internal",rule="close clearance hole of bolt.thread"',
        'medium=kind="internal",rule="clearance hole of bolt.thread"',
        'free=kind="internal",rule="free clearance hole of bolt.thread"',
    )
)
