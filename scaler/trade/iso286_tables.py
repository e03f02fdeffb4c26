"""What the ISO 286 tables hold: sizes, letters, grades, and which class exists where.

The figures stand in the tables ``iso286_*`` of the catalogues, taken from copies of ISO 286-1:2010.
The public names are those of :mod:`scaler.trade.iso286`. A range of sizes is "above … up to and including
…". Beyond a table, or where the standard gives a class no value, an :class:`Iso286Error` says what
there is.

References: ISO 286-1:2010, Tables 1 to 5; the tables' ``source`` and ``place`` columns say what
was read.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import Literal

from scaler import catalogue

Side = Literal["hole", "shaft"]

# from the loosest shaft to the tightest, as ISO 286-1 draws them
_LETTERS = (
    "a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h", "js", "j", "k",
    "m", "n", "p", "r", "s", "t", "u", "v", "x", "y", "z", "za", "zb", "zc",
)  # fmt: skip
GRADES = ("01", "0", *(str(number) for number in range(1, 19)))
_CLASS = re.compile(r"([A-Za-z]{1,2})\s?(\d{1,2})")


class Iso286Error(ValueError):
    """A tolerance class, fit or size that ISO 286 gives no figures for.

    Attributes: text (what was read), problem, expected (what would be known), advice.
    """

    def __init__(self, text: str, problem: str, expected: str, advice: str) -> None:
        super().__init__(f"{problem}; {advice}" if advice else problem)
        self.text, self.problem, self.expected, self.advice = text, problem, expected, advice


@dataclass(frozen=True, slots=True)
class Tables:
    """The tables, ready for looking up: bounds [mm] and rows in step with each other."""

    ends: tuple[int, ...]  # sub-range ends, with 1 mm put in, since some classes start there
    sub: tuple[int, ...]  # sub-range (row of the deviation tables) of each end
    main: tuple[int, ...]  # range (row of the grades table) of each end
    grades: tuple[catalogue.Row, ...]
    shafts: tuple[catalogue.Row, ...]
    holes: tuple[catalogue.Row, ...]
    delta: tuple[catalogue.Row, ...]
    exceptions: tuple[catalogue.Row, ...]


@cache
def tables_of() -> Tables:
    """The shipped tables, read once."""
    grades, shafts, holes, delta, exceptions = (
        catalogue.table(f"iso286_{name}").rows
        for name in ("grades", "shafts", "holes", "delta", "exceptions")
    )
    own_ends = {int(row.number("up_to_mm")) for row in exceptions}
    sub_ends = [int(row.number("up_to_mm")) for row in shafts]
    main_ends = [int(row.number("up_to_mm")) for row in grades]
    ends = tuple(sorted(own_ends | set(sub_ends)))
    return Tables(
        ends,
        tuple(bisect_left(sub_ends, end) for end in ends),
        tuple(bisect_left(main_ends, end) for end in ends),
        grades,
        shafts,
        holes,
        delta,
        exceptions,
    )


@lru_cache(maxsize=8192, typed=True)
def step_of(basic_size_mm: Fraction | int) -> int:
    """Index of the step of sizes that holds this basic size. Raises Iso286Error naming the end."""
    if isinstance(basic_size_mm, float):
        raise TypeError("a basic size is an exact number of mm: Fraction or int, not float")
    ends = tables_of().ends
    if basic_size_mm <= 0:
        raise Iso286Error(
            f"{basic_size_mm} mm",
            f"a basic size of {_mm(basic_size_mm)} has no limits in ISO 286: "
            "its tables start above 0 mm",
            "a basic size above 0 mm",
            "give the basic size in mm, above 0",
        )
    if basic_size_mm > ends[-1]:
        raise Iso286Error(
            f"{basic_size_mm} mm",
            f"a basic size of {_mm(basic_size_mm)} is beyond the tables of ISO 286, "
            f"which end at {ends[-1]} mm",
            f"a basic size up to and including {ends[-1]} mm",
            "state the limits themselves for this size",
        )
    return bisect_left(ends, basic_size_mm)


def _mm(value: Fraction | int) -> str:
    value = Fraction(value)
    text = f"{float(value):.10g}"
    return f"{text} mm" if Fraction(text) == value else f"{value} mm (about {text} mm)"


@cache
def split_class(text: str) -> tuple[str, str, Side]:
    """Letter, grade and side of a tolerance class. ``"H7"`` gives ``("H", "7", "hole")``.

    Raises Iso286Error where the text is no class of ISO 286: capital letters are holes, small
    letters shafts, and I, L, O, Q, W are not used.

    >>> split_class("js9")
    ('js', '9', 'shaft')
    """
    match = _CLASS.fullmatch(text.strip())
    if match is None:
        raise Iso286Error(
            text,
            f'"{text}" is no tolerance class of ISO 286',
            "one or two letters and a grade from 01 to 18",
            'write a letter and a grade: "H7" for a hole, "g6" for a shaft',
        )
    letter, grade = match.groups()
    if letter.lower() not in _LETTERS:
        raise Iso286Error(
            text,
            f'"{text}": ISO 286 has no deviation "{letter}"',
            "one of " + ", ".join(_LETTERS) + " (shafts), or the same in capitals (holes)",
            "the letters are a to zc without i, l, o, q and w; with two letters only cd, ef, fg, "
            "js, za, zb and zc",
        )
    if letter not in (letter.lower(), letter.upper()):
        raise Iso286Error(
            text,
            f'"{text}" mixes small and capital letters',
            f'"{letter.upper()}" for a hole or "{letter.lower()}" for a shaft',
            f'write "{letter.upper()}{grade}" for a hole, "{letter.lower()}{grade}" for a shaft',
        )
    if grade not in GRADES:
        raise Iso286Error(
            text,
            f'"{text}": ISO 286 has no grade {grade}',
            "a grade of 01, 0, 1 to 18",
            "grades run from 01 (finest) over 0 and 1 to 18 (coarsest)",
        )
    return letter, grade, "hole" if letter.isupper() else "shaft"


def exists(tolerance_class: str, basic_size_mm: Fraction | int) -> bool:
    """Whether ISO 286 gives this class limits at this size; same errors for text and size."""
    return exists_at(tolerance_class, step_of(basic_size_mm))


def exists_at(tolerance_class: str, step: int) -> bool:
    """The same for a step of sizes, as :func:`step_of` gives it."""
    letter, grade, _ = split_class(tolerance_class)
    return _given(letter, grade, step)


def classes(
    side: Side | None = None, basic_size_mm: Fraction | int | None = None
) -> tuple[str, ...]:
    """Deviation letters, holes first, from the loosest to the tightest; of one side if asked.

    With a basic size [mm] only those that exist there in some grade. Raises Iso286Error for a size
    beyond the tables.
    """
    letters = [one.upper() for one in _LETTERS if side != "shaft"]
    letters += [one for one in _LETTERS if side != "hole"]
    if basic_size_mm is None:
        return tuple(letters)
    step = step_of(basic_size_mm)
    return tuple(one for one in letters if any(_given(one, grade, step) for grade in GRADES))


@cache
def _given(letter: str, grade: str, step: int) -> bool:
    """Whether the tables hold a class at a step, without building an error."""
    number = GRADES.index(grade) - 1
    tables = tables_of()
    if not tables.grades[tables.main[step]].text(f"it{grade}_um"):
        return False
    if any(
        row.text("rule") == "not used" and covers(row, letter, grade, step)
        for row in tables.exceptions
    ):
        return False
    if letter in ("js", "JS"):
        return True
    column = column_of(letter, number)
    hole = letter.isupper()
    if column is None or not (tables.holes if hole else tables.shafts)[tables.sub[step]].text(
        column
    ):
        return False
    takes_delta = hole and letter >= "K" and 0 < tables.main[step] < len(tables.delta)
    return not (takes_delta and number < 3)


def column_of(letter: str, number: int) -> str | None:
    """The column of a deviation table that serves a letter and a grade; None: there is none."""
    small = letter.lower()
    if letter == "j":
        return {5: "j5_j6_um", 6: "j5_j6_um", 7: "j7_um", 8: "j8_um"}.get(number)
    if letter == "J":
        return {6: "J6_um", 7: "J7_um", 8: "J8_um"}.get(number)
    if letter == "k":
        return "k4_to_k7_um" if 4 <= number <= 7 else "k_other_um"
    if letter.isupper() and small in ("k", "m", "n"):
        return f"{letter}_to_8_um" if number <= 8 else f"{letter}_over_8_um"
    return f"{letter}_um"


def covers(row: catalogue.Row, letter: str, grade: str, step: int) -> bool:
    """Whether a row of the exceptions speaks of this letter, grade and step of sizes."""
    end = tables_of().ends[step]
    if row.text("letter") not in ("", letter):
        return False
    if row.text("grade_from"):
        first, last = GRADES.index(row.text("grade_from")), GRADES.index(row.text("grade_to"))
        if not first <= GRADES.index(grade) <= last:
            return False
    return row.number("above_mm") < end <= row.number("up_to_mm")


def no_class(letter: str, grade: str, step: int) -> Iso286Error:
    """Why a class does not exist at a size: sizes that have it, else grades that exist there."""
    tables, name = tables_of(), f"{letter}{grade}"
    here = tables.shafts[tables.sub[step]].text("designation")
    side = "hole" if letter.isupper() else "shaft"
    others = [one for one in GRADES if one != grade and _given(letter, one, step)]
    spans = _spans(letter, grade)
    near = neighbours(letter, grade, step)
    expected = []
    if spans:
        expected.append(f"{name} is given for sizes {spans}")
    if others:
        expected.append(f"{letter} is given here for grades {_runs(others)}")
    if not expected:
        expected.append(f"{letter} is given for sizes {_letter_spans(letter)}")
    advice = f"nearest {side} classes here: {', '.join(near)}" if near else "state the limits"
    text = "; ".join(expected)
    return Iso286Error(name, f"ISO 286 gives no {name} for sizes {here} mm; {text}", text, advice)


@cache
def _spans(letter: str, grade: str) -> str:
    """The sizes at which a class is given, as words: ``above 24 up to 500 mm``."""
    return _joined([_given(letter, grade, step) for step in range(len(tables_of().ends))])


@cache
def _letter_spans(letter: str) -> str:
    steps = range(len(tables_of().ends))
    return _joined([any(_given(letter, grade, step) for grade in GRADES) for step in steps])


def _joined(flags: list[bool]) -> str:
    ends, spans, start = tables_of().ends, [], None
    for step, flag in enumerate([*flags, False]):
        if flag and start is None:
            start = 0 if step == 0 else ends[step - 1]
        elif not flag and start is not None:
            low = f"above {start} " if start else ""
            spans.append(f"{low}up to {ends[step - 1]} mm")
            start = None
    return " and ".join(spans)


def _runs(grades: list[str]) -> str:
    """Grades as words, runs of three and more drawn together: ``5 to 8``."""
    numbers = [GRADES.index(grade) for grade in grades]
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts: list[str] = []
    for run in runs:
        if len(run) > 2:
            parts.append(f"{GRADES[run[0]]} to {GRADES[run[-1]]}")
        else:
            parts.extend(GRADES[number] for number in run)
    return ", ".join(parts)


def neighbours(letter: str, grade: str, step: int) -> list[str]:
    """Up to two classes of neighbouring letters, same grade, that exist at the step."""
    order = [one.upper() for one in _LETTERS] if letter.isupper() else _LETTERS
    at, found = order.index(letter), []
    for way in (-1, 1):
        place = at + way
        while 0 <= place < len(order) and not _given(order[place], grade, step):
            place += way
        if 0 <= place < len(order):
            found.append(f"{order[place]}{grade}")
    return found
