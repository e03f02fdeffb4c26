"""The shell of every page: escaping, the style sheet, papers. Nothing is fetched from anywhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape

from scaler.cards.pictures import STYLE as PICTURE_STYLE


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper [mm], its margins, and how large the print on it is [pt]."""

    name: str
    width: float
    height: float
    margin: float
    body: float
    small: float
    figure: float
    title: float
    css: str

    @property
    def inner(self) -> float:
        """Width between the margins [mm]."""
        return self.width - 2 * self.margin

    @property
    def narrow(self) -> bool:
        """Whether columns have to be put under each other."""
        return self.width < 160


PAPERS = {
    "A4": Paper("A4", 210.0, 297.0, 10.0, 11.0, 9.5, 19.0, 30.0, "A4"),
    "A5": Paper("A5", 148.0, 210.0, 8.0, 9.5, 8.5, 15.0, 22.0, "A5"),
    "letter": Paper("letter", 215.9, 279.4, 10.0, 11.0, 9.5, 19.0, 30.0, "letter"),
}
"""ISO 216 A4 and A5 (210 × 297 and 148 × 210 mm); US letter 8 1/2 × 11 in (ANSI/ASME Y14.1)."""


def paper_of(name: str) -> Paper:
    """A paper by its name. Raises ValueError for one that is not known, naming those that are."""
    for known, paper in PAPERS.items():
        if known.lower() == name.lower():
            return paper
    raise ValueError(f"'{name[:40]}' is no paper here; known: {', '.join(PAPERS)}")


def esc(text: object) -> str:
    """Text made safe for a page, also inside attributes."""
    return escape(str(text), quote=True)


@lru_cache(maxsize=4096)
def css_text(text: str) -> str:
    """Text made safe inside the quotes of a style sheet: all but letters, figures and spaces escaped.

    >>> css_text('a "b"')
    'a \\\\22 b\\\\22 '
    """
    return "".join(c if c.isalnum() or c == " " else f"\\{ord(c):x} " for c in text)


def keys(letters: Sequence[str]) -> str:
    """Letters of rows, each in its ring, as a page shows them."""
    return " ".join(f'<span class="key">{esc(letter)}</span>' for letter in letters if letter)


_SHARED = """
*{box-sizing:border-box}
html{background:#fff;color:#000;-webkit-print-color-adjust:exact;print-color-adjust:exact}
body{margin:0;font-family:Arial,"Liberation Sans","DejaVu Sans",sans-serif;line-height:1.25;
font-variant-numeric:tabular-nums;overflow-wrap:break-word}
h1,h2,h3,p,ul,ol,table,figure{margin:0;padding:0}
table{border-collapse:collapse;width:100%}
th,td{text-align:left;vertical-align:top;font-weight:400}
a{color:#0b3d91}
a:focus-visible,summary:focus-visible,[tabindex]:focus-visible{outline:3px solid #0b3d91;
outline-offset:2px}
small{font-size:inherit}
svg.pic{display:block;max-width:100%;height:auto}
.skip{position:absolute;left:-999em}
.skip:focus{left:0;top:0;background:#fff;padding:.5em;z-index:2}
@media print{nav,.skip{display:none}a{color:#000;text-decoration:none}}
"""


