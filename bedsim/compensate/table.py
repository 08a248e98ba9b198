"""The table of corrections as CSV, its units, signs and conditions told in its own head."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import numpy as np

from bedsim.compensate.advice import Compensation
from bedsim.results.layers import Array
from bedsim.units import MM, UM

URAD = 1e-6
DECIMALS = 3
"""Nanometres and nanoradians: far below what a machine follows, and enough to add them up again."""


def table_text(found: Compensation) -> str:
    """A commented CSV: what every column is, how its sign counts, what the table holds for, and its rows."""
    out = io.StringIO()
    for line in _head(found):
        out.write(f"# {line}\n" if line else "#\n")
    writer = csv.writer(out, lineterminator="\n")
    columns = dict(_columns(found))
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return out.getvalue()


def _columns(found: Compensation) -> Iterator[tuple[str, list[str]]]:
    rows = found.rows
    yield "layer", [str(int(k)) for k in rows.layer]
    yield "top_mm", _written(rows.top / MM, 4)
    yield "bed_z_mm", _written(rows.commanded / MM, 4)
    yield "x_um", _written(rows.whole.a / UM)
    yield "y_um", _written(rows.whole.b / UM)
    yield "turn_urad", _written(rows.whole.turn / URAD)
    yield "shift_only_x_um", _written(rows.shift.a / UM)
    yield "shift_only_y_um", _written(rows.shift.b / UM)
    if rows.common is not None:
        yield "all_motors_um", _written(rows.common / UM)
    if rows.motors is not None:
        for name, heights in zip(found.corners, rows.motors.T, strict=True):
            yield f"motor_{'_'.join(name.split())}_um", _written(heights / UM)


def _written(values: Array, decimals: int = DECIMALS) -> list[str]:
    return [f"{v:.{decimals}f}" for v in np.round(values, decimals) + 0.0]


def _head(found: Compensation) -> Iterator[str]:
    x, y = found.centre / MM
    title = " ".join(found.title.split())
    yield f"bedsim compensate: {title}" if title else "bedsim compensate"
    yield "A row holds from the travel to its layer to the last line of it. Against layer 1 of the object."
    yield "Axes: X right, Y back, Z up; turn counter-clockwise seen from above, about the origin of the bed."
    yield "top_mm: top of the part after the layer. bed_z_mm: commanded height of the bed, falling."
    yield "Shift and turn, to be used together, x and y in bed coordinates:"
    yield "  x' = x_um + x cos(turn) - y sin(turn)    y' = y_um + x sin(turn) + y cos(turn)"
    yield f"Without a turn, instead of those, right at X {x:g} Y {y:g} mm:"
    yield "  x' = x + shift_only_x_um    y' = y + shift_only_y_um"
    if found.rows.common is not None:
        yield "Heights, instead of each other: all_motors_um for all alike, motor_..._um for single ones;"
        yield "positive raises the bed, added to the commanded height, in whole microsteps."
    yield "It holds for the angle that the screws stand at now: find it again after homing elsewhere, after"
    yield "levelling, after a screw was turned in its coupling, and after a motor has lost steps."
    yield "Caution: a changed program moves a hot, heavy machine. Look at it first without filament, hand on"
    yield "the switch. This table is no proof."
