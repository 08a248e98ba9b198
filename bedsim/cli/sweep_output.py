"""What `bedsim sweep` prints: the table of cells, what follows from it, and what to keep in mind."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

import numpy as np

from bedsim.engines.base import LINEAR_LOAD_ANGLE, LOST_STEP
from bedsim.number_text import number
from bedsim.results.sweep import CellResult, Doubt, SweepResult
from bedsim.sweep.answers import (
    cheapest,
    enough_drawn,
    front,
    good_enough,
    has_target,
    members_to_decide,
    to_choose,
    to_measure,
    turning,
)
from bedsim.units import MM, UM

WIDEST_LABEL, LINE_WIDTH, KEYS_TOLD = 44, 100, 6
LEAST_PART = 0.005  # of the spread, from which on a key that is chosen is told


def answer_lines(result: SweepResult) -> Iterator[str]:
    """The table of cells and what follows from it, as printed."""
    yield result.title
    yield _asked(result)
    yield ""
    yield from _table(result)
    if has_target(result):
        yield ""
        yield from _verdict(result)
        yield from _enough(result)
    yield from _whole_travel(result)
    yield from _price_lines(result)
    yield from _what_matters(result)
    yield from _what_to_measure(result)
    yield ""
    yield "Read with this in mind:"
    for note in result.notes:
        yield from textwrap.wrap(note, LINE_WIDTH, initial_indent="  - ", subsequent_indent="    ")


def _asked(result: SweepResult) -> str:
    limits = {"lateral": result.lateral_target, "height": result.height_target}
    asked = [f"{name} {limit / UM:g} µm" for name, limit in limits.items() if limit == limit]
    if not asked:
        return "No target: give [target] lateral_pv_um or height_pv_um to get probabilities."
    share = f"{100 * result.wanted_probability:g} % of printers"
    return f"Target, peak to valley at every probe: {', '.join(asked)} at most, for {share}"


def _table(result: SweepResult) -> Iterator[str]:
    width = min(WIDEST_LABEL, max(len(c.label) for c in result.cells) + 4)
    sure = f"{100 * result.confidence:g} %"
    asked, priced = has_target(result), any(c.price == c.price for c in result.cells)
    head = f"{'cell':<{width}} {'lateral µm':>16} {'height µm':>16}"
    heads = ("by number drawn", "by lot", "by machine", "by all")
    head += f" {'meets':>6}" + _columns(heads) if asked else ""
    yield head + (f" {'price ' + result.currency:>10}" if priced else "")
    second = f"{'':<{width}} {'median   95 %':>16} {'median   95 %':>16}"
    yield second + (f" {'%':>6}" + _columns([sure] * 4) if asked else "")
    for cell in result.cells:
        name = f"{cell.index:>3} {cell.label}"
        line = f"{_cut(name, width):<{width}}"
        line += f" {_two(result, cell, 'lateral_pv')} {_two(result, cell, 'height_pv')}"
        if asked:
            besides = (cell.lot_interval, cell.machine_interval, cell.whole_interval)
            texts = [_percents(cell.wilson, 1), *map(_percents, besides)]
            line += f" {100 * cell.probability:>6.1f}" + _columns(texts)
        line += f" {_money(cell.price):>10}" if priced else ""
        yield line + (" *" if asked and good_enough(cell, result) else "")
    if asked:
        yield "By number drawn: luck of the screws. By lot, by machine: what is not known of them."
        yield "*: the lower end of the interval by all of these reaches what is wanted."
    drawn = sorted({c.members for c in result.cells})
    yield f"Printers drawn per cell: {drawn[0]}" + (f" to {drawn[-1]}" if len(drawn) > 1 else "") + "."
    yield from _flags(result)


def _flags(result: SweepResult) -> Iterator[str]:
    """Where the model's own limits are passed, told for each cell."""
    for cell in result.cells:
        column = dict(zip(result.metrics, cell.figures.T, strict=True))
        passed = {
            "a motor loses steps": column["load_angle"] > LOST_STEP,
            "joint travel used up": cell.stopped & (column["load_angle"] <= LOST_STEP),
            "a mount lifts off": column["mount_force"] < 0,
            "a screw is unloaded": column["axial_force"] < 0,
            "a motor past 30 electrical degrees, steps may be lost": column["load_angle"] > LINEAR_LOAD_ANGLE,
        }
        for what, which in passed.items():
            if which.any():
                yield f"{cell.label}: {what} in {which.sum()} of {cell.members} printers."


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _two(result: SweepResult, cell: CellResult, name: str) -> str:
    column = cell.quantiles[:, result.metrics.index(name)] / UM
    levels = [f"{x:g}" for x in result.levels]
    return f"{column[levels.index('0.5')]:>8.1f} {column[levels.index('0.95')]:>7.1f}"


