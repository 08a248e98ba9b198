"""The invented program that is shipped: a plate with round corners and a round post beside it, 40 layers.

`python tests/program/invented_part.py` writes scenarios/plate-and-post.nc.
"""

import math
from pathlib import Path

FILE = Path(__file__).parents[2] / "scenarios" / "plate-and-post.nc"
LAYERS, FIRST, LAYER, WIDTH = 40, 0.3, 0.25, 0.45
SIZE, CORNER, POST = (50.0, 36.0), 8.0, 7.0
PLATE_AT, POST_AT = (225.0, 60.0), (265.0, 60.0)
FILAMENT = math.pi / 4 * 1.75**2
HOP, WITHOUT_HOP = 0.4, range(18, 22)  # these layers are begun without one


def e_of(length: float, layer: float) -> float:
    """Filament for a line."""
    return length * layer * WIDTH / FILAMENT


def rounded(inset: float, layer: float) -> list[str]:
    """A loop around the plate, from the middle of its front side, counter-clockwise."""
    (w, d), r = (SIZE[0] / 2 - inset, SIZE[1] / 2 - inset), CORNER - inset
    x, y = PLATE_AT
    turn = e_of(r * math.pi / 2, layer)
    sides = [(w - r, -d, w, r - d), (w, d - r, w - r, d), (r - w, d, -w, d - r), (-w, r - d, r - w, -d)]
    centres = [(0, r), (-r, 0), (0, -r), (r, 0)]
    at, lines = (0.0, -d), [f"G0 X{x:.3f} Y{y - d:.3f}"]
    for (x1, y1, x2, y2), (i, j) in zip(sides, centres, strict=True):
        way = math.hypot(x1 - at[0], y1 - at[1])
        lines.append(f"G1 X{x + x1:.3f} Y{y + y1:.3f} E{e_of(way, layer):.5f} F2400")
        lines.append(f"G3 X{x + x2:.3f} Y{y + y2:.3f} I{i:.3f} J{j:.3f} E{turn:.5f}")
        at = (x2, y2)
    lines.append(f"G1 X{x:.3f} Y{y - d:.3f} E{e_of(abs(at[0]), layer):.5f}")
    return lines


def post(inset: float, layer: float) -> list[str]:
    """A circle."""
    r = POST - inset
    x, y = POST_AT
    return [
        f"G0 X{x + r:.3f} Y{y:.3f}",
        f"G3 X{x + r:.3f} Y{y:.3f} I{-r:.3f} J0 E{e_of(2 * math.pi * r, layer):.5f} F2400",
    ]


def fill(layer: float, number: int) -> list[str]:
    """A zigzag over the plate, by increments."""
    x, y = PLATE_AT
    w, d, step = SIZE[0] / 2 - 9, SIZE[1] / 2 - 1.5, 4.0
    lines, up = [f"G0 X{x - w:.3f} Y{y - d:.3f}", "G91"], 1
    for k in range(int(2 * w / step)):
        lines.append(f"G1 Y{up * 2 * d:.3f} E{e_of(2 * d, layer):.5f}" + (" F3600" if k == 0 else ""))
        lines.append(f"X{step:.3f} E{e_of(step, layer):.5f}")
        up = -up
    return [*lines, "G90"]


def program() -> str:
    """The whole of it: millimetres, X0 Y0 at the front left corner of a bed of 300 mm."""
    lines = ["%", "(plate with a post, 40 layers, invented; mm, X0 Y0 at the front left corner)"]
    lines += ["G21 G17 G90", "M83", "M104 S210", "G28", "G1 Z5 F300"]
    z = 0.0
    for number in range(1, LAYERS + 1):
        layer = FIRST if number == 1 else LAYER
        z += layer
        lines.append(f"; layer {number}")
        if number > 1:
            lines.append("G1 E-0.8 F2400")
        hop = 0.0 if number in WITHOUT_HOP else HOP
        lines.append(f"G1 Z{z + hop:.3f} F180")
        lines.append("G0 X225.000 Y41.550 F9000")
        if hop:
            lines.append(f"G1 Z{z:.3f}")
        lines.append("G1 E0.8 F2400")
        for inset in (1.5 * WIDTH, 0.5 * WIDTH):
            lines += rounded(inset, layer)
        lines += fill(layer, number)
        for inset in (1.5 * WIDTH, 0.5 * WIDTH):
            lines += post(inset, layer)
    lines += ["G1 E-2 F2400", f"G1 Z{z + 10:.3f} F300", "M104 S0", "M2", "%"]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    FILE.write_text(program(), encoding="utf-8", newline="\n")