def card_style(paper: Paper) -> str:
    """The style sheet of a card on a paper."""
    body, small, figure, title = paper.body, paper.small, paper.figure, paper.title
    small_sheet = paper.narrow
    return f"""{_SHARED}{PICTURE_STYLE}
@page{{size:{paper.css} portrait;margin:{paper.margin}mm;
@bottom-right{{content:"sheet " counter(page) " of " counter(pages);font:8pt Arial,sans-serif}}}}
body{{font-size:{body}pt}}
.card{{width:{paper.inner}mm;margin:{paper.margin}mm auto;break-after:page}}
.card:last-of-type{{break-after:auto}}
@media print{{.card{{margin:0 auto}}body{{width:auto}}}}
nav{{width:{paper.inner}mm;margin:4mm auto 0;font-size:{body}pt}}
nav a{{margin-right:1.5em}}
.head{{display:flex;justify-content:space-between;align-items:stretch;border:.8mm solid #000;
border-bottom-width:.4mm}}
.head>div{{padding:1.5mm 3mm 2mm;min-width:0}}
.head h1{{font-size:{title}pt;line-height:1.05;font-weight:700}}
.of{{font-size:{small}pt}}
.sub{{font-size:{body + 1}pt;margin-top:.8mm}}
.off{{flex:none;min-width:{title * 0.95}mm;border-left:.4mm solid #000;text-align:center;
padding:1mm 2mm;font-size:{body}pt;display:flex;flex-direction:column;justify-content:center}}
.off b{{font-size:{title}pt;line-height:1;display:block}}
.strip{{border:.8mm solid #000;border-top:0;padding:1.6mm 3mm;font-size:{body + 1}pt}}
.strip b{{font-size:{body + 3}pt}}
.strip .key{{margin-right:1.2mm}}
.care{{border:.8mm solid #000;border-left-width:3mm;margin-top:2.5mm;padding:1.2mm 2.5mm;
break-inside:avoid}}
.care h2{{font-size:{body}pt;text-transform:uppercase;letter-spacing:.04em;display:inline-block}}
.care p{{font-size:{small}pt;display:inline}}
section>h2{{font-size:{body}pt;text-transform:uppercase;letter-spacing:.05em;margin:3.2mm 0 1mm;
border-bottom:.4mm solid #000;padding-bottom:.5mm;break-after:avoid}}
.sizes{{table-layout:fixed}}
.sizes thead th{{font-size:{small}pt;padding:0 1.2mm .6mm;border-bottom:.25mm solid #000}}
.sizes tr{{break-inside:avoid}}
.sizes td,.sizes tbody th{{border-bottom:.25mm solid #000;padding:.9mm 1mm .8mm}}
.sizes .k{{width:5%}}.sizes .nm{{width:{24 if small_sheet else 22.5}%}}
.sizes .mk{{width:{28 if small_sheet else 35.5}%}}
.sizes .lm{{width:{21 if small_sheet else 18}%}}
.by{{text-align:right;font-size:{small}pt;margin-top:1.2mm;white-space:nowrap}}
.key{{display:inline-block;min-width:1.5em;height:1.5em;line-height:1.42em;border:.35mm solid #000;
border-radius:.75em;text-align:center;font-weight:700;padding:0 .25em}}
.name{{font-size:{body + 1.5}pt;font-weight:700;line-height:1.1}}
.how{{font-size:{small}pt;display:block}}
.make>span{{display:flex;flex-wrap:wrap;align-items:center;gap:0 1.5mm}}
.make b{{font-size:{figure}pt;line-height:1;white-space:nowrap}}
.make .u{{font-size:{body}pt}}
.other{{display:{"inline-block" if small_sheet else "block"};margin-right:1.5mm;font-size:{body}pt;white-space:nowrap}}
.near{{display:{"inline-block" if small_sheet else "block"};font-size:{small - 0.5}pt;
white-space:{"normal" if small_sheet else "nowrap"}}}
.lims{{white-space:{"normal" if small_sheet else "nowrap"};font-weight:700;font-size:{body + 1}pt;line-height:1.12}}
.lr{{display:block}}
.lims small{{font-weight:400;font-size:{small}pt;margin-left:1mm;
display:inline-block}}
.tag{{display:inline-block;border:.35mm solid #000;font-size:{small}pt;font-weight:700;
padding:0 1mm;margin-top:.4mm}}
.tag.full{{background:#000;color:#fff}}
.boxes{{display:flex;flex-wrap:wrap;gap:1mm}}
.boxes span{{flex:1 1 42%;min-width:{11 if small_sheet else 15}mm;
min-height:{figure * 0.52}mm;border:.3mm solid #000;font-size:{small - 1}pt;padding:.2mm .6mm;
line-height:1.05}}
.boxes.many span{{min-height:{figure * 0.34}mm}}
.boxes span b{{display:block;font-size:{small + (-0.5 if small_sheet else 1)}pt;
white-space:nowrap}}
.two{{columns:2;column-gap:5mm}}
{"" if small_sheet else ".beside{display:grid;grid-template-columns:minmax(0,1fr) fit-content(60%);gap:0 5mm}"}
.beside{{break-inside:avoid}}.beside>section{{min-width:0}}.beside .two{{columns:{2 if small_sheet else 1}}}
.tools{{list-style:none}}
.tools li{{break-inside:avoid;padding:.7mm 0 .7mm 6mm;position:relative}}
.tools li::before{{content:"";position:absolute;left:0;top:1mm;width:3.6mm;height:3.6mm;
border:.35mm solid #000}}
.tools b{{font-size:{body + 0.5}pt}}
.tools small{{font-size:{small}pt}}
.grid td,.grid th{{border:.25mm solid #000;padding:.35mm 1.3mm}}
.grid tbody th{{white-space:nowrap}}
.grid thead th{{font-weight:700;font-size:{small}pt}}
.grid .f{{text-align:right;white-space:nowrap;font-weight:700;font-size:{body + 1}pt}}
.grid .g{{text-align:right;white-space:nowrap}}
.grid caption .note{{font-weight:400}}
.grid caption{{text-align:left;font-weight:700;padding:.6mm 0}}
.grid{{width:auto;min-width:60%;margin-bottom:1.5mm;break-inside:avoid}}
.mates{{list-style:none}}
.mates li{{break-inside:avoid;border-bottom:.25mm solid #000;padding:.9mm 0}}
.mates b{{font-size:{body + 0.5}pt}}
.mates .want{{font-size:{body + 1}pt;font-weight:700;display:inline}}
.mates .want span{{font-weight:400;font-size:{small + 0.5}pt;white-space:nowrap}}
.mates small{{font-size:{small}pt;display:block}}
.mates .key,.tools .key{{min-width:1.35em;height:1.35em;line-height:1.27em}}
figure{{margin-top:1.5mm}}
figcaption{{font-size:{small - 1}pt;text-align:right}}
.note{{font-size:{small}pt}}
.no{{border:2mm solid #000;padding:6mm;margin-top:6mm}}
.no h2{{font-size:{title}pt;line-height:1.05;margin-bottom:3mm}}
.no p{{font-size:{body + 3}pt}}
"""


