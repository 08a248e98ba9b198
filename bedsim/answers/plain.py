"""Any report as plain values, under the names of its fields; SI as these are."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

LONGEST = 64
"""Entries of an array that is told; longer ones are courses over time, which pictures show."""


def plain(value: Any) -> Any:
    """Texts, numbers, lists and tables; null for what is no number, has no end, or is told elsewhere."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, np.ndarray):
        return None if value.size > LONGEST else plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(one) for one in value]
    return value.isoformat() if isinstance(value, datetime.date) else None
