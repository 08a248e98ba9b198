"""Measured values as scenario keys: TOML text with low, likely, high and basis = "measured"."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

COVERAGE = 2.0  # low and high are two standard uncertainties off: about 95 %


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredKey:
    """One scenario key, e.g. table "screw.run_out", key "bow_tir_um", in the key's own unit.

    `least`: the smallest value the key may take; None for signed keys.  `note`: a remark behind the value.
    """

    table: str
    key: str
    likely: float
    uncertainty: float
    least: float | None = 0.0
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedKey:
    """A scenario key whose value is a word, e.g. how a reading was taken."""

    table: str
    key: str
    value: str


def toml_text(
    keys: Sequence[MeasuredKey | StatedKey], remarks: Sequence[str] = (), *, own_corner: bool = False
) -> str:
    """Write keys as TOML tables; with `own_corner` as the part tables of one [[corner]] entry, to stand
    below it."""
    lines = [f"# {r}" for r in remarks]
    for table in dict.fromkeys(k.table for k in keys):
        inside = own_corner and table != "damping"
        lines.append(f"[{'corner.' if inside else ''}{table}]")
        lines += [_line(k) for k in keys if k.table == table]
    return "\n".join(lines) + "\n"


def _line(k: MeasuredKey | StatedKey) -> str:
    note = f"  # {k.note}" if isinstance(k, MeasuredKey) and k.note else ""
    return f"{k.key} = {value_text(k)}{note}"


def value_text(k: MeasuredKey | StatedKey) -> str:
    """The value of a key in TOML."""
    if isinstance(k, StatedKey):
        return f'"{k.value}"'
    low, high = k.likely - COVERAGE * k.uncertainty, k.likely + COVERAGE * k.uncertainty
    likely = k.likely
    if k.least is not None:
        low, likely = max(low, k.least), max(likely, k.least)
    digits = _digits(k.uncertainty)
    low = math.floor(low * 10**digits) / 10**digits
    high = math.ceil(high * 10**digits) / 10**digits
    if k.least is not None and low < k.least:
        low = k.least
    numbers = f"low = {low:.{digits}f}, likely = {likely:.{digits}f}, high = {high:.{digits}f}"
    return f'{{{numbers}, basis = "measured"}}'


def _digits(uncertainty: float) -> int:
    """Decimals that show the uncertainty to two figures."""
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 4
    return min(6, max(0, 1 - math.floor(math.log10(uncertainty))))
