"""Tables of a model folder: rows with their lines, against the csv module of the standard library."""

from __future__ import annotations

import csv
import io
from typing import Literal

from hypothesis import given
from hypothesis import strategies as st

from scaler.reading.csv_text import parse_csv
from scaler.reading.toml_lines import Source


def test_csv_rows_after_a_bad_one() -> None:
    """A row that cannot be read costs only itself: the line after it is read again."""
    text = 'part,size,full\na,b,"1\na,c,2\na,d,"3"x\na,e,4,5\na,f,"5"\n'
    table, problems = parse_csv(Source("rows.csv", text))
    assert table is not None
    assert [(row.line, row.cells["size"]) for row in table.rows] == [(3, "c"), (6, "f")]
    assert [problem.place.line for problem in problems if problem.place] == [2, 4, 5]


CELLS = st.text(st.sampled_from("ab,;\t\"'# 7/8½\n"), max_size=8).map(lambda text: text.strip())


@given(
    st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=5),
    st.sampled_from(",;\t"),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]),
)
def test_tables_as_spreadsheets_write_them(
    rows: list[tuple[str, str, str]], delimiter: str, quoting: Literal[0, 1, 2]
) -> None:
    """What the standard library's csv module writes is read back, and each cell has its place."""
    rows = [row for row in rows if any(row) and not row[0].startswith("#")]
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator="\n")
    writer.writerows([("first", "second", "third"), *rows])
    table, problems = parse_csv(Source("rows.csv", text.getvalue()))
    assert problems == [] and table is not None
    assert [tuple(row.cells.values()) for row in table.rows] == rows
    for row in table.rows:
        for heading, cell in row.cells.items():
            mark = table.mark(row.line, heading)
            assert mark.span is not None
            if cell:
                shown = mark.excerpt[slice(*mark.span)].replace('""', '"')
                assert shown == cell.split("\n")[0] or "\n" in cell
            line = text.getvalue().split("\n")[mark.place.line - 1]
            assert line[mark.place.column - 1 :].startswith(mark.excerpt[slice(*mark.span)])


def test_csv_cells() -> None:
    """Remarks, blank lines and cells, quotes, separators and line ends inside quotes."""
    text = (
        '# sizes\n\n part ; size;full;note;;\n#a;b;c\n a ; b ;"1 1/2"""; "one; two\n# three"\n'
        '\n a;c; 7/8" \n;;;\na;d;1;2;;;\n'
    )
    table, problems = parse_csv(Source("rows.csv", text))
    assert problems == [] and table is not None
    assert table.headings == ("part", "size", "full", "note", "", "")
    rows = [
        (row.line, row.cells["size"], row.cells["full"], row.cells["note"]) for row in table.rows
    ]
    assert rows == [
        (5, "b", '1 1/2"', "one; two\n# three"),
        (8, "c", '7/8"', ""),
        (10, "d", "1", "2"),
    ]
    for row in table.rows:
        mark = table.mark(row.line, "size")
        assert mark.span is not None
        assert mark.excerpt[slice(*mark.span)] == row.cells["size"]
        assert mark.place.line == row.line and mark.place.column == mark.span[0] + 1
