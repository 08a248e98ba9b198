"""What a cell costs: screws with rejects, gauging, and what the axes' values cost."""

from __future__ import annotations

from bedsim.scenario.sweep_plan import PriceTable, Value
from bedsim.sweep.plan import Cell

NAN = float("nan")


def as_written(value: Value) -> str:
    """A value as the key of a price table: text, or the number as short as it goes."""
    return (
        f"{value:g}"
        if isinstance(value, float)
        else str(value).lower()
        if isinstance(value, bool)
        else str(value)
    )


def screw_price(prices: PriceTable, cell: Cell) -> float:
    """Price of one screw; NaN where the table has none for this grade or lot."""
    return prices.screw.get(cell.lot_name, NAN)


def reject_price(prices: PriceTable | None, cell: Cell) -> float:
    """Price of the screws bought and not used."""
    if prices is None:
        return NAN
    return cell.sorted_out * screw_price(prices, cell) if cell.sorted_out else 0.0


def cell_price(prices: PriceTable | None, cell: Cell) -> float:
    """Price of the parts that differ between cells, plus `rest`; NaN where a price is missing."""
    if prices is None:
        return NAN
    corners = len(cell.lots)
    gauged = cell.buy if cell.sorted_out or cell.clocking == "best" else 0
    total = cell.buy * screw_price(prices, cell) + gauged * prices.gauging_per_screw + prices.rest
    for key, value in cell.settings.items():
        for table, count in ((prices.per_corner, corners), (prices.per_machine, 1)):
            if key in table:
                total += count * table[key].get(as_written(value), NAN)
    return total
