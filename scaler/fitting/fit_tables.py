"""The tables and sentences of a fit report, for a person. Rounding happens here."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from scaler.fitting.fit_report import FitReport, PairFit
from scaler.fitting.near_fits import NearFit
from scaler.report import length_text, window_text
from scaler.tables import Grid


def fits_grid(report: FitReport, units: str) -> Grid:
    """Every pair: verdict, window wanted and found, and which side is made first, as it will be."""
    rows = []
    for fit in report.pairs:
        advice = fit.advice
        basis, first, last = advice.in_turn
        rows.append(
            (
                str(advice.verdict),
                advice.pair,
                window_text(advice.wanted, units),
                window_text(advice.found, units),
                basis,
                first or "-",
                last or "-",
                advice.iso[0].name if advice.iso else "-",
                advice.trade[0].name if advice.trade else "-",
            )
        )
    headings = (
        "verdict", "pair", "wanted", "found", "basis", "first", "cut last", "ISO 286", "trade",
    )  # fmt: skip
    return Grid(headings, tuple(rows), (2, 3))


def hot_grid(report: FitReport, units: str) -> Grid:
    """Every pair cold and hot."""
    rows = []
    for fit in report.pairs:
        hot = fit.hot
        if hot is None:
            rows.append((fit.advice.pair, "-", "-", "-", "-", "not known"))
            continue
        told = ", ".join(f"{float(value):g}" for value in dict.fromkeys(hot.temperatures.values()))
        rows.append(
            (
                hot.pair,
                told,
                window_text(hot.cold, units),
                window_text(hot.hot, units),
                _signed(hot.shift, units),
                f"{hot.hot_verdict}" + (", closes up" if hot.closes else ""),
            )
        )
    return Grid(
        ("pair", "°C", "at 20 °C", "hot", "moves by", "hot verdict"), tuple(rows), (2, 3, 4)
    )


def press_grid(report: FitReport, units: str) -> Grid:
    """Every pair with interference: pressure, stress, what it holds, and how a bush closes in."""
    rows = []
    for fit in report.pairs:
        press = fit.press
        if press is None or press.tight is None:
            continue
        least, most = press.loose, press.tight
        rows.append(
            (
                press.pair,
                window_text(press.interference, units),
                _range(least.pressure if least else None, most.pressure, 1),
                _range(least.hub_hoop if least else None, most.hub_hoop, 1),
                "-" if most.axial is None else _range(
                    least.axial[0] if least and least.axial else None, most.axial[1], 0
                ),
                "-" if most.torque is None else _range(
                    least.torque[0] / 1000 if least and least.torque else None,
                    most.torque[1] / 1000, 2,
                ),
                length_text(most.bore_closure, units, 4) if most.shaft_bore else "-",
            )
        )  # fmt: skip
    headings = (
        "pair", "interference", "pressure N/mm2", "hub hoop N/mm2", "holds N", "holds N m",
        "bush closes by",
    )  # fmt: skip
    return Grid(headings, tuple(rows), tuple(range(1, 7)))


def near_grid(fit: PairFit, units: str) -> Grid:
    """The published fits near the window wanted, set by set."""
    found: Sequence[NearFit] = (*fit.advice.iso, *fit.advice.trade)
    rows = tuple(
        (
            one.name,
            one.set + (f", {one.basis} basis" if one.basis else ""),
            window_text(one.window, units),
            "inside" if not one.excess else length_text(one.excess, units, 4),
            one.source,
        )
        for one in found
    )
    return Grid(("fit", "set", "clearance", "oversteps by", "source"), rows, (2, 3))


def advice_text(report: FitReport) -> str:
    """The advice on each pair in words, with its notes."""
    lines = []
    for fit in report.pairs:
        lines.append(f"* {fit.advice.title or fit.advice.pair}: {fit.advice.text}")
        lines += [f"    {note}" for note in fit.notes]
    return "\n".join(lines)


def _signed(value: Fraction | None, units: str) -> str:
    if value is None:
        return "-"
    return f"{'-' if value < 0 else '+'}{length_text(abs(value), units, 4)}"


def _range(low: Fraction | None, high: Fraction, places: int) -> str:
    return f"{float(low or 0):.{places}f} to {float(high):.{places}f}"
