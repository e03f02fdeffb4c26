"""A reading as it is given at the bench: read, and refused where it cannot be meant."""

from __future__ import annotations

from fractions import Fraction

from scaler.as_made.bench import Bench
from scaler.as_made.move import figure
from scaler.checking import cautions
from scaler.problems import (
    InputError,
    Place,
    Problem,
    copy_meant,
    did_you_mean,
    shorten,
    unknown_size,
)
from scaler.reading.readings_log import value_of
from scaler.records import Kind, Model, Reading, Size, State
from scaler.settling.limits import instrument_names, limits_of, uncertainty
from scaler.settling.rows import method_row
from scaler.settling.settle import Settled

INCH = Fraction(127, 5)
_BURR = Fraction(1, 10)
"""What stock may read over its size [mm] (or a fortieth): a burr, paint, a bent sheet."""
_NEAR = Fraction(1, 10)
"""How near to 25.4 times the planned size (or a 25.4th of it, or to one of the slips) a reading must
be for the wrong unit, or another place of the point, to be meant."""
_SLIPS = (
    (Fraction(10), "10 times"),
    (Fraction(100), "100 times"),
    (Fraction(1, 10), "a 10th of"),
    (Fraction(1, 100), "a 100th of"),
)
"""What a slipped decimal point makes of a figure."""


def reading_of(
    bench: Bench,
    name: str,
    value: str,
    *,
    copy: str = "",
    instrument: str = "",
    note: str = "",
    time: str = "",
    place: Place | None = None,
    sure: bool = False,
) -> Reading:
    """A reading as text, made sense of against the model.

    Parameters
    ----------
    bench : the model as it stands
    name : ``part.size``, or ``part.size@copy``
    value : with its unit; a bare number takes the model's work unit
    instrument : one of the instruments table; by the size or its kind where not given
    sure : record it even where it looks wrong (unit, more metal than there was)

    Raises
    ------
    InputError
        Unknown size, copy or instrument; a value that cannot be read; a part that is scrapped or
        gets no figure; unless ``sure``, a reading off by 25.4, or one that says metal has grown.
    """
    model = bench.model
    name, _, own = name.partition("@")
    size, copy = known(model, name, copy or own)
    if instrument and instrument not in instrument_names():
        raise _no(
            "unknown-instrument",
            f"there is no instrument '{shorten(instrument, 40)}'",
            instrument,
            "an instrument of the table",
            did_you_mean(instrument, instrument_names()),
        )
    mm = _value(model, size, value)
    reading = Reading(size.id, copy, mm, instrument, note, time, place or Place("this reading", 0))
    if not sure:
        _likely(bench, size, reading, value)
    return reading


def known_size(model: Model, name: str) -> Size:
    """The size of a name. Raises InputError, with the nearest names."""
    size = model.sizes.get(name)
    if size is None:
        raise InputError([unknown_size(name, model.sizes)])
    return size


def known(model: Model, name: str, copy: str) -> tuple[Size, str]:
    """The size and copy of a name, of a part that gets figures and is in hand. Raises InputError,
    with the nearest names."""
    size = known_size(model, name)
    part_ = model.parts[size.part]
    if copy and copy not in part_.copies:
        raise _no(
            "unknown-copy",
            f"{size.part} has no copy '{shorten(copy, 40)}'",
            copy,
            ", ".join(part_.copies) or f"{size.part} has no named copies",
            copy_meant(copy, size.part, part_.copies, part_.count),
        )
    refusal = cautions.refused(part_)
    if refusal is not None:
        raise _no("refused", f"{size.part}: {refusal.headline}", "", "", refusal.text)
    if State.SCRAPPED in (part_.state, size.state):
        raise _no(
            "scrapped",
            f"{size.id} is marked scrapped ({size.place}): nothing was recorded",
            "",
            "a part that is in hand",
            'change its state to "not made" where a new one has been begun',
        )
    return size, copy


def known_part(model: Model, name: str) -> str:
    """The part that a name means: a part's own, or that of a size. Raises InputError."""
    if name not in model.parts:
        return known(model, name.partition("@")[0], "")[0].part
    refusal = cautions.refused(model.parts[name])
    if refusal is not None:
        raise _no("refused", f"{name}: {refusal.headline}", "", "", refusal.text)
    return name


def with_unit(model: Model, size: Size, text: str) -> str:
    """A value as it is recorded: a bare length gets the unit that the workshop thinks in."""
    body = " ".join(text.split())
    bare = (
        body.replace(",", ".", 1)
        .replace(".", "", 1)
        .replace("/", "", 1)
        .replace(" ", "", 1)
        .lstrip("+-")
    )
    if size.kind.is_length and bare.isascii() and bare.isdigit() and body != "0":
        return f"{body} {model.work_unit}"
    return body


def _value(model: Model, size: Size, text: str) -> Fraction:
    try:
        value = value_of(with_unit(model, size, text), size)
    except ValueError as error:
        raise _no(
            "cannot-read",
            f"reading of {size.id}: {getattr(error, 'problem', str(error))}",
            text,
            getattr(error, "expected", "") or "a length with its unit",
            getattr(error, "advice", "") or "write 28.96 mm, 5/8 in or 1.5 thou",
        ) from None
    if value <= 0 and size.kind is not Kind.POSITION:
        raise _no(
            "not-a-size",
            f"reading of {size.id}: a size of {figure(size, value, model.units)}",
            text,
            "a size above nothing",
            "read the work again",
        )
    return value


