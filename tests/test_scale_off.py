"""Sizes scaled off a print: certified fits, published residuals, oracles, faults by their line."""

from __future__ import annotations

import json
import math
import random
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

import scaler
from scaler.cli import desk_commands
from scaler.desk.least_squares import Undetermined, solve, t_probability, t_value
from scaler.desk.scale_off import ScaleOff, read_segments, rounded, scale_off
from scaler.problems import InputError

F = Fraction

# NIST Statistical Reference Datasets, linear regression: data and certified values, read in copies
# (two test suites of numerical libraries agree). Norris: y = B0 + B1 x, 36 rows.
NORRIS_X = [
    "0.2",
    "337.4",
    "118.2",
    "884.6",
    "10.1",
    "226.5",
    "666.3",
    "996.3",
    "448.6",
    "777.0",
    "558.2",
    "0.4",
    "0.6",
    "775.5",
    "666.9",
    "338.0",
    "447.5",
    "11.6",
    "556.0",
    "228.1",
    "995.8",
    "887.6",
    "120.2",
    "0.3",
    "0.3",
    "556.8",
    "339.1",
    "887.2",
    "999.0",
    "779.0",
    "11.1",
    "118.3",
    "229.2",
    "669.1",
    "448.9",
    "0.5",
]
NORRIS_Y = [
    "0.1",
    "338.8",
    "118.1",
    "888.0",
    "9.2",
    "228.1",
    "668.5",
    "998.5",
    "449.1",
    "778.9",
    "559.2",
    "0.3",
    "0.1",
    "778.1",
    "668.8",
    "339.3",
    "448.9",
    "10.8",
    "557.7",
    "228.3",
    "998.0",
    "888.8",
    "119.6",
    "0.3",
    "0.6",
    "557.6",
    "339.3",
    "888.0",
    "998.5",
    "778.9",
    "10.2",
    "117.6",
    "228.9",
    "668.4",
    "449.2",
    "0.2",
]


# --------------------------------------------------------------------------- certified fits


def test_norris() -> None:
    """NIST StRD Norris: both parameters, their errors and the residual sum of squares."""
    fit = solve([[F(1), F(x)] for x in NORRIS_X], [F(y) for y in NORRIS_Y])
    assert float(fit.parameters[0]) == pytest.approx(-0.262323073774029, rel=1e-14)
    assert float(fit.parameters[1]) == pytest.approx(1.00211681802045, rel=1e-14)
    errors = fit.errors()
    assert errors[0] == pytest.approx(0.232818234301152, rel=1e-14)
    assert errors[1] == pytest.approx(0.429796848199937e-03, rel=1e-14)
    assert float(fit.squares) == pytest.approx(26.6173985294224, rel=1e-14)
    assert fit.freedom == 34


@pytest.mark.parametrize(
    ("xs", "ys", "slope", "error", "squares"),
    [
        # NIST StRD NoInt1 and NoInt2: y = B1 x, a line through nought, as a scale is
        (range(60, 71), range(130, 141), 2.07438016528926, 0.165289256198347e-01, 127.272727272727),
        ((4, 5, 6), (3, 4, 4), 0.727272727272727, 0.420827318078432e-01, 0.272727272727273),
    ],
)
def test_lines_through_nought(
    xs: range, ys: range, slope: float, error: float, squares: float
) -> None:
    """The certified slope, its standard error and the residual sum of squares."""
    fit = solve([[F(x)] for x in xs], [F(y) for y in ys])
    assert float(fit.parameters[0]) == pytest.approx(slope, rel=1e-14)
    assert fit.errors()[0] == pytest.approx(error, rel=1e-14)
    assert float(fit.squares) == pytest.approx(squares, rel=1e-12)


def test_published_studentised_residuals() -> None:
    """A university lesson on outliers: four points, the last one out.

    Deleted studentised residuals -1.7431, 0.1217, 1.6361, -19.7990 as printed (copy); the points
    (1, 2.1) (2, 3.8) (3, 5.2) (10, 2.1) from memory, and they give just these.
    """
    fit = solve([[F(1), F(x)] for x in (1, 2, 3, 10)], [F(y) for y in ("2.1", "3.8", "5.2", "2.1")])
    found = [round(t or 0.0, 4) for t in fit.studentised]
    assert found == [-1.7431, 0.1217, 1.6361, -19.799]


