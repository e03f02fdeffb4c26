"""The results of a substitution: frozen, plain, with the exact check that confirms them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from scaler.checking.conflicts import CheckResult, Member
from scaler.reading.grammar import GrammarError, parse_method
from scaler.records import Model
from scaler.report import number, rational

if TYPE_CHECKING:
    import pandas

    from scaler.substitution.changes import Change

LEVELS = (
    ("cost", "departure from scale, weight × departure ÷ reach, summed over the drawn sizes"),
    ("later methods", "places down the rules that the methods chosen stand, summed"),
    ("not in the shop", "rows chosen that are not on the shop list"),
    ("other catalogues", "rows chosen from catalogues that are not the preferred ones"),
    ("sections and tools", "different sections and tools that the rows chosen come to"),
)


@dataclass(frozen=True, slots=True)
class Level:
    """One level of the order in which choices are preferred, and what was reached in it."""

    name: str
    meaning: str
    reached: Fraction


@dataclass(frozen=True, slots=True)
class SizeChoice:
    """What one size becomes [mm]. ``method`` as the rule writes it; ``row`` '' for a cut."""

    size: str
    value: Fraction
    method: str
    row: str
    why: str
    departure: Fraction | None
    cost: Fraction
    before: Fraction | None = None

    @property
    def changed(self) -> bool:
        """Whether the size differs from what was chosen before."""
        return self.before is not None and self.before != self.value

    @property
    def how(self) -> str:
        """Method and row, for a person."""
        return how_said(self.method, self.row, self.value)


def how_said(method: str, row: str, value: Fraction) -> str:
    """Method and row of a choice for a person: a value between the steps of its method is a last
    cut, finer than they are.

    >>> how_said("milled step 0.5 mm", "", Fraction("57.5"))
    'milled step 0.5 mm'
    >>> how_said("milled step 0.5 mm", "", Fraction("57.545"))
    'milled, last cut'
    """
    if row:
        return f"{method}, {row}"
    try:
        step = parse_method(method, None).step
    except GrammarError:
        return method
    return method if not step or value % step == 0 else f"{method.partition(' step ')[0]}, last cut"


@dataclass(frozen=True, slots=True)
class WayOut:
    """A set of changes that removes a conflict, none of which can be spared.

    ``gives_up`` names the requirements given up, ``lost`` the made sizes to be made again; ``cost``
    is the departure cost of the best whole model that results, with the ``price`` of the options
    that it uses; ``cautions`` go with it. ``model`` is the model with the changes made, ``edits``
    the single changes, ``write`` what to write into the model for each ('' where no line of it says
    so). ``left`` counts the conflicts that remain after it (those of one component up to five).
    """

    changes: tuple[str, ...]
    gives_up: tuple[str, ...]
    lost: tuple[str, ...]
    cost: Fraction
    kinds: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    model: Model | None = field(default=None, repr=False, compare=False)
    edits: tuple[Change, ...] = field(default=(), repr=False, compare=False)
    write: tuple[str, ...] = ()
    price: Fraction = Fraction(0)
    left: int = 0


@dataclass(frozen=True, slots=True)
class SubstitutionConflict:
    """Statements that cannot all hold, none of which can be spared, and the ways out.

    ``tried`` says what was looked at for ways out; ``reduced`` is False where time ran out before
    every member was shown to be needed.
    """

    members: tuple[Member, ...]
    keys: tuple[str, ...]
    text: str
    ways_out: tuple[WayOut, ...] = ()
    tried: str = ""
    reduced: bool = True

    @property
    def lead(self) -> str:
        """What there is to say of the members, before they are named."""
        return lead(len(self.members), self.reduced)


def lead(count: int, reduced: bool) -> str:
    """What there is to say of so many statements that cannot all hold."""
    if not reduced:
        return "no choice was found that keeps all of these; not all may be needed"
    if count == 1:
        return "this cannot be kept by itself"
    return "these cannot all be kept, and any one of them given up lets the rest hold"


@dataclass(frozen=True, slots=True)
class Together:
    """Ways out of several conflicts at once: the numbers of the conflicts, counted from 1."""

    conflicts: tuple[int, ...]
    ways_out: tuple[WayOut, ...]
    tried: str = ""


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another whole choice: the sizes in which it differs, and what it costs."""

    cost: Fraction
    more: Fraction
    changes: tuple[SizeChoice, ...]


@dataclass(frozen=True, slots=True)
class Price:
    """How much closer to scale the model would be without one pair, condition or standard."""

    statement: str
    text: str
    price: Fraction
    exact: bool = True


@dataclass(frozen=True)
class Substitution:
    """The best whole-model choice, or why there is none.

    ``status``: ``optimal`` (proved), ``feasible`` (the best found, ``gap`` says how far a better
    one could be), ``impossible`` (see ``conflicts``), ``unknown`` (time ran out with nothing in
    hand). ``model`` is the model with these choices recorded; what is said to hold was confirmed
    on it by the exact check, which ``check`` gives in full.
    """

    model: Model
    status: str
    cost: Fraction
    bound: Fraction
    levels: tuple[Level, ...]
    choices: tuple[SizeChoice, ...]
    conflicts: tuple[SubstitutionConflict, ...] = ()
    together: tuple[Together, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    prices: tuple[Price, ...] = ()
    doubtful: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    original: Model | None = field(default=None, repr=False)

    @cached_property
    def check(self) -> CheckResult:
        """The check of the chosen model, in full, made when first asked for."""
        from scaler.checking.conflicts import check

        return check(self.model)

    @property
    def gap(self) -> Fraction | None:
        """(cost − bound) ÷ cost: 0 where proved best, None where there is no choice.

        What ``slack`` allowed the lower levels to spend is no gap.
        """
        if self.status in ("impossible", "unknown"):
            return None
        if self.status == "optimal" or self.cost <= self.bound:
            return Fraction(0)
        return (self.cost - self.bound) / self.cost

    def exit_status(self) -> int:
        """Exit status: 0 where every pair and condition holds or is doubtful, else 1."""
        return int(self.status not in ("optimal", "feasible")) or self.check.status()

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values by the contract for scripts."""
        from scaler.substitution.report import substitution_dict

        return substitution_dict(self)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a size that was chosen; lengths in mm."""
        from scaler.report import frame_of

        return frame_of([choice_dict(choice) for choice in self.choices])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def choice_dict(choice: SizeChoice) -> dict[str, Any]:
    """One choice for scripts; lengths as numbers with exact twins."""
    return {
        "size": choice.size,
        "chosen_mm": number(choice.value),
        "chosen_mm_rational": rational(choice.value),
        "departure_mm": number(choice.departure),
        "departure_mm_rational": rational(choice.departure),
        "cost": float(choice.cost),
        "method": choice.method,
        "how": choice.how,
        "row": choice.row or None,
        "why": choice.why,
        "before_mm": number(choice.before),
        "before_mm_rational": rational(choice.before),
    }