def _likely(bench: Bench, size: Size, reading: Reading, text: str) -> None:
    """Refuses a reading that cannot be meant."""
    planned = bench.value(size.id, reading.copy)
    value = reading.value
    if planned and size.kind.is_length:
        for factor, unit, read in ((INCH, "inches", "in"), (1 / INCH, "millimetres", "mm")):
            if abs(value * factor - planned) <= abs(planned) * _NEAR:
                bare = text.split()[0]
                raise _no(
                    "unit",
                    f"{size.id} is to be {figure(size, planned, bench.model.units)}, and {figure(size, value, bench.model.units)} is a "
                    f"25.4th of that: did you mean {unit}?"
                    if factor > 1
                    else f"{size.id} is to be {figure(size, planned, bench.model.units)}, and {figure(size, value, bench.model.units)} "
                    f"is 25.4 times that: did you mean {unit}?",
                    text,
                    f"a reading near {figure(size, planned, bench.model.units)}",
                    f"write {bare} {read}; with --sure it is recorded as it stands",
                )
        for factor, times in _SLIPS:
            if abs(value / factor - planned) <= abs(planned) * _NEAR:
                raise _no(
                    "point",
                    f"{size.id} is to be {figure(size, planned, bench.model.units)}, and {figure(size, value, bench.model.units)} is "
                    f"{times} that: has the point slipped?",
                    text,
                    f"a reading near {figure(size, planned, bench.model.units)}",
                    "read it again; with --sure it is recorded as it stands",
                )
    before = bench.model.readings.get((size.id, reading.copy))
    if before is not None:
        _only_off(size, before, reading, text, bench.model.units)
    else:
        _within_blank(bench, size, reading, text)


def _only_off(size: Size, before: Reading, reading: Reading, text: str, units: str) -> None:
    if size.kind not in (Kind.EXTERNAL, Kind.INTERNAL, Kind.SLOT, Kind.DEPTH, Kind.LENGTH):
        return
    grown = before.value - reading.value if size.kind.grows else reading.value - before.value
    doubt = uncertainty(size, before.instrument)[1] + uncertainty(size, reading.instrument)[1]
    if grown > doubt:
        raise _no(
            "metal-on",
            f"{size.id} has been read as {figure(size, before.value, units)} ({before.place}); "
            f"{figure(size, reading.value, units)} would put metal on, and metal only comes off",
            text,
            f"no {'less' if size.kind.grows else 'more'} than {figure(size, before.value, units)}",
            "if the first reading was wrong, take it back with --undo; if the part was bushed, "
            "shimmed or made anew, say --sure",
        )


def _within_blank(bench: Bench, size: Size, reading: Reading, text: str) -> None:
    """A size taken as the bar or plate is supplied cannot be more than that ever was; nor one that
    is cut, more than the bar it is sawn from."""
    settled = bench.near(size.id).settlement.results.get(size.id)
    if settled is None or settled.made or size.kind.grows:
        return
    table = method_row(settled.method)
    if settled.row is None or table is None or not table.row_limits:
        _within_bar(bench, size, reading, text)
        return
    supplied: Settled = settled
    limits = limits_of(bench.model, size, supplied)
    row = settled.row
    burr = max(_BURR, row.value / 40)
    most = row.value + max(limits.upper, burr) + uncertainty(size, reading.instrument)[1]
    if reading.value > most:
        raise _no(
            "blank",
            f"{size.id} is {settled.method}, {row.designation}: {figure(size, reading.value, bench.model.units)} is "
            f"more than it ever was (at most {figure(size, most, bench.model.units)})",
            text,
            f"a reading of {figure(size, most, bench.model.units)} or less",
            "read it again; if it is made from another bar, choose that one, or say --sure",
        )


def _within_bar(bench: Bench, size: Size, reading: Reading, text: str) -> None:
    """An outside that is cut cannot be more than the blank that the cutting list saws it from."""
    planned = bench.value(size.id, reading.copy)
    if size.kind not in (Kind.EXTERNAL, Kind.LENGTH) or planned is None:
        return
    if reading.value <= planned + max(Fraction(1, 4), planned / 100):
        return  # the blank is looked up for a reading that is out of the way only
    from scaler.cards.stock import Stock, is_round
    from scaler.settling.reduce import from_settlement

    part = bench.model.parts[size.part]
    checker = bench.of_part(size.part)
    reduction = from_settlement(checker.model, checker.settlement, checker.exact)
    lines = [line for line in reduction.lines if line.size.part == size.part and not line.refused]
    blank = Stock(bench.model).blank(part, lines)
    if blank is None or blank.section is None:
        return
    measures = dict(blank.section.measures)
    across = measures.get("diameter", measures.get("outside"))
    if not is_round(next(line for line in lines if line.size.id == size.id)):
        across = blank.sawn if planned == blank.finished else None
    if across is None:
        return
    most = across + max(_BURR, across / 40) + uncertainty(size, reading.instrument)[1]
    if reading.value > most:
        raise _no(
            "blank",
            f"{size.part} is sawn from {blank.section.designation}: {figure(size, reading.value, bench.model.units)} "
            f"for {size.id} is more than the blank ever was (at most {figure(size, most, bench.model.units)})",
            text,
            f"a reading near {figure(size, planned, bench.model.units)}",
            "read it again; if it is made from a larger bar, say --sure",
        )


def _no(code: str, headline: str, read: str, expected: str, advice: str = "") -> InputError:
    return InputError([Problem(code, headline, None, read, expected, advice)])
