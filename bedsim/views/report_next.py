"""What to do next, as the report tells it: what to measure, and what to change and what that gains."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from bedsim.analysis.printed import quantity, rounded
from bedsim.analysis.summary import Influence, Ranges, to_choose, to_measure
from bedsim.improve.single_changes import Gain
from bedsim.units import UM
from bedsim.views.report_charts import bars
from bedsim.views.report_figures import Levers, Reported
from bedsim.views.report_page import PageTable, table_html

HOW_LEVERS = (
    "What to change: every change alone in the likely machine, over its whole travel at the worst place of "
    "the bed, without friction; gains do not add up. bedsim improve says whether a gain holds within the "
    "machine's doubts and with friction, and what goes together. Prices are classes, assumed, where the "
    "scenario names none."
)


def next_lists(name: str, ranges: Ranges | None, levers: Levers | None, anchor: str) -> str:
    """Lists of one result as markup, "" where there are none; `name` stands before every heading."""
    parts = []
    if ranges is not None:
        title = f"{name}What to measure next: what each leaves open sideways"
        parts.append(_bar_list(title, to_measure(ranges)))
    if levers is not None:
        parts.append(_levers(name, levers, anchor))
    elif ranges is not None:
        title = f"{name}What to choose: what each moves sideways over its range"
        parts.append(_bar_list(title, to_choose(ranges)))
    return f"<div>{''.join(parts)}</div>" if any(parts) else ""


def how_levers(items: Sequence[Reported]) -> tuple[str, ...]:
    """How gains were found, where there are any."""
    return (HOW_LEVERS,) if any(i.levers is not None and i.levers.gains for i in items) else ()


def _bar_list(title: str, influences: Sequence[Influence]) -> str:
    rows = [(i.key, i.swing / UM, i.basis) for i in influences]
    if not rows:
        return ""
    return f'<div class="scroll"><table><caption>{escape(title)}</caption>{bars(rows)}</table></div>'


def _levers(name: str, levers: Levers, anchor: str) -> str:
    if not levers.gains:
        why = levers.refused or "no single change that was tried gains anything."
        return f"<p>{escape(f'{name}What to change: {why}')}</p>"
    now = levers.gains[0].trial.before
    table = PageTable(
        caption=f"{name}What to change, one at a time. Now {quantity(now.lateral, 'm')} sideways and "
        f"{quantity(now.height, 'm')} in height over the whole travel; then:",
        head=("Change", "Gain", "Sideways", "Height", "Price"),
        rows=tuple(_row(gain) for gain in levers.gains),
    )
    return table_html(table, anchor)


def _row(gain: Gain) -> tuple[str, ...]:
    trial = gain.trial
    words = f"{trial.words} (refused: {gain.refused})" if gain.refused else trial.words
    price = f"{gain.cost:.0f} EUR" if gain.cost else "free"
    if trial.after is None:
        return words, "–", "–", "–", price
    return (
        words,
        f"× {rounded(trial.gain('lateral'))}",
        quantity(trial.after.lateral, "m"),
        quantity(trial.after.height, "m"),
        price,
    )
