"""The fits of a model's pairs in one report: advice, cold and hot, and pressed.

One entry a pair (one a copy where copies have readings of their own). What cannot be told of a
pair, such as the growth of a part whose material is not known, stands in its notes where all pairs
are asked for, and stops the report where the pair was asked for by name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.catalogue import parse_number
from scaler.checking import cautions
from scaler.checking.cautions import Caution
from scaler.fitting.material_figures import REFERENCE, TemperatureError
from scaler.fitting.pair_advice import Advice, advice_of
from scaler.fitting.press_fits import PressFitError, Range
from scaler.fitting.press_pairs import Given, PressedPair, has_interference, press_of
from scaler.fitting.temperature import HotFit, hot_fit, known_parts, pair_findings
from scaler.problems import InputError, Problem, shorten
from scaler.records import Model, Stage, Verdict

if TYPE_CHECKING:
    import pandas

    from scaler.checking.check import Checker, Finding


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a report is asked for. Temperatures in °C, lengths in mm.

    ``celsius`` : of all parts; ``parts`` : of single ones; ``materials`` : in place of the model's;
    the rest belongs to press fits (see :func:`scaler.fitting.press_pairs.pressed_pair`); ``count`` : how
    many fits of each published set.
    """

    celsius: Fraction | None = None
    parts: Mapping[str, Fraction] = field(default_factory=dict)
    materials: Mapping[str, str] = field(default_factory=dict)
    hub_outside: Fraction | None = None
    shaft_bore: Fraction | None = None
    length: Fraction | None = None
    friction: Range | None = None
    how: str = "pressed"
    count: int = 3

    @property
    def hot(self) -> bool:
        """Whether any temperature is given."""
        return self.celsius is not None or bool(self.parts)