@pytest.mark.parametrize(
    ("freedom", "value"),
    [(1, 12.706), (2, 4.303), (3, 3.182), (5, 2.571), (10, 2.228), (30, 2.042), (120, 1.980)],
)
def test_student_s_table(freedom: int, value: float) -> None:
    """95 % two-sided, as in any printed table of Student's t (from memory), and by scipy."""
    assert round(t_value(0.95, freedom), 3) == value


@given(st.floats(0.01, 0.9999), st.integers(1, 400))
def test_student_against_scipy(share: float, freedom: int) -> None:
    """The finite series against scipy's incomplete beta, both ways."""
    value = t_value(share, freedom)
    assert value == pytest.approx(stats.t.ppf((1 + share) / 2, freedom), rel=1e-9)
    assert t_probability(value, freedom) == pytest.approx(share, rel=1e-12)


@given(
    st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50), st.integers(-90, 90)),
             min_size=4, max_size=12)
)  # fmt: skip
def test_fit_against_numpy(rows: list[tuple[int, int, int]]) -> None:
    """Parameters, hats and external residuals against numpy's least squares, row by row left out."""
    x = numpy.array([row[:2] for row in rows], dtype=float)
    y = numpy.array([row[2] for row in rows], dtype=float)
    if numpy.linalg.matrix_rank(x) < 2 or numpy.linalg.cond(x) > 1e6:
        return
    fit = solve([[F(a), F(b)] for a, b, _ in rows], [F(c) for _, _, c in rows])
    wanted, _, _, _ = numpy.linalg.lstsq(x, y, rcond=None)
    assert [float(p) for p in fit.parameters] == pytest.approx(list(wanted), abs=1e-7)
    hat = x @ numpy.linalg.inv(x.T @ x) @ x.T
    assert [float(h) for h in fit.hats] == pytest.approx(list(numpy.diag(hat)), abs=1e-7)
    for at, t in enumerate(fit.studentised):
        keep = [n for n in range(len(rows)) if n != at]
        if t is None or math.isinf(t) or numpy.linalg.matrix_rank(x[keep]) < 2:
            continue
        part, _, _, _ = numpy.linalg.lstsq(x[keep], y[keep], rcond=None)
        left = y[keep] - x[keep] @ part
        s = math.sqrt(float(left @ left) / (len(keep) - 2))
        if s < 1e-6 or 1 - hat[at, at] < 1e-6:
            continue
        e = float(y[at] - x[at] @ wanted)
        assert t == pytest.approx(e / (s * math.sqrt(1 - hat[at, at])), rel=1e-5, abs=1e-6)


def test_columns_that_do_not_fix_the_parameters() -> None:
    """One column twice the other; fewer rows than columns; rows of unequal length."""
    with pytest.raises(Undetermined):
        solve([[F(n), F(2 * n)] for n in range(5)], [F(n) for n in range(5)])
    with pytest.raises(Undetermined):
        solve([[F(1), F(2)]], [F(1)])
    with pytest.raises(ValueError, match="do not go together"):
        solve([[F(1)], [F(1), F(2)]], [F(1), F(2)])


# ------------------------------------------------------------------------------------ prints


def sheet(tmp_path: Path, lines: str) -> Path:
    """A table of points."""
    path = tmp_path / "points.csv"
    path.write_text("name,x1,y1,x2,y2,known\n" + lines, encoding="utf-8")
    return path


def of(tmp_path: Path, lines: str, **options: Any) -> ScaleOff:
    """The answer to a table of points."""
    return scale_off(read_segments(sheet(tmp_path, lines), "mm"), **options)


def refused(tmp_path: Path, lines: str, **options: Any) -> str:
    """What is said of a table that cannot be used."""
    with pytest.raises(InputError) as caught:
        of(tmp_path, lines, **options)
    return str(caught.value)


def printed(seed: int, a: float, b: float, spread: float, turn: float = 0.0, count: int = 8) -> str:
    """A print made up with known scales: distances along x, along y and slanting, with errors."""
    chance = random.Random(seed)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    lines = []
    for number in range(count + 4):
        angle = (0, 90, 35, 130)[number % 4]
        full = chance.uniform(300, 4000)
        dx, dy = full * math.cos(math.radians(angle)) / a, full * math.sin(math.radians(angle)) / b
        dx, dy = dx * c - dy * s, dx * s + dy * c
        x, y = chance.uniform(0, 50), chance.uniform(0, 50)
        said = f"{full + chance.gauss(0, spread):.4f} mm" if number < count else ""
        lines.append(f"p.d{number},{x:.6f},{y:.6f},{x + dx:.6f},{y + dy:.6f},{said}")
    return "\n".join(lines) + "\n"


