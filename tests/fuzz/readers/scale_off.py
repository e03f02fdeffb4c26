"""Points measured on a print: the table, and all that is worked out of it."""

from __future__ import annotations

from collections.abc import Iterator

from readers import put
from scaler.desk.scale_off import scale_off
from scaler.desk.scale_off_read import read_segments
from scaler.desk.scale_off_text import text_of
from scaler.problems import InputError, render_full

LONGEST = 800
INPUTS = 40_000
WORDS = (
    "name,x1,y1,x2,y2,known", ",", ";", "\t", "\n", '"', "0", "10.5", "-3", "999999999999", "0.000000000001",
    "4 ft", "1 in", "5-Aug", "1979-05-27", "1e999999", "1/0", "nan", "#REF!", "a.x", "b.y", "\ufeff", "=",
)  # fmt: skip


def read(data: bytes) -> object:
    """The answer, as text, as data, as sizes and as a picture; one scale and two, turned and not."""
    path = put("points.csv", data)
    done: list[object] = []
    try:
        segments = read_segments(path, "mm")
    except InputError as error:
        return [render_full(problem) for problem in error.problems]
    for one, turn, reading in ((True, 0.0, 0.5), (False, None, None)):
        try:
            answer = scale_off(segments, one_scale=one, turn_deg=turn, reading=reading)
            done += [text_of(answer), answer.as_dict(), answer.picture()]
            done.append(answer.sizes("part").csv())
        except InputError as error:
            done += [render_full(problem) for problem in error.problems]
    return done


def seeds() -> Iterator[bytes]:
    """Small prints: with and without enough known distances, turned, with an outlier."""
    head = "name,x1,y1,x2,y2,known\n"
    for rows in (
        "a.x,0,0,100,0,1 ft\na.y,0,0,0,100,1 ft\nb.z,3,4,10.5,7,\n",
        "a.x,0,0,100,0,1 ft\nb.x,0,0,50,0,6 in\nc.x,0,0,0,33,4 in\nd.x,0,0,0,66,8 in\ne.q,1,2,3,4,\n",
        "a.x,0,0,100,1,12\nb.x,0,50,50,51,6\nc.x,0,0,-1,100,12\nd.x,10,0,9,50,7\ne.q,1,2,3,4,\n",
        "a.x,0,0,100,0,5-Aug\n", "a.x,0,0,0,0,1 ft\n", "x,1e9,0,1,1,\n", "",
        "a.x,0,0,1,0,1 ft\na.y,0,0,100000000000,0,1 ft\nb,0,0,0,0.000000000001,1 thou\n",
    ):  # fmt: skip
        yield (head + rows).encode()