def _columns(texts: Sequence[str]) -> str:
    return "".join(f" {text:>{width}}" for text, width in zip(texts, (15, 10, 10, 10), strict=True))


def _percents(interval: tuple[float, float], digits: int = 0) -> str:
    low, high = interval
    return f"{100 * low:.{digits}f} to {100 * high:.{digits}f}" if low == low else "-"


def _money(price: float) -> str:
    return f"{price:.0f}" if price == price else "-"


def _verdict(result: SweepResult) -> Iterator[str]:
    good = [c for c in result.cells if good_enough(c, result)]
    best = cheapest(result)
    wanted = f"{100 * result.wanted_probability:g} %"
    if best is not None:
        yield f"Cheapest cell that is good enough: {best.label}, {best.price:.0f} {result.currency}."
    elif good:
        yield (
            "Good enough: " + "; ".join(c.label for c in good) + ". Give [prices] to learn which is cheapest."
        )
    else:
        yield f"No cell is sure to meet the target for {wanted} of printers."
    yield from textwrap.wrap(_what_decides(result), LINE_WIDTH)


def _what_decides(result: SweepResult) -> str:
    """What would decide whether a cheaper cell, or any, is good enough; empty where nothing is open."""
    cell, best = turning(result), cheapest(result)
    if not enough_drawn(cell, result) or good_enough(cell, result):
        return ""
    price = f", {cell.price:.0f} {result.currency}," if cell.price == cell.price else ""
    low = {"lot": cell.lot_interval[0], "machine": cell.machine_interval[0]}
    known = {name: end for name, end in low.items() if end == end}
    told = [f"{100 * end:.0f} % by what is not known of the {name}" for name, end in known.items()]
    text = (
        f"{cell.label}{price} would do{' too' if best is not None else ''} with lot and machine as likely "
        f"({100 * cell.probability:.0f} %), but the share may be as low as {' and '.join(told)}. "
        "More printers do not help there"
    )
    if known and min(known, key=lambda name: known[name]) == "lot":
        return f"{text}; measured screws do."
    keys = [result.doubt.keys[k] for k in to_measure(result.doubt)[:2]] if result.doubt is not None else []
    return f"{text}; what decides it: measure {' and '.join(keys)}." if keys else f"{text}."


def _enough(result: SweepResult) -> Iterator[str]:
    """How many printers decide the cell nearest to what is wanted."""
    open_cells = [c for c in result.cells if c.wilson[0] < result.wanted_probability <= c.wilson[1]]
    if not open_cells:
        yield "Enough printers: every cell is clearly above or below what is wanted, for the number drawn."
        return
    cell = min(open_cells, key=lambda c: abs(c.probability - result.wanted_probability))
    away = abs(cell.probability - result.wanted_probability)
    if away < 0.005:
        yield f"{cell.label}: too near to what is wanted for any number of printers to decide."
        return
    needed = members_to_decide(cell.probability, result.wanted_probability, result.confidence)
    told = "; ".join(c.label for c in open_cells)
    yield from textwrap.wrap(f"Not decided by {cell.members} printers: {told}.", LINE_WIDTH)
    yield f"About {needed} would decide {cell.label}, if the share stays."


def _whole_travel(result: SweepResult) -> Iterator[str]:
    """Cells over the whole travel beside this print, of which alone the target is asked."""
    cells = [c for c in result.cells if c.travel_lateral[1] == c.travel_lateral[1]]
    if not cells:
        return
    width, asked = min(WIDEST_LABEL, max(len(c.label) for c in cells)), has_target(result)
    yield ""
    yield "This print and the tallest that the screws allow (first printers, without friction):"
    heads = ("sideways, median", "", *(("meet the target",) if asked else ()))
    yield f"  {'':<{width}}" + "".join(f" {head:>18}" for head in heads)
    for cell in cells:
        ends = zip(cell.travel_lateral, cell.travel_height, strict=True)
        texts = [f"{number(e / UM, 2)} µm in {h / MM:.0f} mm" for e, h in ends]
        share = " to ".join(f"{100 * s:.0f} %" for s in cell.travel_share)
        line = f"  {_cut(cell.label, width):<{width}}" + "".join(f" {text:>18}" for text in texts)
        yield line + (f" {share:>18}" if asked else "")
    if asked:
        yield "The target, and what is good enough, are asked of this print alone: print.layers."


