"""The answer of ``scale-off`` as tables for a person."""

from __future__ import annotations

from scaler.desk.scale_off import ScaleOff, rounded
from scaler.report import markdown_table, text_table


def text_of(answer: ScaleOff, format_: str = "table") -> str:
    """Scales, the known distances with what is left over, and the sizes scaled off."""
    table = markdown_table if format_ == "markdown" else text_table
    lines = [_scales(answer)]
    known = []
    for item in answer.known:
        t = "-" if item.studentised is None else f"{item.studentised:+.2f}"
        known.append(
            (
                item.segment.name,
                item.segment.known_text,
                f"{item.fitted:.2f}",
                f"{item.residual:+.2f}",
                t,
                "outlier" if item.outlier else "",
            )
        )
    heads = ("known", "as given", "fitted mm", "residual mm", "studentised", "")
    lines += ["", table(heads, known, (2, 3, 4))]
    sizes = []
    for size in answer.derived:
        value, plus_minus = rounded(size.size, size.uncertainty)
        sizes.append((size.segment.name, value, f"± {plus_minus}"))
    if sizes:
        lines += ["", table(("scaled off", "full size mm", "95 %"), sizes, (1, 2))]
    return "\n".join(lines)


def _scales(answer: ScaleOff) -> str:
    def scale(name: str, value: float, error: float | None) -> str:
        give = "" if error is None else f" ± {2 * error:.2g}"
        return f"scale along {name}: {value:.6g}{give} mm full size to one unit of the print"

    lines = []
    if answer.one_scale:
        lines.append(scale("x and y", answer.scale_x, answer.error_x))
    else:
        lines.append(scale("x", answer.scale_x, answer.error_x))
        lines.append(scale("y", answer.scale_y, answer.error_y))
        lines.append(f"y over x: {answer.scale_y / answer.scale_x:.5f}")
    if answer.turn_deg:
        lines.append(f"turn taken out: {answer.turn_deg:.3f}°")
    lines.append(
        f"residual standard deviation {answer.deviation:.3g} mm, {answer.freedom} degrees of "
        f"freedom; 95 % is {answer.factor:.3g} standard errors"
    )
    return "\n".join(lines)