def report_style(paper: Paper, margin: float, title: str) -> str:
    """The style sheet of the report on a paper; ``margin`` [mm] of its sheets."""
    narrow = paper.narrow
    cell = 8.5 if narrow else 9.5
    return f"""{_SHARED}{PICTURE_STYLE}
@page{{size:{paper.css} portrait;margin:{margin}mm;
@bottom-left{{content:"{css_text(title)}: report";font:8pt Arial,sans-serif}}
@bottom-right{{content:"sheet " counter(page) " of " counter(pages);font:8pt Arial,sans-serif}}}}
body{{font-size:{paper.body}pt;max-width:{paper.width - 2 * margin + 8}mm;margin:0 auto;padding:6mm 4mm}}
@media print{{body{{padding:0;max-width:none}}}}
h1{{font-size:24pt;line-height:1.1}}
h2{{font-size:15pt;margin:9mm 0 2mm;border-bottom:.5mm solid #000;padding-bottom:.6mm;
break-after:avoid}}
h3{{font-size:12pt;margin:4mm 0 1mm;break-after:avoid}}
p{{margin:0 0 2mm}}
nav ul{{list-style:none;display:flex;flex-wrap:wrap;gap:1mm 6mm;margin:3mm 0}}
.lead{{font-size:12pt;color:#222}}
.sum{{list-style:none;display:flex;flex-wrap:wrap;gap:2mm;margin:3mm 0}}
.sum li{{border:.4mm solid #000;padding:1.5mm 3mm;min-width:24mm}}
.sum b{{display:block;font-size:17pt;line-height:1.1}}
table{{margin:1mm 0 3mm}}
caption{{text-align:left;font-weight:700;padding:1mm 0}}
thead th{{font-weight:700;font-size:{cell}pt;border-bottom:.4mm solid #000;padding:.6mm 1.5mm .6mm 0;
vertical-align:bottom}}
td,tbody th{{border-bottom:.2mm solid #8a8a8a;padding:.8mm 1.5mm .8mm 0;font-size:{cell}pt}}
tr{{break-inside:avoid}}
.f{{text-align:right;white-space:nowrap}}
.vt{{table-layout:fixed}}.vt th:nth-child(1){{width:{7 if narrow else 5}%}}
.vt th:nth-child(2){{width:{13 if narrow else 10}%}}
.vt thead th:nth-child(4){{width:{22 if narrow else 19}%}}
.vt thead th:nth-child(5){{width:{19 if narrow else 15}%}}
.ct{{table-layout:fixed}}.ct thead th:nth-child(1){{width:24%}}.ct thead th:nth-child(2){{width:14%}}
.ct thead th:nth-child(3){{width:11%}}.ct thead th:nth-child(4){{width:14%}}
.ct thead th:nth-child(5){{width:11%}}
thead th.f{{white-space:normal}}.ct td:last-child,.ct thead th:last-child{{padding-left:3mm}}
.up{{text-align:right;font-size:{cell}pt}}
@media print{{.up,details:not([open]){{display:none}}}}
.v{{font-weight:700;white-space:nowrap}}
.v-holds{{color:#1b5e20}}.v-doubtful{{color:#6d4c00}}
.v-tight,.v-loose,.v-fails{{color:#8e1b1b}}.v-refused{{color:#333}}
.box{{border:.5mm solid #000;border-left-width:2.5mm;padding:2mm 3mm;margin:2mm 0;
break-inside:avoid}}
.box p:last-child,.box ul:last-child{{margin-bottom:0}}
.box h3{{margin-top:0}}
ul.plain,.box ol{{padding-left:6mm}}
ul.plain li{{margin-bottom:.8mm}}
.note,td small{{font-size:{cell - 0.5}pt;color:#333}}
figure{{margin:2mm 0;break-inside:avoid}}
figcaption{{display:block;font-size:9pt;color:#333;margin-top:1mm}}
details{{margin:2mm 0}}
summary{{cursor:pointer;font-weight:700}}
svg.pic a{{cursor:pointer}}
svg.pic a:focus-visible rect{{stroke-width:1.2}}
.key-table td{{border:0;padding:.4mm 3mm .4mm 0}}
"""


def document(title: str, style: str, body: str) -> str:
    """A whole page. The text given must be safe already."""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{esc(title)}</title>\n<style>{style}</style>\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )
