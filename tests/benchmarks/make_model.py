"""A generator of realistic models of any size, for benchmarks: chains, pairs and derived sizes.

    python tests/benchmarks/make_model.py DIR 20000

Ten sizes a part: a shaft and its bore, a slot and its tongue, lengths in a chain with an overall
size, a position, a defined size; half of the parts' sizes stand in TOML, half in a CSV table. The
figures are invented and always the same for the same size and seed.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

HEAD = """[model]
title = "generated, {count} sizes"
scale = "1:8"
work = "mm"
include = ["parts.toml", "sizes.csv", "fits.toml"]

[drawing.sheet]
unit = "in"

[rules]
tenth = ["turned step 0.1 mm", "turned step 0.005 mm"]
"""


def make(folder: Path, count: int, seed: int = 1) -> Path:
    """Writes a model of about ``count`` sizes (ten a part) into a folder."""
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "model.toml").write_text(HEAD.format(count=count), encoding="utf-8")
    parts, table, fits = [], ["part,size,full,kind,rule,equals"], []
    for number in range(max(1, count // 10)):
        name = f"part_{number}"
        width = rng.randint(8, 64)
        lengths = [rng.randint(16, 200) for _ in range(3)]
        total = sum(lengths)
        sizes = [
            ("diameter", f"{width}/8", "external", "tenth"),
            ("bore", f"{width}/8", "internal", "bored step 0.005 mm"),
            ("slot", f"{width + 4}/8", "slot", "milled step 0.05 mm"),
            ("tongue", f"{width + 4}/8", "external", "milled step 0.005 mm"),
            ("front", f"{lengths[0]}/16", "length", "milled step 0.05 mm"),
            ("middle", f"{lengths[1]}/16", "length", "milled step 0.05 mm"),
            ("back", f"{lengths[2]}/16", "length", "milled step 0.05 mm"),
            ("hole_position", f"{width}/4", "position", "coordinate drilled step 0.05 mm"),
            ("gap", f"{lengths[0] + lengths[1]}/16", "length", "milled step 0.05 mm"),
        ]
        parts.append(f'[part.{name}]\nmaterial = "mild steel"\nservice = "none"')
        if number % 2:
            parts += [
                f'size.{s} = {{ full = "{full}", kind = "{kind}", rule = "{rule}" }}'
                for s, full, kind, rule in sizes
            ]
            parts.append(
                f'size.overall = {{ equals = "{name}.front + {name}.middle + {name}.back" }}'
            )
        else:
            table += [f"{name},{s},{full},{kind},{rule}," for s, full, kind, rule in sizes]
            table.append(f"{name},overall,,length,,{name}.front + {name}.middle + {name}.back")
        fits.append(
            f'[pair.p{number}]\ninner = "{name}.diameter"\nouter = "{name}.bore"\n'
            f'fit = "0.02 to 0.05 mm"\nbasis = "last cut {name}.bore"\n'
            f'[pair.q{number}]\ninner = "{name}.tongue"\nouter = "{name}.slot"\n'
            f'fit = "0.00 to 0.15 mm"\nbasis = "both limits"\n'
            f"[condition.c{number}]\n"
            f"keep = \"'{total * 25.4 / 16 / 8 - 1:.2f} mm' <= {name}.overall <= "
            f"'{total * 25.4 / 16 / 8 + 1:.2f} mm'\"\n"
        )
        if number:
            fits.append(
                f"[condition.d{number}]\nkeep = \"{name}.front + part_{number - 1}.back >= '1 mm'\"\n"
            )
    (folder / "parts.toml").write_text("\n".join(parts) + "\n", encoding="utf-8")
    (folder / "sizes.csv").write_text("\n".join(table) + "\n", encoding="utf-8")
    (folder / "fits.toml").write_text("\n".join(fits) + "\n", encoding="utf-8")
    return folder


if __name__ == "__main__":
    print(make(Path(sys.argv[1]), int(sys.argv[2])))
