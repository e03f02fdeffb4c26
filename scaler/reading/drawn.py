"""Full sizes as drawings give them: lengths, and threads by their names."""

from __future__ import annotations

from scaler.measures.lengths import Length, LengthError, format_mm, parse_length
from scaler.reading.grammar import GrammarError


def is_bare(text: str) -> bool:
    """Whether a text is a number to which only the unit is wanting.

    >>> is_bare("2 1/64"), is_bare("2 in"), is_bare("2 BA")
    (True, False, False)
    """
    try:
        parse_length(text)
    except LengthError:
        try:
            parse_length(text, "mm")
        except LengthError:
            return False
        return True
    return False


def thread_length(text: str, unit: str | None = None) -> Length:
    """The full size of a thread: a length, or the name of a thread for its outside diameter.

    Raises LengthError for a number that wants a unit, GrammarError for the name of no thread.

    >>> thread_length("2 BA").normal, thread_length("5/8", "in").normal
    ('2 BA = 4.7 mm', '5/8 in')
    """
    try:
        return parse_length(text, unit)
    except LengthError as error:
        from scaler.trade.threads import UnknownThread, find_thread

        try:
            thread = find_thread(text)
        except UnknownThread as unknown:
            if is_bare(text) or not any(c.isalpha() for c in text):
                raise error from None
            near = " or ".join(f"'{name}'" for name in unknown.nearest[:3])
            raise GrammarError(
                text,
                f"{unknown.reason}, and it is no length",
                "a length with its unit, or the name of a thread",
                f"did you mean {near}?" if near else "write 5/8 in, M16, 2 BA or 1/4 x 40 ME",
            ) from None
        size = format_mm(thread.major_mm, 4).rstrip("0").rstrip(".")
        return Length(thread.major_mm, text, f"{thread.designation} = {size} mm")