def test_unequal_shrinkage_is_found(tmp_path: Path) -> None:
    """24 along x and 24.3 along y, no error: both scales and the rest come out as they went in."""
    answer = of(tmp_path, printed(1, 24.0, 24.3, 0.0))
    assert answer.scale_x == pytest.approx(24.0, rel=1e-6)
    assert answer.scale_y == pytest.approx(24.3, rel=1e-6)
    assert len(answer.derived) == 4
    for item in answer.derived:
        wanted = math.hypot(24.0 * float(item.segment.dx), 24.3 * float(item.segment.dy))
        assert item.size == pytest.approx(wanted, rel=1e-6) and item.uncertainty < 0.01


@pytest.mark.parametrize("seed", range(6))
def test_against_scipy_s_least_squares(tmp_path: Path, seed: int) -> None:
    """Slanting distances with errors: scales, spread and prediction against scipy and numpy."""
    segments = read_segments(sheet(tmp_path, printed(seed, 12.1, 11.8, 4.0)), "mm")
    answer = scale_off(segments)
    known = [s for s in segments if s.known is not None]
    x = numpy.array([[float(s.dx), float(s.dy)] for s in known])
    y = numpy.array([float(s.known or 0) for s in known])

    def left(p: Any) -> Any:
        return y - numpy.hypot(p[0] * x[:, 0], p[1] * x[:, 1])

    fit = optimize.least_squares(left, [12, 12], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert [answer.scale_x, answer.scale_y] == pytest.approx(list(fit.x), rel=1e-8)
    freedom = len(known) - 2
    s = math.sqrt(float(fit.fun @ fit.fun) / freedom)
    assert answer.deviation == pytest.approx(s, rel=1e-7)
    inverse = numpy.linalg.inv(fit.jac.T @ fit.jac)
    for item in answer.derived:
        dx, dy = float(item.segment.dx), float(item.segment.dy)
        size = math.hypot(fit.x[0] * dx, fit.x[1] * dy)
        g = numpy.array([fit.x[0] * dx * dx / size, fit.x[1] * dy * dy / size])
        half = stats.t.ppf(0.975, freedom) * s * math.sqrt(1 + float(g @ inverse @ g))
        assert item.size == pytest.approx(size, rel=1e-8)
        assert item.uncertainty == pytest.approx(half, rel=1e-6)


def test_prediction_interval_holds_what_it_promises(tmp_path: Path) -> None:
    """Over 300 prints made up with an error of 4 mm, 95 % of the true sizes lie within ±."""
    inside = total = 0
    for seed in range(300):
        chance = random.Random(1000 + seed)
        lines, true = [], {}
        for number in range(9):
            angle = (0, 90, 40)[number % 3]
            full = chance.uniform(500, 4000)
            dx = full * math.cos(math.radians(angle)) / 20
            dy = full * math.sin(math.radians(angle)) / 20.2
            error = chance.gauss(0, 4.0)
            if number < 6:
                lines.append(f"p.d{number},0,0,{dx:.6f},{dy:.6f},{full + error:.4f}")
            else:  # a reading of the same kind: the true size and one more error
                lines.append(f"p.d{number},0,0,{dx:.6f},{dy:.6f},")
                true[f"p.d{number}"] = full + error
        answer = of(tmp_path, "\n".join(lines) + "\n")
        for item in answer.derived:
            inside += abs(item.size - true[item.segment.name]) <= item.uncertainty
            total += 1
    # 900 trials at 95 %: standard deviation of the share 0.7 %
    assert 0.925 <= inside / total <= 0.975


def test_a_turned_print(tmp_path: Path) -> None:
    """A print turned by 3 degrees: found from its level and upright lines, or given."""
    lines = printed(3, 20.0, 20.2, 0.0, turn=3.0).splitlines()
    axis_only = "\n".join(line for n, line in enumerate(lines) if n % 4 < 2) + "\n"
    found = of(tmp_path, axis_only, turn_deg=None)
    assert found.turn_deg == pytest.approx(3.0, abs=1e-4)
    given_ = of(tmp_path, "\n".join(lines) + "\n", turn_deg=3.0)
    for answer in (found, given_):
        assert answer.scale_x == pytest.approx(20.0, rel=1e-5)
        assert answer.scale_y == pytest.approx(20.2, rel=1e-5)
    slanting = "p.a,0,0,10,10,200\np.b,0,0,10,-9,190\np.c,0,0,8,10,190\n"
    assert "within 10° of level or upright" in refused(tmp_path, slanting, turn_deg=None)


def test_one_scale(tmp_path: Path) -> None:
    """With one scale the fit is the line through nought of NIST StRD NoInt1."""
    lines = "".join(
        f"p.d{x},0,0,{x},0,{y}\n" for x, y in zip(range(60, 71), range(130, 141), strict=True)
    )
    answer = of(tmp_path, lines + "p.free,0,0,65,0,\n", one_scale=True)
    assert answer.scale_x == answer.scale_y == pytest.approx(2.07438016528926, rel=1e-13)
    assert answer.error_x == pytest.approx(0.165289256198347e-01, rel=1e-12)
    assert answer.deviation == pytest.approx(3.56753034006338, rel=1e-12)  # as certified


def test_an_outlier_is_named_and_stays(tmp_path: Path) -> None:
    """One dimension wrong by 60 mm: named with its line, the size that the rest say, status 1."""
    lines = printed(5, 20.0, 20.2, 1.0, count=10).splitlines()
    cells = lines[4].split(",")
    cells[5] = f"{float(cells[5].split()[0]) + 60:.3f} mm"
    lines[4] = ",".join(cells)
    path = sheet(tmp_path, "\n".join(lines) + "\n")
    answer = scale_off(read_segments(path))
    assert [item.segment.name for item in answer.outliers] == ["p.d4"]
    (note,) = answer.notes
    assert note.code == "outlier" and note.place is not None and note.place.line == 6
    assert len(answer.known) == 10
    done = CliRunner().invoke(desk_commands.scale_off, [str(path)])
    assert done.exit_code == 1 and "points.csv, line 6" in done.stderr


# -------------------------------------------------------------------------------------- faults


def test_too_few_known(tmp_path: Path) -> None:
    """None, one, and two for two scales: each told with its line and the cure."""
    free = "p.c,0,0,5,5,\n"
    assert "no distance is known" in refused(tmp_path, free)
    one = refused(tmp_path, "p.a,0,0,10,0,200\n" + free)
    assert "only one distance is known: p.a (line 2)" in one
    two = "p.a,0,0,10,0,200\np.b,0,0,0,10,202\n" + free
    said = refused(tmp_path, two)
    assert "two known distances for two scales" in said and "p.b (line 3)" in said
    answer = of(tmp_path, two, reading=0.2)
    assert answer.freedom == 0 and answer.scale_y == pytest.approx(20.2)
    # ±0.2 of a print unit at each of two ends: 0.1 · √2 · 20.1 mm is one standard deviation
    assert answer.deviation == pytest.approx(0.1 * math.sqrt(2) * 20.1)
    assert answer.factor == pytest.approx(stats.norm.ppf(0.975))
    assert of(tmp_path, two, one_scale=True).freedom == 1


@pytest.mark.parametrize(("axis", "other"), [("x", "y"), ("y", "x")])
def test_known_distances_all_one_way(tmp_path: Path, axis: str, other: str) -> None:
    """All along x tell nothing of y; said with the lines."""
    ends = ["{n}0,0" if axis == "x" else "0,{n}0"] * 3
    lines = "".join(f"p.d{n},0,0,{end.format(n=n)},{n * 200}\n" for n, end in enumerate(ends, 1))
    said = refused(tmp_path, lines + "p.f,0,0,5,5,\n")
    assert f"run along {axis}, so nothing tells the scale along {other}" in said
    assert "p.d1 (line 2)" in said


def test_rows_that_cannot_be_read(tmp_path: Path) -> None:
    """Numbers, names, sizes and doubles: every one in one go."""
    said = refused(
        tmp_path,
        "p.a,0,0,ten,0,200\n,0,0,1,1,\np.c,3,3,3,3,\np.d,0,0,1,0,2 inn\np.e,0,0,1,0,5-Aug\n"
        "p.f,0,0,1,0,\np.f,0,0,2,0,\np.g,0,0,1,0,0 mm\np.h,0,0,1e999999999,0,\n",
    )
    for words in (
        "line 2: x2 is no number", "line 3: the row has no name",
        "line 4: p.c: both ends are the same point", "line 5: the known size cannot be read",
        "line 6: a date where the known size was meant", "line 8: 'p.f' stands twice",
        "line 9: a known size of nought", "line 10: x2 is no number",
    ):  # fmt: skip
        assert words in said
    path = tmp_path / "bad.csv"
    path.write_text("name,x1,y1,x2\np,0,0,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="no column 'y2'"):
        read_segments(path)


def test_scales_that_differ_too_much(tmp_path: Path) -> None:
    """A tenth between x and y is no shrinkage of paper: a note to look at."""
    answer = of(tmp_path, printed(2, 20.0, 22.0, 0.0))
    assert [note.code for note in answer.notes] == ["unequal"]


# -------------------------------------------------------------------------------------- output


def test_sizes_go_into_a_model(tmp_path: Path) -> None:
    """The rows are read by a model: full size, uncertainty and origin."""
    answer = of(tmp_path, printed(4, 20.0, 20.2, 2.0))
    (tmp_path / "sizes.csv").write_text(answer.sizes().csv(), encoding="utf-8")
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:8"\ninclude = ["sizes.csv"]\n[part.p]\nmaterial = "steel"\n',
        encoding="utf-8",
    )
    model = scaler.load(tmp_path)
    assert len(model.sizes) == len(answer.derived) == 4
    for item in answer.derived:
        size = model.sizes[item.segment.name]
        assert size.full is not None and size.uncertainty is not None
        assert abs(float(size.full) - item.size) <= item.uncertainty / 10
        assert item.uncertainty <= float(size.uncertainty) <= item.uncertainty * 1.11
        assert size.origin == "scaled off a print"


def test_names_without_a_part(tmp_path: Path) -> None:
    """A part for all, or a fault for each name that says none."""
    lines = "a,0,0,10,0,200\nb,0,0,0,10,201\nc,0,0,20,0,401\nfree size,0,0,5,5,\n"
    answer = of(tmp_path, lines)
    with pytest.raises(InputError, match="does not say of which part"):
        answer.sizes()
    assert [row.id for row in answer.sizes("frame").rows] == ["frame.free_size"]


@given(st.floats(0.001, 1e5), st.floats(1e-4, 1e4))
def test_rounding_never_narrows(size: float, uncertainty: float) -> None:
    """The uncertainty for print is no smaller, at most a tenth larger, and the size moves by less."""
    text, plus_minus = rounded(size, uncertainty)
    if uncertainty >= 1:
        assert len(text.partition(".")[2]) <= 1
    assert float(plus_minus) >= uncertainty * (1 - 1e-6)
    assert float(plus_minus) <= uncertainty * 1.11 + 1e-9 or uncertainty > 10
    assert abs(float(text) - size) <= 0.51 * max(
        uncertainty / 10, 10 ** -len(text.partition(".")[2])
    )


def test_command_in_every_format(tmp_path: Path) -> None:
    """Table, Markdown, JSON and CSV; sizes and picture as files."""
    path = sheet(tmp_path, printed(7, 20.0, 20.2, 2.0))
    for format_ in ("table", "markdown"):
        done = CliRunner().invoke(desk_commands.scale_off, [str(path), "--format", format_])
        assert done.exit_code == 0 and "6 degrees of freedom" in done.output
    done = CliRunner().invoke(desk_commands.scale_off, [str(path), "--format", "json"])
    answer = json.loads(done.output)
    assert answer["degrees_of_freedom"] == 6 and len(answer["sizes"]) == 4
    files = ["--sizes", str(tmp_path / "s.csv"), "--picture", str(tmp_path / "r.svg")]
    done = CliRunner().invoke(desk_commands.scale_off, [str(path), "--format", "csv", *files])
    assert done.output == (tmp_path / "s.csv").read_text(encoding="utf-8")
    picture = ElementTree.fromstring((tmp_path / "r.svg").read_text(encoding="utf-8"))
    words = [element.text for element in picture.iter("{http://www.w3.org/2000/svg}text")]
    for number in range(8):
        assert f"p.d{number}" in words
    bad = CliRunner().invoke(desk_commands.scale_off, [str(path), "--turn", "much"])
    assert bad.exit_code == 2


def test_names_are_escaped_in_the_picture(tmp_path: Path) -> None:
    """A name with markup stays words."""
    lines = '"<b>&""x",0,0,10,0,200\nb,0,0,0,10,201\nc,0,0,20,0,401\n'
    picture = of(tmp_path, lines).picture()
    root = ElementTree.fromstring(picture)
    assert '<b>&"x' in [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
