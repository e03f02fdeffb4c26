"""Cards for the bench: everything that is wanted at the machine for one part, on one page.

A :class:`Card` is the facts of one part, put together from a check; :func:`card_pages` turns cards
into self-contained pages that print in black and white. Refused parts get a card that says so and
holds no figure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scaler.cards.as_read import ToMake, targets_of, to_make
from scaler.cards.coordinates import Coordinates, coordinates_of
from scaler.cards.stock import Allowances, Blank, Stock
from scaler.cards.tools import Tools, ToolUse
from scaler.checking.cautions import Caution
from scaler.expressions import names
from scaler.records import Model, Part, Reading

if TYPE_CHECKING:
    from scaler.as_made.targets import Target
    from scaler.checking.check import Finding
    from scaler.checking.conflicts import CheckResult
    from scaler.settling.reduce import SizeLine


@dataclass(frozen=True, slots=True)
class CardSize:
    """One size of a card: its row's letter, the line of the reduction, readings by copy ('' : all).

    ``last_for`` names the pairs and conditions that are kept by cutting this size last; ``to_make``
    are the figures that it was or is to be made to.
    """

    letter: str
    line: SizeLine
    readings: Mapping[str, Reading]
    last_for: tuple[str, ...]
    to_make: tuple[ToMake, ...] = ()


@dataclass(frozen=True, slots=True)
class Mate:
    """A pair or condition that the part takes part in; ``refused``: a pressure part is in it too."""

    finding: Finding
    letters: tuple[str, ...]
    others: tuple[str, ...]
    refused: bool


@dataclass(frozen=True, slots=True)
class Card:
    """All that the bench wants to know of a part. A refused part has its caution and nothing else."""

    model: Model
    part: Part
    refusal: Caution | None
    cautions: tuple[Caution, ...]
    sizes: tuple[CardSize, ...]
    blank: Blank | None
    tools: tuple[ToolUse, ...]
    coordinates: tuple[Coordinates, ...]
    mates: tuple[Mate, ...]

    @property
    def name(self) -> str:
        """The part's name, as files are named by."""
        return self.part.name

    @property
    def title(self) -> str:
        """The part's title, or its name in words."""
        return self.part.title or self.part.name.replace("_", " ")

    def letter(self, identity: str) -> str:
        """The letter of a size's row, '' where it is not on this card."""
        for item in self.sizes:
            if item.line.size.id == identity.partition("@")[0]:
                return item.letter
        return ""


def letter_of(number: int) -> str:
    """Letters of rows: a to z, then aa, ab …; i, l and o are left out as too like figures.

    >>> letter_of(0), letter_of(8), letter_of(23)
    ('a', 'j', 'aa')
    """
    alphabet = "abcdefghjkmnpqrstuvwxyz"
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, len(alphabet))
        text = alphabet[rest] + text
    return text


def make_cards(
    result: CheckResult,
    parts: Sequence[str] | None = None,
    allowances: Allowances | None = None,
) -> tuple[Card, ...]:
    """The cards of a checked model, in the order of its parts.

    Parameters: result : what ``check`` gave at the stage ``chosen``; parts : names of the parts
        wanted, all where None; allowances : what the saw takes and what is left to clean up.
    Raises: InputError for a part that the model does not have.
    """
    model = result.model
    _known(model, parts)
    stock, tools = Stock(model, allowances), Tools(model)
    lines: dict[str, list[SizeLine]] = {}
    for line in result.reduction.lines:
        lines.setdefault(line.size.part, []).append(line)
    apart: dict[str, dict[str, SizeLine]] = {}
    for line in result.reduction.copies:
        if line.made is None:
            apart.setdefault(line.size.id, {})[line.copy] = line
    becomes: dict[str, dict[str, Target]] = {}
    for (identity, copy), found in targets_of(result).items():
        becomes.setdefault(identity, {})[copy] = found
    cautions: dict[str, list[Caution]] = {}
    for caution in result.reduction.cautions:
        cautions.setdefault(caution.about.partition(".")[0], []).append(caution)
    shut = {name for name, found in cautions.items() if any(c.refused for c in found)}
    touching = _touching(result)
    readings: dict[str, dict[str, Reading]] = {}
    for (identity, copy), reading in model.readings.items():
        readings.setdefault(identity, {})[copy] = reading
    cards = []
    for part in model.parts.values():
        if parts is not None and part.name not in parts:
            continue
        mine = cautions.get(part.name, [])
        refusal = next((caution for caution in mine if caution.refused), None)
        if refusal is not None:
            cards.append(Card(model, part, refusal, (), (), None, (), (), ()))
            continue
        own = [line for line in lines.get(part.name, ()) if not line.refused]
        findings = touching.get(part.name, [])
        last: dict[str, list[str]] = {}
        for finding in findings:
            if finding.statement.basis.last:
                name = finding.statement.title or finding.statement.id
                cut = finding.statement.basis.last.partition("@")[0]
                if name not in last.setdefault(cut, []):
                    last[cut].append(name)
        sizes = tuple(
            CardSize(
                letter_of(number),
                line,
                readings.get(line.size.id, {}),
                tuple(last.get(line.size.id, ())),
                to_make(
                    part,
                    line,
                    readings.get(line.size.id, {}),
                    apart.get(line.size.id, {}),
                    becomes.get(line.size.id, {}),
                ),
            )
            for number, line in enumerate(own)
        )
        letters = {item.line.size.id: item.letter for item in sizes}
        cards.append(
            Card(
                model,
                part,
                None,
                tuple(mine),
                sizes,
                stock.blank(part, own),
                tools.of_part(own),
                coordinates_of(own),
                tuple(_mate(finding, part.name, letters, shut) for finding in findings),
            )
        )
    return tuple(cards)


def _known(model: Model, parts: Sequence[str] | None) -> None:
    from scaler.problems import InputError, Problem, did_you_mean

    wrong = [name for name in parts or () if name not in model.parts]
    if wrong:
        raise InputError(
            Problem(
                "unknown-part",
                f"there is no part '{name[:80]}' in this model",
                read=name,
                expected="a part of this model",
                advice=did_you_mean(name, model.parts),
            )
            for name in wrong
        )


def _touching(result: CheckResult) -> dict[str, list[Finding]]:
    """The findings of each part, pairs first, copies of one statement each by itself."""
    found: dict[str, list[Finding]] = {}
    ordered = sorted(result.findings, key=lambda finding: finding.statement.what != "pair")
    for finding in ordered:
        parts = {name.partition(".")[0] for name in names(finding.statement.node)}
        for part in parts:
            found.setdefault(part, []).append(finding)
    return found


def _mate(finding: Finding, part: str, letters: Mapping[str, str], shut: set[str]) -> Mate:
    mine: list[str] = []
    others: list[str] = []
    refused = False
    for name in names(finding.statement.node):
        owner, identity = name.partition(".")[0], name.partition("@")[0]
        if owner in shut:
            refused = True
        elif owner == part:
            mine.append(letters.get(identity, ""))
        elif owner not in others:
            others.append(owner)
    return Mate(finding, tuple(dict.fromkeys(mine)), tuple(others), refused)


def card_pages(cards: Sequence[Card], paper: str = "A4") -> dict[str, str]:
    """File name to page: one a part, all of them in one to print, and an index.

    Parameters: paper : ``A4``, ``A5`` or ``letter``.
    Raises: ValueError for another paper.
    """
    from scaler.cards.page_card import all_pages

    return all_pages(cards, paper)