def _price_lines(result: SweepResult) -> Iterator[str]:
    priced = [c for c in result.cells if c.price == c.price]
    if not priced:
        return
    quality = [c.probability if c.probability == c.probability else -_median(result, c) for c in result.cells]
    best = front([c.price for c in result.cells], quality)
    yield ""
    yield "Worth their price (no other cell is both cheaper and better):"
    for i in best:
        cell = result.cells[i]
        rejects = f", of it {cell.reject_price:.0f} for screws sorted out" if cell.reject_price > 0 else ""
        shown = (
            f"{100 * cell.probability:.1f} %"
            if cell.probability == cell.probability
            else f"{_median(result, cell) / UM:.1f} µm"
        )
        yield f"  {cell.label}: {cell.price:.0f} {result.currency}{rejects}, {shown}"
    missing = [c.label for c in result.cells if c.price != c.price]
    if missing:
        yield "Without a complete price: " + "; ".join(missing[:6]) + ("; ..." if len(missing) > 6 else "")


def _median(result: SweepResult, cell: CellResult) -> float:
    levels = [f"{x:g}" for x in result.levels]
    return float(cell.quantiles[levels.index("0.5"), result.metrics.index("lateral_pv")])


def _what_matters(result: SweepResult) -> Iterator[str]:
    if not result.sensitivity_names:
        return
    yield ""
    yield f"What matters most: share of the variance of the {result.sensitivity_of}"
    yield f"  {'':<32} {'by itself':>10} {'with others':>12}"
    rows = zip(result.sensitivity_names, result.first_order, result.total_order, strict=True)
    for name, first, total in sorted(rows, key=lambda row: -row[2]):
        yield f"  {_cut(name, 32):<32} {100 * max(first, 0):>8.0f} % {100 * total:>10.0f} %"


def _key_rows(doubt: Doubt, places: Sequence[int], asked: bool) -> Iterator[str]:
    for k in places[:KEYS_TOLD]:
        chance = f" {100 * doubt.surer[k]:>11.0f} %" if asked else ""
        yield f"  {_cut(doubt.keys[k], 40):<40} {100 * doubt.part[k]:>11.0f} %{chance}  {doubt.basis[k]}"


def _what_to_measure(result: SweepResult) -> Iterator[str]:
    """Keys of the machine by what knowing them would bring, and what all of them together do."""
    doubt = result.doubt
    if doubt is None:
        return
    cell = next(c for c in result.cells if c.index == doubt.cell)
    asked = doubt.now == doubt.now
    yield ""
    yield f"What to measure next: the machine's uncertain keys, for {cell.label}"
    yield f"  {'':<40} {'of the spread':>13}" + (f" {'choice right':>13}" if asked else "") + "  basis"
    if asked:
        yield f"  {'none known better':<40} {'':>13} {100 * doubt.now:>11.0f} %"
    yield from _key_rows(doubt, to_measure(doubt), asked)
    if chosen := [k for k in to_choose(doubt) if doubt.part[k] > LEAST_PART]:
        yield "What to choose (bedsim improve ranks it):"
        yield from _key_rows(doubt, chosen, asked)
    if asked and doubt.surer.max(initial=0.0) <= doubt.now:
        yield "  None of them alone would make the choice surer."
    if asked:
        yield "  Choice right: share of the machines in which taking or leaving this cell would be right."
    if doubt.foretold == doubt.foretold:
        off = f"{100 * doubt.foretold:.0f} % of the printers (root mean square)"
        yield f"  Found key by key; the machines drawn, worked out whole, differ from that by {off}."
    yield "Median printer in the machines drawn, least to largest:"
    for one in result.cells:
        if one.machines.size:
            ends = [np.nanquantile(one.machines[1:, 2:], q, axis=0) / UM for q in (0.0, 1.0)]
            lateral, height = (f"{a:.1f} to {b:.1f} µm" for a, b in zip(*ends, strict=True))
            yield f"  {_cut(one.label, WIDEST_LABEL):<{WIDEST_LABEL}} lateral {lateral}, height {height}"
