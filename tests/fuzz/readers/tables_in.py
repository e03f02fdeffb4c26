"""A person's own tables of sizes: CSV, and workbooks.

An input that begins with PK is a workbook as it stands; one that begins with a line ``=== name``
holds the parts of a workbook, and is packed into one; any other is CSV.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from functools import cache

from readers import joined, parted, put
from scaler.desk.tables_in import read_sizes
from scaler.problems import InputError, render_full

LONGEST = 5000
INPUTS = 50_000
WORDS = (
    "part,size,full,kind", "id,full_mm_rational,chosen_mm_rational", ",", ";", "\t", "\n", '"', "1 in", "12.7",
    "5-Aug", "1979-05-27", "#REF!", "=A1", "'=", "1e999999", "1/0", "nan", "<c ", 'r="A1"', 't="s"', "<v>", "</v>",
    'ref="A1:XFD1048576"', "<mergeCell ", "<row ", 'r="1048576"', "=== xl/worksheets/sheet1.xml\n", "<f>", "</f>",
    "<!DOCTYPE", "<!ENTITY", "&a;", '<dimension ref="A1"/>', "<hyperlink ", 't="e"', 't="b"', 't="str"', "</c>",
    "=== xl/sharedStrings.xml\n", "=== xl/styles.xml\n", "1900-02-30", "\ufeff",
)  # fmt: skip


def read(data: bytes) -> object:
    """The sizes of a table with a unit for bare numbers, filled down and not."""
    if data.startswith(b"PK"):
        path = put("sizes.xlsx", data)
    elif data.startswith(b"==="):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as book:
            for name, content in dict(parted(data)).items():
                book.writestr(name, content.rstrip(b"\n"))
        path = put("sizes.xlsx", packed.getvalue())
    else:
        path = put("sizes.csv", data)
    done: list[object] = []
    for part, fill in (("", False), ("spare", True)):
        try:
            found = read_sizes(path, unit="mm", part=part, fill_down=fill)
        except InputError as error:
            done += [render_full(problem) for problem in error.problems]
        else:
            done += [found.csv(), found.choices_csv(), [render_full(note) for note in found.notes]]
    return done


@cache
def workbook() -> bytes:
    """A small workbook with text, numbers, a date, a formula and a merged block."""
    import datetime

    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    for row in (
        ["part", "size", "full", "kind", "note"],
        ["axle", "journal", "1 3/8 in", "external", "=A1"],
        ["axle", "length", 12.5, "length", datetime.date(2024, 8, 5)],
        [None, "width", 7, "length", True],
    ):
        sheet.append(row)
    sheet.merge_cells("A6:C7")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def seeds() -> Iterator[bytes]:
    """Tables in CSV, a workbook as saved, and its parts."""
    for text in (
        "part,size,full,kind\naxle,journal,1 in,external\naxle,length,5-Aug,length\n",
        "Part;Size;Full (in)\naxle;journal;1 3/8\n;length;2\n",
        "id,full_mm,full_mm_rational,chosen_mm,chosen_mm_rational\naxle.a,25.4,127/5,3.2,16/5\n",
        "A title\n\npart,size,full\naxle,a,#REF!\naxle,b,'=1\n", "part,size,full\n\"a\nb\",c,1 mm\n",
    ):  # fmt: skip
        yield text.encode()
    data = workbook()
    yield data
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        parts = {name: book.read(name) for name in book.namelist() if "theme" not in name}
    parts.pop("docProps/app.xml", None)
    parts.pop("docProps/core.xml", None)
    yield joined(parts)
