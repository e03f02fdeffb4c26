"""DXF drawings: their dimensions as sizes."""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cache

from readers import put
from scaler.desk.tables_dxf import read_dxf
from scaler.problems import InputError, render_full

LONGEST = 4000
INPUTS = 20_000
WORDS = (
    "0\nSECTION\n", "2\nHEADER\n", "2\nENTITIES\n", "0\nENDSEC\n", "0\nEOF\n", "0\nDIMENSION\n", "9\n$INSUNITS\n",
    "70\n", "9\n$ACADVER\n1\nAC1015\n", "1\n<>\n", "1\n1 3/8\n", "13\n", "23\n", "14\n", "24\n", "10\n", "1e308", "nan",
    "1e999999", "AC1032", "5\nFFFFFFFFFFFFFFFF\n", "3\nSTANDARD\n", "100\nAcDbDimension\n", "%%c", "1000\n", "1001\nACAD\n",
)  # fmt: skip


def read(data: bytes) -> object:
    """The dimensions of a drawing."""
    path = put("drawing.dxf", data)
    try:
        found = read_dxf(path, "frame", "mm")
    except InputError as error:
        return [render_full(problem) for problem in error.problems]
    return found.csv(), [render_full(note) for note in found.notes]


DRAWING = """0
SECTION
2
HEADER
9
$ACADVER
1
AC1009
9
$INSUNITS
70
4
0
ENDSEC
0
SECTION
2
ENTITIES
0
DIMENSION
8
0
1
<>
70
0
10
0
20
5
13
0
23
0
14
12.5
24
0
0
DIMENSION
8
sheet
1
%%c1 3/8
70
3
10
0
20
0
15
25.4
25
0
0
ENDSEC
0
EOF
"""


@cache
def full_drawing() -> bytes:
    """A drawing with a dimension of each sort, as it is saved."""
    import ezdxf

    document = ezdxf.new("R2000", setup=True, units=4)
    space = document.modelspace()
    space.add_linear_dim(base=(0, 2), p1=(0, 0), p2=(3, 0)).render()
    space.add_diameter_dim(center=(0, 0), radius=2, angle=45).render()
    space.add_radius_dim(center=(0, 0), radius=2, angle=45).render()
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def seeds() -> Iterator[bytes]:
    """Small drawings by hand."""
    for old, new in (
        ("", ""), ("12.5", "1e308"), ("12.5", "nan"), ("70\n4\n", "70\n1\n"), ("AC1009", "AC1015"),
        ("0\nEOF\n", ""), ("<>", "1 3/8 in"), ("70\n3\n", "70\n99\n"), ("$INSUNITS", "$X"),
    ):  # fmt: skip
        yield DRAWING.replace(old, new).encode() if old else DRAWING.encode()