@dataclass(frozen=True, slots=True)
class PairFit:
    """Everything of one pair; ``hot`` and ``press`` are None where they were not asked for or do
    not apply."""

    advice: Advice
    hot: HotFit | None
    press: PressedPair | None
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values."""
        return {
            **self.advice.as_dict(),
            "hot": None if self.hot is None else self.hot.as_dict(),
            "press": None if self.press is None else self.press.as_dict(),
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class FitReport:
    """The fits of all pairs of a model, or of one."""

    model: Model
    wanted: Wanted
    pairs: tuple[PairFit, ...]
    cautions: tuple[Caution, ...]

    def status(self, *, strict: bool = False) -> int:
        """Exit status: 1 where a pair is tight or loose, cold or hot (strictly: or doubtful)."""
        bad = {Verdict.TIGHT, Verdict.LOOSE, Verdict.FAILS}
        if strict:
            bad.add(Verdict.DOUBTFUL)
        verdicts = {fit.advice.verdict for fit in self.pairs}
        verdicts |= {fit.hot.hot_verdict for fit in self.pairs if fit.hot is not None}
        return int(bool(verdicts & bad))

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values; lengths in mm, each with its exact twin."""
        from scaler.measures.lengths import format_exact
        from scaler.report import caution_dict

        return {
            "model": self.model.title,
            "scale": {
                "text": self.model.scale.read_as,
                "ratio": float(self.model.ratio),
                "ratio_rational": format_exact(self.model.ratio),
            },
            "pairs": [fit.as_dict() for fit in self.pairs],
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }

    def rows(self) -> list[dict[str, Any]]:
        """One flat row a pair, for CSV and frames."""
        rows = []
        for fit in self.pairs:
            row = {
                key: value
                for key, value in fit.advice.as_dict().items()
                if not isinstance(value, dict) and key not in ("iso_fits", "trade_fits")
            }
            row["nearest_iso"] = fit.advice.iso[0].name if fit.advice.iso else None
            row["nearest_trade"] = fit.advice.trade[0].name if fit.advice.trade else None
            for name, of, keys in (
                ("hot", fit.hot, ("hot_mm", "hot_basic_mm", "shift_mm", "hot_verdict")),
                ("press", fit.press, ("pressure_n_mm2", "hub_hoop_n_mm2", "bore_closure_mm",
                                      "axial_n", "torque_n_mm")),
            ):  # fmt: skip
                values = {} if of is None else of.as_dict()
                for key in keys:
                    row[key if name == "hot" else f"press_{key}"] = values.get(key)
            row["notes"] = "; ".join(fit.notes)
            rows.append(row)
        return rows

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a pair."""
        from scaler.report import frame_of

        return frame_of(self.rows())

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def fits(
    model: Model, pair: str = "", wanted: Wanted | None = None, *, checker: Checker | None = None
) -> FitReport:
    """The fits of a model: which side to make first, cold and hot, and as press fits.

    Parameters: pair : name, or ``name@copy``; '' for all. wanted : temperatures and what belongs
        to press fits. checker : one made before, else the model as chosen.
    Returns: FitReport.
    Raises: InputError for an unknown pair, part or (of a pair asked for by name) material, and for
        temperatures or sizes that cannot be worked with.
    """
    from scaler.checking.check import Checker as MakeChecker

    wanted = wanted or Wanted()
    checker = checker or MakeChecker(model, Stage.CHOSEN)
    known_parts(model, (*wanted.parts, *wanted.materials))
    if pair:
        found: Sequence[Finding] = pair_findings(checker, pair)
    else:
        found = [one for one in checker.findings if one.statement.what == "pair"]
    entries = tuple(_pair_fit(checker, one, wanted, bool(pair)) for one in found)
    return FitReport(model, wanted, entries, _cautions(checker, entries))


def _pair_fit(checker: Checker, finding: Finding, wanted: Wanted, named: bool) -> PairFit:
    notes: list[str] = []
    hot = press = None
    if wanted.hot:
        try:
            hot = hot_fit(
                checker,
                finding,
                REFERENCE if wanted.celsius is None else wanted.celsius,
                wanted.parts,
                materials=wanted.materials,
            )
        except InputError as error:
            if named:
                raise
            notes += [problem.headline for problem in error.problems]
        except TemperatureError as error:
            raise _as_input(error) from error
    if has_interference(finding) and finding.verdict is not Verdict.REFUSED:
        given = Given(
            wanted.hub_outside, wanted.shaft_bore, wanted.length, wanted.friction, wanted.how,
            wanted.materials,
        )  # fmt: skip
        try:
            press = press_of(checker, finding, given)
        except InputError as error:
            if named:
                raise
            notes += [problem.headline for problem in error.problems]
        except PressFitError as error:
            if named and not _is_sum(finding):
                raise _as_input(error) from error
            notes.append(error.problem)
    notes += [note for note in (hot.notes if hot else ()) if note not in notes]
    notes += [note for note in (press.notes if press else ()) if note not in notes]
    return PairFit(advice_of(checker, finding, wanted.count), hot, press, tuple(notes))


def _is_sum(finding: Finding) -> bool:
    """Whether a side is a sum of sizes, of which no press fit is asked."""
    from scaler.expressions import names

    return len(names(finding.statement.node)) > 2


def _as_input(error: TemperatureError | PressFitError) -> InputError:
    return InputError(
        [Problem("cannot-work-with", error.problem, expected=error.expected, advice=error.advice)]
    )


def _cautions(checker: Checker, entries: Sequence[PairFit]) -> tuple[Caution, ...]:
    """The model's cautions on the parts shown, and those of heat and pressing."""
    shown = {
        name.partition(".")[0]
        for entry in entries
        for side in (entry.advice.inner, entry.advice.outer)
        for name in side.sizes
    }
    found: dict[Caution, None] = {
        caution: None
        for caution in cautions.of_model(checker.model)
        if caution.about.partition(".")[0] in shown
    }
    for entry in entries:
        for part in (entry.hot, entry.press):
            found.update(dict.fromkeys(part.cautions if part is not None else ()))
    return tuple(found)


def read_pairs(texts: Sequence[str], option: str) -> dict[str, str]:
    """``part=something`` texts of an option as a mapping.

    Raises InputError for one without a part, a stroke or a value.
    """
    found, problems = {}, []
    for text in texts:
        part, sign, value = text.partition("=")
        if not sign or not part.strip() or not value.strip():
            problems.append(
                Problem(
                    "unreadable-option",
                    f"{option} '{shorten(text)}' cannot be read",
                    read=text,
                    expected="part=value",
                    advice=f"write {option} 'cylinder=120'",
                )
            )
        found[part.strip()] = value.strip()
    if problems:
        raise InputError(problems)
    return found


def read_celsius(text: str) -> Fraction:
    """A temperature in degrees Celsius, exact: ``90``, ``-18``, ``90 °C``.

    Raises InputError for anything else.

    >>> read_celsius("-18 °C")
    Fraction(-18, 1)
    """
    plain = text.strip().replace("−", "-")
    for ending in ("°C", "°c", "C", "c", "°"):
        if plain.endswith(ending):
            plain = plain[: -len(ending)].strip()
            break
    try:
        if len(plain) > 40 or "e" in plain.lower() or "_" in plain:
            raise ValueError
        return parse_number(plain)
    except (ValueError, ZeroDivisionError):
        raise InputError(
            [
                Problem(
                    "unreadable-temperature",
                    f"'{shorten(text)}' is no temperature that can be read",
                    read=text,
                    expected="degrees Celsius, such as 90 or -18",
                    advice="turn Fahrenheit into Celsius first: (F - 32) × 5/9",
                )
            ]
        ) from None
